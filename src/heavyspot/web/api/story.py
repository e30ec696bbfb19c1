"""A piece's story as JSON: what happened to it, its build record, parts, photos and documents."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, File, Form, UploadFile
from pydantic import Field

from ...workshop.job.build_record import sign_build, tell, write_build
from ...workshop.job.documents import Part, attach, attached, write_parts
from ...workshop.job.story import whole_story
from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Line, Number, Shop, Word

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class BuildIn(BodyIn):
    """A build record: mm by the names of the model's clearances."""

    measured_mm: dict[str, Number]
    gauge: Word = ""
    nut_torque_nm: Number | None = None


class SignIn(BodyIn):
    """An inspector's signature under a build record that is out of limit."""

    why: Line


class HappeningIn(BodyIn):
    """That a piece came back, a claim, or a note."""

    kind: Literal["returned", "claim", "note"]
    text: Annotated[str, Field(min_length=1, max_length=2000)]


class PartIn(BodyIn):
    """A part, and where it came from."""

    part: Word
    supplier: Word = ""
    lot: Word = ""


class PartsIn(BodyIn):
    """The parts of a piece."""

    parts: Annotated[list[PartIn], Field(min_length=1, max_length=20)]


@router.get("/pieces/{serial:path}/happenings")
def happenings(serial: str, shop: Shop) -> list[dict[str, object]]:
    """Return everything that happened to a piece, oldest first."""
    return [asdict(e) for e in whole_story(shop, serial)]


@router.post("/pieces/{serial:path}/happenings", status_code=201)
def add_happening(serial: str, happening: HappeningIn, shop: Shop, who: Who) -> dict[str, str]:
    """Write down that a piece came back, a claim, or a note."""
    tell(shop, serial, happening.kind, happening.text, by=who.name)
    return {"kind": happening.kind}


@router.post("/pieces/{serial:path}/build", status_code=201)
def add_build(serial: str, build: BuildIn, shop: Shop, who: Who) -> dict[str, object]:
    """Write the build record down."""
    told = write_build(
        shop, serial, build.measured_mm,
        gauge=build.gauge, nut_torque_nm=build.nut_torque_nm, by=who.name,
    )  # fmt: skip
    return {"state": told.state, "why": told.why()}


@router.post("/pieces/{serial:path}/sign", status_code=201)
def add_signature(serial: str, sign: SignIn, shop: Shop, who: Who) -> dict[str, object]:
    """Sign that a piece may be spun although its build record is out of limit."""
    return {"state": sign_build(shop, serial, why=sign.why, by=who.name).state}


@router.get("/pieces/{serial:path}/papers")
def papers(serial: str, shop: Shop) -> list[dict[str, object]]:
    """Return the photos and documents of a piece."""
    return [a.as_json() for a in attached(shop, serial)]


@router.post("/pieces/{serial:path}/papers", status_code=201)
async def add_paper(
    serial: str,
    shop: Shop,
    who: Who,
    file: Annotated[UploadFile, File()],
    text: Annotated[str, Form(max_length=2000)] = "",
) -> dict[str, object]:
    """Keep a photo or document with a piece."""
    kept = attach(shop, serial, file.filename or "", await file.read(), text=text, by=who.name)
    return asdict(kept)


@router.post("/pieces/{serial:path}/parts", status_code=201)
def add_parts(serial: str, parts: PartsIn, shop: Shop, who: Who) -> dict[str, int]:
    """Write down where the parts of a piece came from."""
    write_parts(shop, serial, [Part(**p.model_dump()) for p in parts.parts], by=who.name)
    return {"parts": len(parts.parts)}
