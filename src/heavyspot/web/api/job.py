"""Jobs and their pieces as JSON under /api."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Depends, Query
from pydantic import Field

from ...workshop.job.editing import Member, add_job, amend_job, amend_piece, find_job
from ...workshop.job.lookup import (
    amendments_of,
    newest_jobs,
    newest_pieces,
    piece_json,
    pieces_of_job,
    search_pieces,
)
from ...workshop.job.pieces import add_piece
from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Line, Shop, Word

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class MemberIn(BodyIn):
    """A piece of a job."""

    serial: Word
    model: Word
    position: Annotated[str, Field(max_length=40)] = ""


class PieceIn(MemberIn):
    """A new piece; the same customer and invoice are the same job."""

    customer: Line = ""
    invoice: Annotated[str, Field(max_length=80)] = ""
    by: Word = ""


class JobIn(BodyIn):
    """A new job with its pieces."""

    customer: Line = ""
    invoice: Annotated[str, Field(max_length=80)] = ""
    due: Annotated[str, Field(max_length=10)] = ""
    note: Annotated[str, Field(max_length=2000)] = ""
    pieces: Annotated[list[MemberIn], Field(min_length=1, max_length=100)]


class AmendIn(BodyIn):
    """Changed fields with their new values, and why."""

    changes: dict[str, Annotated[str, Field(max_length=2000)]]
    why: Line


@router.get("/jobs")
def jobs(shop: Shop) -> list[dict[str, object]]:
    """List the newest jobs."""
    return [asdict(j) for j in newest_jobs(shop)]


@router.post("/jobs", status_code=201)
def new_job(job: JobIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a job with its pieces."""
    about = job.model_dump()
    members = [Member(**m) for m in about.pop("pieces")]
    return {"job": add_job(shop, members, by=who.name, **about)}


@router.get("/jobs/{job_id}")
def job(job_id: str, shop: Shop) -> dict[str, object]:
    """Return a job with its pieces and amendments."""
    about = find_job(shop, job_id)
    members = [asdict(p) for p in pieces_of_job(shop, job_id)]
    changed = [asdict(a) for a in amendments_of(shop, job_id)]
    return asdict(about) | {"pieces": members, "amendments": changed}


@router.patch("/jobs/{job_id}")
def change_job(job_id: str, amend: AmendIn, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a job."""
    amend_job(shop, job_id, amend.changes, by=who.name, why=amend.why)
    return {"job": job_id}


@router.get("/pieces")
def pieces(shop: Shop, most: Annotated[int, Field(ge=1, le=1000)] = 200) -> list[dict[str, object]]:
    """List the newest pieces with their last verdict, oldest first."""
    return [piece_json(p) for p in newest_pieces(shop, most)[::-1]]


@router.post("/pieces", status_code=201)
def post_piece(piece: PieceIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a piece."""
    values = piece.model_dump()
    return {"piece": add_piece(shop, **values | {"by": who.signs(piece.by)})}


@router.patch("/pieces/{serial:path}")
def change_piece(serial: str, amend: AmendIn, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a piece's serial, model or position."""
    return {"serial": amend_piece(shop, serial, amend.changes, by=who.name, why=amend.why)}


@router.get("/search")
def search(shop: Shop, q: Annotated[str, Query(max_length=300)] = "") -> dict[str, object]:
    """Find pieces by any part of anything written of them; `exact` is false for words typed wrong."""
    return asdict(search_pieces(shop, q))
