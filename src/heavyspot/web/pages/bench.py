"""The bench of a piece: one question at a time; every form works without a script."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import HeavyspotError
from ...quantities.typed import decimal_point, typed_number, typed_or_none
from ...sheet.cartridge import SheetCut
from ...sheet.plots import ON_PAGE, dial_svg, path_svg
from ...workshop.cartridge.curves_view import path_of
from ...workshop.cartridge.grinding import find_cut, ground, ground_as_advised, unground
from ...workshop.cartridge.one_run import run_of
from ...workshop.cartridge.overruling import overrule
from ...workshop.cartridge.past import past_runs
from ...workshop.cartridge.story import CartridgeStory, cartridge_story, story_of
from ...workshop.job.build_record import build_state_of, sign_build, write_build
from ...workshop.job.lookup import siblings_of
from ...workshop.keep.retention import little_room
from ...workshop.rig.health import words_of_masters
from ...workshop.shop import Workshop, find_piece
from ..access import Who, allowed
from ..deps import Shop, TheBench
from ..files import Language, label_answer, sheet_answer
from ..formats import figures, fixed
from ..page import Text, by_script, goto, page
from ..views.question import question_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/bench/{serial:path}/panel")
def panel(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The question alone, for the page to swap in when a spin has ended."""
    story = cartridge_story(shop, serial)
    return page(request, "bench/panel.html", panel_values(story, shop, bench))


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
        oil = (
            typed_or_none("oil temperature", oil_temperature_c),
            typed_or_none("oil pressure", oil_pressure_kpa),
        )
        bench.spin(serial, operator=operator.strip() or who.name, oil=oil)

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
            k.removeprefix("clearance-"): decimal_point(v)
            for k, v in typed.items()
            if k.startswith("clearance-")
        }
        write_build(
            shop, serial, values, gauge=typed.get("gauge", ""),
            nut_torque_nm=decimal_point(typed.get("nut_torque_nm", "")), by=typed.get("by") or who.name,
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

    return _done(request, serial, shop, bench, lambda: ground_as_advised(shop, serial, by=who.name))


@router.post("/bench/{serial:path}/ground")
def ground_differently(
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
        ground(shop, serial, plane, _angle(angle_deg), depth_mm=_depth(depth_mm), by=who.name)

    typed = {"plane": plane, "angle_deg": angle_deg, "depth_mm": depth_mm}
    return _done(request, serial, shop, bench, write, typed)


@router.get("/cuts/{cut_id}/{serial:path}")
def cut_page(request: Request, serial: str, cut_id: str, shop: Shop) -> Response:
    """A cut that was written down, to be amended."""
    return page(request, "bench/amend_cut.html", _cut_values(shop, serial, cut_id))


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
            unground(shop, serial, cut_id, why=why, by=who.name)
        else:
            ground(
                shop, serial, plane, _angle(angle_deg), depth_mm=_depth(depth_mm),
                by=who.name, replaces=cut_id, why=why,
            )  # fmt: skip
    except HeavyspotError as fault:
        typed = {"plane": plane, "angle_deg": angle_deg, "depth_mm": depth_mm, "why": why}
        values = _cut_values(shop, serial, cut_id, typed) | {"fault": fault}
        return page(request, "bench/amend_cut.html", values, status=422)
    return goto("/bench", serial)


@router.get("/look/{number}/{serial:path}")
def look_closer(
    request: Request, serial: str, number: int, shop: Shop, beside: int | None = None
) -> Response:
    """A closer look at one run, beside another if asked."""
    story = cartridge_story(shop, serial)
    past = run_of(shop, story, number)
    curves, result = past.curves, past.run.result
    worst = result.worst
    speeds = [round(float(s)) for s in curves[0].speed_rpm[[0, -1]]] if curves else [0, 0]
    values = {
        "serial": serial,
        "number": number,
        "beside": beside,
        "others": [r.number for r in story.runs if r.number != number],
        "result": result,
        "speeds": speeds,
        "at_rpm": round(worst.speed_rpm) if worst else speeds[1],
        "limit_g": min(story.model.house_limit().limit_g),
    }
    return page(request, "cartridge/look.html", values)


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
    piece = find_piece(shop, serial)
    if piece.kind == "rotor":
        return goto("/rotor", serial)
    return page(request, "bench/bench.html", panel_values(story_of(shop, piece), shop, bench))


def _done(
    request: Request,
    serial: str,
    shop: Workshop,
    bench: TheBench,
    act: Callable[[], object],
    typed: dict[str, str] | None = None,
) -> Response:
    """Do it and show the next question; a fault stands above the question with all that was typed.

    Without the page's script, a redirect or a page of its own.
    """
    if not by_script(request):
        act()
        return goto("/bench", serial)
    try:
        done = act()
    except HeavyspotError as fault:
        story = cartridge_story(shop, serial)  # no such piece: a page of its own
        values = panel_values(story, shop, bench, typed) | {"fault": fault}
        return page(request, "bench/panel.html", values, status=422)
    story = done if isinstance(done, CartridgeStory) else cartridge_story(shop, serial)
    return page(request, "bench/panel.html", panel_values(story, shop, bench))


def _angle(text: str) -> float:
    return typed_number("angle", text)


def _depth(text: str) -> float:
    return typed_number("depth", text)


def _cut_values(
    shop: Workshop, serial: str, cut_id: str, typed: dict[str, str] | None = None
) -> dict[str, object]:
    story = cartridge_story(shop, serial)
    found = find_cut(story, cut_id)
    written = {
        "plane": found.plane,
        "angle_deg": figures(found.angle_deg, 6),
        "depth_mm": fixed(found.depth_mm),
    }
    return {"serial": serial, "cut": found, "model": story.model, "typed": written | (typed or {})}


def panel_values(
    story: CartridgeStory, shop: Workshop, bench: TheBench, typed: dict[str, str] | None = None
) -> dict[str, object]:
    """Return what the bench's templates need."""
    typed = typed or {}
    model, piece, last = story.model, story.piece, story.last
    serial = piece.serial
    past = past_runs(shop, story)
    build = build_state_of(shop, piece, model)
    question = bench.question_of(story, build)
    advised = last.result.advice.cuts if last and question == "grind" else ()
    shown = tuple(
        SheetCut(c.plane, c.angle_deg, c.clock, c.depth_mm, c.mass_mg, story.number)
        for c in advised
    )
    limit_g = min(model.house_limit().limit_g)
    view = question_view(
        question, story, advised, build=build,
        heard=bench.heard.get(serial, []),
        warnings=[w for w in (little_room(shop.folder), *words_of_masters(shop)) if w],
        typed=typed, rotation=model.rotation, limit_g=limit_g,
    )  # fmt: skip
    return {
        "view": view,
        "story": story,
        "job_id": piece.job_id,
        "siblings": siblings_of(shop, piece),
        "serial": serial,
        "model": model,
        "question": question,
        "last": last,
        "advised": advised,
        "problem": bench.problem,
        "typed": typed,
        "busy": bench.capture.about.serial if bench.capture else None,
        "dial": dial_svg(shown, model.rotation, look=ON_PAGE),
        "path": path_svg(path_of(story, past), model.rotation),
        "limit_g": limit_g,
    }
