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
from ..answers.common import told
from ..answers.job import (
    BuildTold,
    DocumentTold,
    HappeningMade,
    HappeningTold,
    PaperTold,
    PartsMade,
)
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Line, Number, Shop, Word, example

router = APIRouter(
    prefix=HOME, tags=["pieces"], responses=REFUSALS, dependencies=[Depends(allowed)]
)


class BuildIn(BodyIn):
    """A build record: mm by the names of the model's clearances."""

    model_config = example(measured_mm={"end_play": 0.07}, gauge="G-12", nut_torque_nm=14.0)

    measured_mm: dict[str, Number]
    gauge: Word = ""
    nut_torque_nm: Number | None = None


class SignIn(BodyIn):
    """An inspector's signature under a build record that is out of limit."""

    model_config = example(why="The customer asked for it.")

    why: Line


class HappeningIn(BodyIn):
    """That a piece came back, a claim, or a note."""

    model_config = example(kind="returned", text="howls at 90,000 rpm")

    kind: Literal["returned", "claim", "note"]
    text: Annotated[str, Field(min_length=1, max_length=2000)]


class PartIn(BodyIn):
    """A part, and where it came from."""

    part: Word
    supplier: Word = ""
    lot: Word = ""


class PartsIn(BodyIn):
    """The parts of a piece."""

    model_config = example(parts=[{"part": "wheel", "supplier": "Gull", "lot": "7"}])

    parts: Annotated[list[PartIn], Field(min_length=1, max_length=20)]


@router.get(
    "/pieces/{serial:path}/happenings", response_model=None, responses=told(list[HappeningTold])
)
def list_happenings(serial: str, shop: Shop) -> list[dict[str, object]]:
    """Return everything that happened to a piece, oldest first."""
    return [asdict(e) for e in whole_story(shop, serial)]


@router.post(
    "/pieces/{serial:path}/happenings",
    status_code=201,
    response_model=None,
    responses=told(HappeningMade, 201),
)
def add_happening(serial: str, happening: HappeningIn, shop: Shop, who: Who) -> dict[str, str]:
    """Write down that a piece came back, a claim, or a note."""
    tell(shop, serial, happening.kind, happening.text, by=who.name)
    return {"kind": happening.kind}


@router.post(
    "/pieces/{serial:path}/build",
    status_code=201,
    response_model=None,
    responses=told(BuildTold, 201),
)
def write_build_record(serial: str, build: BuildIn, shop: Shop, who: Who) -> dict[str, object]:
    """Write the build record down."""
    told = write_build(
        shop, serial, build.measured_mm,
        gauge=build.gauge, nut_torque_nm=build.nut_torque_nm, by=who.name,
    )  # fmt: skip
    return {"state": told.state, "why": told.why()}


@router.post(
    "/pieces/{serial:path}/sign",
    status_code=201,
    response_model=None,
    responses=told(BuildTold, 201),
)
def sign_build_record(serial: str, sign: SignIn, shop: Shop, who: Who) -> dict[str, object]:
    """Sign that a piece may be spun although its build record is out of limit."""
    return {"state": sign_build(shop, serial, why=sign.why, by=who.name).state}


@router.get("/pieces/{serial:path}/papers", response_model=None, responses=told(list[PaperTold]))
def list_papers(serial: str, shop: Shop) -> list[dict[str, object]]:
    """Return the photos and documents of a piece."""
    return [a.as_json() for a in attached(shop, serial)]


@router.post(
    "/pieces/{serial:path}/papers",
    status_code=201,
    response_model=None,
    responses=told(DocumentTold, 201),
)
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


@router.post(
    "/pieces/{serial:path}/parts",
    status_code=201,
    response_model=None,
    responses=told(PartsMade, 201),
)
def write_parts_list(serial: str, parts: PartsIn, shop: Shop, who: Who) -> dict[str, int]:
    """Write down where the parts of a piece came from."""
    write_parts(shop, serial, [Part(**p.model_dump()) for p in parts.parts], by=who.name)
    return {"parts": len(parts.parts)}
