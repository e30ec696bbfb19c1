"""Jobs and their pieces as JSON under /api/v1."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from pydantic import Field

from ...workshop.job.editing import Member, add_job, amend_job, amend_piece, find_job
from ...workshop.job.lookup import (
    amendments_of,
    newest_pieces,
    piece_json,
    pieces_of_job,
    search_pieces,
)
from ...workshop.job.pages import Page, job_page, piece_page
from ...workshop.job.pieces import add_piece
from ...workshop.records import Job, Piece
from ..access import Who, allowed
from ..answers.common import told
from ..answers.job import FoundTold, JobMade, JobPage, PieceMade, PiecePage, SerialTold, WholeJob
from ..contract.cursors import Cursor, Limit, Order, cursor_of, place_of
from ..contract.problem import HOME, OLD_ADDRESS
from ..deps import REFUSALS, BodyIn, Line, Shop, Word, example

router = APIRouter(prefix=HOME, tags=["jobs"], responses=REFUSALS, dependencies=[Depends(allowed)])


class MemberIn(BodyIn):
    """A piece of a job."""

    serial: Word
    model: Word
    position: Annotated[str, Field(max_length=40)] = ""


class PieceIn(MemberIn):
    """A new piece; the same customer and invoice are the same job."""

    model_config = example(
        serial="L52-0001", model="Larch 52", customer="Fjord Haulage", invoice="2608-114"
    )

    customer: Line = ""
    invoice: Annotated[str, Field(max_length=80)] = ""
    by: Word = ""


class JobIn(BodyIn):
    """A new job with its pieces."""

    model_config = example(
        customer="Fjord Haulage",
        invoice="2608-114",
        pieces=[{"serial": "L52-0001", "model": "Larch 52", "position": "front"}],
    )

    customer: Line = ""
    invoice: Annotated[str, Field(max_length=80)] = ""
    due: Annotated[str, Field(max_length=10)] = ""
    note: Annotated[str, Field(max_length=2000)] = ""
    pieces: Annotated[list[MemberIn], Field(min_length=1, max_length=100)]


class AmendIn(BodyIn):
    """Changed fields with their new values, and why."""

    model_config = example(changes={"invoice": "2608-115"}, why="was written down wrong")

    changes: dict[str, Annotated[str, Field(max_length=2000)]]
    why: Line


@router.get("/jobs", response_model=None, responses=told(JobPage))
def list_jobs(
    request: Request, shop: Shop, limit: Limit = 60, cursor: Cursor = "", order: Order = "newest"
) -> object:
    """List jobs, page by page: none twice and none missed, also while others are written.

    `since` is where the page ends: asked again later, the oldest first, it gives what has come meanwhile.
    """
    found = job_page(shop, place_of(cursor, "jobs", order), newest=order == "newest", limit=limit)
    lines: list[dict[str, object]] = [asdict(j) for j in found.items]
    return lines if OLD_ADDRESS in request.scope else _page(lines, found, "jobs", order)


def _page(
    lines: list[dict[str, object]], page: Page[Job] | Page[Piece], of: str, order: Order
) -> dict[str, object]:
    here = cursor_of(of, order, page.mark) if page.mark else ""
    return {"items": lines, "next": here if page.more else None, "since": here}


@router.post("/jobs", status_code=201, response_model=None, responses=told(JobMade, 201))
def create_job(job: JobIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a job with its pieces."""
    about = job.model_dump()
    members = [Member(**m) for m in about.pop("pieces")]
    return {"job": add_job(shop, members, by=who.name, **about)}


@router.get("/jobs/{job_id}", response_model=None, responses=told(WholeJob))
def get_job(job_id: str, shop: Shop) -> dict[str, object]:
    """Return a job with its pieces and amendments."""
    about = find_job(shop, job_id)
    members = [asdict(p) for p in pieces_of_job(shop, job_id)]
    changed = [asdict(a) for a in amendments_of(shop, job_id)]
    return asdict(about) | {"pieces": members, "amendments": changed}


@router.patch("/jobs/{job_id}", response_model=None, responses=told(JobMade))
def amend_job_fields(job_id: str, amend: AmendIn, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a job."""
    amend_job(shop, job_id, amend.changes, by=who.name, why=amend.why)
    return {"job": job_id}


@router.get("/pieces", response_model=None, responses=told(PiecePage))
def list_pieces(
    request: Request,
    shop: Shop,
    limit: Limit = 200,
    cursor: Cursor = "",
    order: Order = "newest",
    most: Annotated[int, Query(ge=1, le=1000, include_in_schema=False)] = 200,
) -> object:
    """List pieces with their last verdict, page by page, as `list_jobs` does."""
    if OLD_ADDRESS in request.scope:
        return [piece_json(p) for p in newest_pieces(shop, most)[::-1]]
    place = place_of(cursor, "pieces", order)
    found = piece_page(shop, place, newest=order == "newest", limit=limit)
    lines = [
        piece_json(p) | {"id": p.id, "job_id": p.job_id, "kind": p.kind, "at": p.at}
        for p in found.items
    ]
    return _page(lines, found, "pieces", order)


@router.post("/pieces", status_code=201, response_model=None, responses=told(PieceMade, 201))
def create_piece(piece: PieceIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a piece."""
    values = piece.model_dump()
    return {"piece": add_piece(shop, **values | {"by": who.signs(piece.by)})}


@router.patch("/pieces/{serial:path}", response_model=None, responses=told(SerialTold))
def amend_piece_fields(serial: str, amend: AmendIn, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a piece's serial, model or position."""
    return {"serial": amend_piece(shop, serial, amend.changes, by=who.name, why=amend.why)}


@router.get("/search", response_model=None, responses=told(FoundTold))
def search(shop: Shop, q: Annotated[str, Query(max_length=300)] = "") -> dict[str, object]:
    """Find pieces by any part of anything written of them; `exact` is false for words typed wrong."""
    return asdict(search_pieces(shop, q))
