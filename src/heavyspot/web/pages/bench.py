"""The bench of a piece: one question at a time; every form works without a script."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.angles import clock_text
from ...quantities.checks import finite
from ...quantities.errors import HeavyspotError, LedgerFault
from ...sheet.cartridge import SheetCut
from ...sheet.plots import ON_PAGE, dial_svg, path_svg
from ...workshop.cartridge.curves_view import path_view
from ...workshop.cartridge.one_run import find_run
from ...workshop.cartridge.overruling import overrule
from ...workshop.job.build_record import build_state, sign_build, write_build
from ...workshop.keep.retention import little_room
from ...workshop.rig.health import rig_words
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import Shop, TheBench
from ..files import Language, label_answer, sheet_answer
from ..page import Text, by_script, goto, number, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/bench/{serial:path}/panel")
def panel(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The question alone, for the page to swap in when a spin has ended."""
    return page(request, "panel.html", panel_values(serial, shop, bench))


@router.post("/bench/{serial:path}/listen")
def listen(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Listen to the standing rig."""
    return _done(request, serial, shop, bench, lambda: bench.listen(serial))


@router.post("/bench/{serial:path}/spin")
def spin(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    who: Who,
    operator: Text = "",
    oil_temperature_c: Text = "",
    oil_pressure_kpa: Text = "",
) -> Response:
    """Start a spin: the press is the yes to the hazards named on the button."""

    def start() -> None:
        oil = [
            finite(name, number(text)) if text.strip() else None
            for name, text in (
                ("oil temperature", oil_temperature_c),
                ("oil pressure", oil_pressure_kpa),
            )
        ]
        bench.spin(serial, operator=operator.strip() or who.name, oil=(oil[0], oil[1]))

    typed = {
        "operator": operator,
        "oil_temperature_c": oil_temperature_c,
        "oil_pressure_kpa": oil_pressure_kpa,
    }
    return _done(request, serial, shop, bench, start, typed)


@router.post("/bench/{serial:path}/build")
async def build(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Write the build record down."""
    typed = {k: str(v) for k, v in (await request.form()).items()}

    def act() -> None:
        values = {
            k.removeprefix("clearance-"): number(v)
            for k, v in typed.items()
            if k.startswith("clearance-")
        }
        write_build(
            shop, serial, values, gauge=typed.get("gauge", ""),
            nut_torque_nm=number(typed.get("nut_torque_nm", "")), by=typed.get("by") or who.name,
        )  # fmt: skip

    return _done(request, serial, shop, bench, act, typed)


@router.post("/bench/{serial:path}/sign")
def sign(
    request: Request, serial: str, shop: Shop, bench: TheBench, who: Who, why: Text = ""
) -> Response:
    """Let a piece be spun although its build record is out of limit."""
    return _done(
        request,
        serial,
        shop,
        bench,
        lambda: sign_build(shop, serial, why=why, by=who.name),
        {"why": why},
    )


@router.post("/bench/{serial:path}/overrule")
def overrule_run(
    request: Request, serial: str, shop: Shop, bench: TheBench, who: Who, why: Text = ""
) -> Response:
    """Let the last run's verdict stand against a finding that blocks it."""
    return _done(
        request,
        serial,
        shop,
        bench,
        lambda: overrule(shop, serial, why=why, by=who.name),
        {"why": why},
    )


@router.post("/bench/{serial:path}/stop")
def stop(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Stop the spin that runs."""
    return _done(request, serial, shop, bench, bench.stop)


@router.post("/bench/{serial:path}/rescue")
def rescue(
    request: Request, serial: str, shop: Shop, bench: TheBench, keep: Text = "yes"
) -> Response:
    """Read, or remove, what an interrupted spin left."""
    return _done(request, serial, shop, bench, lambda: bench.rescue(serial, keep=keep == "yes"))


@router.post("/bench/{serial:path}/as-advised")
def as_advised(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Record the advised cuts as made."""

    def write() -> None:
        shop.ground_as_advised(serial, by=who.name)

    return _done(request, serial, shop, bench, write)


@router.post("/bench/{serial:path}/ground")
def ground(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    who: Who,
    plane: Text = "",
    angle_deg: Text = "",
    depth_mm: Text = "",
) -> Response:
    """Record a cut that was made differently."""

    def write() -> None:
        shop.ground(serial, plane, number(angle_deg), depth_mm=number(depth_mm), by=who.name)

    typed = {"plane": plane, "angle_deg": angle_deg, "depth_mm": depth_mm}
    return _done(request, serial, shop, bench, write, typed)


@router.get("/cuts/{cut_id}/{serial:path}")
def cut_page(request: Request, serial: str, cut_id: str, shop: Shop) -> Response:
    """A cut that was written down, to be amended."""
    return page(request, "amend_cut.html", _cut_values(shop, serial, cut_id))


@router.post("/cuts/{cut_id}/{serial:path}")
def amend_cut(
    request: Request,
    serial: str,
    cut_id: str,
    shop: Shop,
    who: Who,
    plane: Text = "",
    angle_deg: Text = "",
    depth_mm: Text = "",
    why: Text = "",
    never: Text = "",
) -> Response:
    """Amend a cut: what was really ground, or that it never was."""
    try:
        if never:
            shop.unground(serial, cut_id, why=why, by=who.name)
        else:
            shop.ground(
                serial, plane, number(angle_deg), depth_mm=number(depth_mm),
                by=who.name, replaces=cut_id, why=why,
            )  # fmt: skip
    except HeavyspotError as fault:
        typed = {"plane": plane, "angle_deg": angle_deg, "depth_mm": depth_mm, "why": why}
        values = _cut_values(shop, serial, cut_id) | {"fault": fault, "typed": typed}
        return page(request, "amend_cut.html", values, status=422)
    return goto("/bench", serial)


@router.get("/look/{number}/{serial:path}")
def look_closer(
    request: Request, serial: str, number: int, shop: Shop, beside: int | None = None
) -> Response:
    """A closer look at one run, beside another if asked."""
    row, curves = find_run(shop, serial, number)
    story = shop.story(serial)
    values = {
        "serial": serial,
        "number": number,
        "beside": beside,
        "others": [r["number"] for r in story["runs"] if r["number"] != number],
        "result": row["result"],
        "speeds": [round(float(curves[0].speed_rpm[0])), round(float(curves[0].speed_rpm[-1]))]
        if curves
        else [0, 0],
        "worst": row["result"]["worst"],
        "limit_g": min(shop.model(story["model"]).house_limit().limit_g),
    }
    return page(request, "look.html", values)


@router.get("/bench/{serial:path}/sheet.pdf")
def sheet(serial: str, shop: Shop, who: Who, language: Language = "") -> Response:
    """Issue the customer's sheet."""
    return sheet_answer(shop, serial, by=who.name, language=language)


@router.get("/bench/{serial:path}/label.pdf")
def label(serial: str, shop: Shop, size: str = "29x62") -> Response:
    """Make a label with the serial as a QR code."""
    return label_answer(shop, [serial], size)


@router.get("/bench/{serial:path}")
def bench_page(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The bench of a piece; a loose rotor has a page of its own."""
    piece = shop.book.piece(serial)
    if piece and shop.kind_of(piece["model"]) == "rotor":
        return goto("/rotor", serial)
    return page(request, "bench.html", panel_values(serial, shop, bench))


def _done(
    request: Request,
    serial: str,
    shop: Workshop,
    bench: TheBench,
    act: Callable[[], Any],
    typed: dict[str, str] | None = None,
) -> Response:
    """Do it and show the next question; a fault stands above the question with all that was typed.

    Without the page's script, a redirect or a page of its own.
    """
    if not by_script(request):
        act()
        return goto("/bench", serial)
    try:
        act()
    except HeavyspotError as fault:
        if isinstance(fault, LedgerFault) and shop.book.piece(serial) is None:
            raise
        values = panel_values(serial, shop, bench) | {"fault": fault, "typed": typed or {}}
        return page(request, "panel.html", values, status=422)
    return page(request, "panel.html", panel_values(serial, shop, bench))


def _cut_values(shop: Workshop, serial: str, cut_id: str) -> dict[str, Any]:
    story = shop.story(serial)
    found = next((c for c in story["cuts_made"] if c["id"] == cut_id), None)
    if found is None:
        raise LedgerFault(
            f"There is no piece {serial} with that cut.", remedy="It may have been amended already."
        )
    return {"serial": serial, "cut": found, "model": shop.model(story["model"]), "typed": {}}


def panel_values(serial: str, shop: Workshop, bench: TheBench) -> dict[str, Any]:
    """Return what the bench's templates need."""
    story = shop.story(serial)
    model = shop.model(story["model"])
    piece = shop.piece(serial)
    last = story["runs"][-1] if story["runs"] else None
    question = bench.question(serial)
    advised = last["advice"]["cuts"] if last and question == "grind" else []
    shown = [
        SheetCut(c["plane"], c["angle_deg"], c["clock"], c["depth_mm"], c["mass_mg"], 0)
        for c in advised
    ]
    return {
        "story": story,
        "job_id": piece["job_id"],
        "siblings": shop.book.siblings(piece["job_id"], piece["id"]),
        "serial": serial,
        "model": model,
        "question": question,
        "last": last,
        "advised": advised,
        "problem": bench.problem,
        "said": [w for w in (little_room(shop.book.folder), *_rig_words(shop)) if w],
        "build": build_state(shop, serial),
        "heard": bench.heard.get(serial, []),
        "typed": {},
        "busy": bench.capture.about["serial"] if bench.capture else None,
        "dial": dial_svg(tuple(shown), model.rotation, look=ON_PAGE),
        "path": path_svg(path_view(shop, serial), model.rotation),
        "clock": lambda angle: clock_text(angle, model.rotation),
        "limit_g": min(model.house_limit().limit_g),
    }


def _rig_words(shop: Workshop) -> list[str]:
    """Return what has to be said of rigs that have a master, before a customer's piece is judged."""
    return [
        w for name in shop.book.rig_names() if shop.rig(name).master for w in rig_words(shop, name)
    ]
