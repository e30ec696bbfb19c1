"""A cartridge as JSON under /api/v1: its curves, cuts, sheet and label."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Depends, Response
from pydantic import Field

from ...sheet.drawn import CurvesView
from ...workshop.cartridge.answering import looked
from ...workshop.cartridge.curves_view import curves_view
from ...workshop.cartridge.grinding import ground, unground
from ...workshop.cartridge.overruling import overrule
from ...workshop.cartridge.story import cartridge_story
from ...workshop.insight.gains import Gains, shop_gains
from ...workshop.sheets.issue import issue_sheet_of
from ..access import Who, allowed
from ..answers.cartridge import AdviceTold, AmendedTold, GroundTold, OverruledTold, PieceTold
from ..answers.common import SheetTold, file_told, told
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Line, Number, SheetIn, Shop, Word, example
from ..files import label_answer, newest_sheet_answer, sheet_answer

router = APIRouter(
    prefix=HOME, tags=["cartridges"], responses=REFUSALS, dependencies=[Depends(allowed)]
)


class CutIn(BodyIn):
    """A cut really made: exactly one of mass, depth or unbalance."""

    model_config = example(plane="nut", angle_deg=128.0, depth_mm=0.12, by="Ines")

    plane: Word
    angle_deg: Number
    mass_mg: Number | None = None
    depth_mm: Number | None = None
    unbalance_gmm: Number | None = None
    by: Word = ""
    replaces: Annotated[str, Field(max_length=36)] | None = None
    why: Line = ""
    sure: bool = False


@router.get("/pieces/{serial:path}/curves", response_model=None, responses=told(CurvesView))
def get_curves(serial: str, shop: Shop) -> dict[str, object]:
    """Return all runs, the limit and the prediction on one speed axis, for drawing."""
    return asdict(curves_view(shop, serial))


@router.get(
    "/pieces/{serial:path}/sheet.pdf",
    response_class=Response,
    responses=file_told("application/pdf"),
)
def get_sheet(serial: str, shop: Shop) -> Response:
    """Return the customer's newest sheet as it was issued, byte for byte."""
    return newest_sheet_answer(shop, serial)


@router.post(
    "/pieces/{serial:path}/sheets",
    status_code=201,
    response_model=None,
    responses=told(SheetTold, 201),
)
def issue_sheet(serial: str, body: SheetIn, shop: Shop, who: Who) -> dict[str, object]:
    """Issue the customer's sheet: it takes the place of the one before."""
    return asdict(issue_sheet_of(shop, serial, by=who.name, **body.model_dump()))


@router.get("/sheets/{number}.pdf", response_class=Response, responses=file_told("application/pdf"))
def get_sheet_by_number(number: str, shop: Shop) -> Response:
    """Return a sheet as it was issued, byte for byte."""
    return sheet_answer(shop, number)


@router.get(
    "/pieces/{serial:path}/label.pdf",
    response_class=Response,
    responses=file_told("application/pdf"),
)
def get_label(serial: str, shop: Shop, size: Word = "29x62") -> Response:
    """Make a label."""
    return label_answer(shop, [serial], size)


@router.post(
    "/pieces/{serial:path}/cuts",
    status_code=201,
    response_model=None,
    responses=told(GroundTold, 201),
)
def record_cut(serial: str, cut: CutIn, shop: Shop, who: Who) -> dict[str, object]:
    """Record a cut really made, or amend one."""
    values = cut.model_dump() | {"by": who.signs(cut.by)}
    return ground(shop, serial, values.pop("plane"), values.pop("angle_deg"), **values).as_json()


class OverrulingIn(BodyIn):
    """Why a finding does not hold."""

    model_config = example(why="The pickup was knocked while it coasted.")

    why: Line


@router.post(
    "/pieces/{serial:path}/overrule",
    status_code=201,
    response_model=None,
    responses=told(OverruledTold, 201),
)
def overrule_run(serial: str, body: OverrulingIn, shop: Shop, who: Who) -> dict[str, object]:
    """Let the verdict of the last run stand against a finding that blocks it."""
    return overrule(shop, serial, why=body.why, by=who.name).as_json()


class LookedIn(BodyIn):
    """Who goes on although it got far worse says why."""

    model_config = example(why="The customer knows, and wants it so.")

    why: Line = ""


@router.post(
    "/pieces/{serial:path}/looked",
    status_code=201,
    response_model=None,
    responses=told(AdviceTold, 201),
)
def confirm_cuts(serial: str, shop: Shop, who: Who) -> dict[str, object]:
    """Say that the newest cuts are on the piece as written down; the advice is made anew."""
    return looked(shop, serial, by=who.name).as_json()


@router.post(
    "/pieces/{serial:path}/knowingly",
    status_code=201,
    response_model=None,
    responses=told(AdviceTold, 201),
)
def go_on_knowingly(serial: str, body: LookedIn, shop: Shop, who: Who) -> dict[str, object]:
    """Let the work go on although the newest cuts made it far worse."""
    return looked(shop, serial, by=who.name, knowingly=True, why=body.why).as_json()


@router.delete("/cuts/{cut_id}/{serial:path}", response_model=None, responses=told(AmendedTold))
def void_cut(serial: str, cut_id: str, why: Line, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a cut that was never made; the entry stays in the ledger."""
    unground(shop, serial, cut_id, why=why, by=who.name)
    return {"amended": cut_id}


@router.get("/gains", response_model=None, responses=told(Gains))
def get_gains(shop: Shop) -> dict[str, object]:
    """Return what the newest pieces tell of runs, cuts and kept promises."""
    return asdict(shop_gains(shop))


@router.get("/pieces/{serial:path}", response_model=None, responses=told(PieceTold))
def get_piece(serial: str, shop: Shop) -> dict[str, object]:
    """Return a piece with its runs and cuts."""
    return cartridge_story(shop, serial).as_json()
