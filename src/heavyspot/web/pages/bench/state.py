"""The bench of a piece: one question at a time; every form works without a script."""

from __future__ import annotations

import json

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import NotThere
from ....quantities.finding import finding_said, remedy_said
from ....quantities.typed import decimal_point, typed_or_none
from ....workshop.bench.set_up import checked_operator
from ....workshop.cartridge.answering import looked
from ....workshop.cartridge.one_run import run_of
from ....workshop.cartridge.overruling import overrule
from ....workshop.cartridge.story import cartridge_story, story_of
from ....workshop.job.build_record import sign_build, write_build
from ....workshop.reading import budget_table
from ....workshop.sheets.issue import sheet_now
from ....workshop.shop import find_piece
from ....workshop.taking.oil import checked_oil
from ...access import Who, allowed
from ...deps import Shop, TheBench, TheBenches
from ...files import goto_sheet, label_answer, newest_sheet_answer
from ...page import Text, goto, page
from ...speaking import told
from ...views.budget import budget_view
from .panel import done, panel_values

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


WALL = "bench/wall_panel.html"


@router.get("/bench/{serial:path}/panel")
def panel(
    request: Request, serial: str, shop: Shop, bench: TheBench, wall: bool = False
) -> Response:
    """The question alone, for the page to swap in when a spin has ended; for the second screen without controls."""
    story = cartridge_story(shop, serial)
    return page(
        request, WALL if wall else "bench/panel.html", panel_values(request, story, shop, bench)
    )


@router.post("/bench/{serial:path}/listen")
def listen(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Listen to the standing rig."""
    return done(request, serial, shop, bench, lambda: bench.listen(serial))


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

    typed = _set_up_typed(operator, oil_temperature_c, oil_pressure_kpa)

    def start() -> None:
        oil = _oil_typed(oil_temperature_c, oil_pressure_kpa)
        bench.begin(serial, operator=operator.strip() or who.name, oil=oil, signs=who.signs)

    return done(request, serial, shop, bench, start, typed)


@router.post("/bench/{serial:path}/yes")
def yes(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    who: Who,
    what: Text = "",
    operator: Text = "",
    oil_temperature_c: Text = "",
    oil_pressure_kpa: Text = "",
) -> Response:
    """Say that the guard is shut, or that the oil is on; said again, it is taken back."""
    typed = _set_up_typed(operator, oil_temperature_c, oil_pressure_kpa)

    def say() -> None:
        bench.set_ups.say(serial, what)
        oil = checked_oil(*_oil_typed(oil_temperature_c, oil_pressure_kpa))
        bench.set_ups.keep(checked_operator(operator), oil)
        bench.arm(serial, signs=who.signs)

    return done(request, serial, shop, bench, say, typed)


@router.post("/bench/{serial:path}/prepare")
def prepare(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Ask for the set-up of one more spin; nothing spins."""
    return done(request, serial, shop, bench, lambda: bench.once_more(serial))


@router.post("/bench/{serial:path}/no-more")
def no_more(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Go back to what the last advice asks for."""
    return done(request, serial, shop, bench, lambda: bench.once_more(serial, wanted=False))


def _set_up_typed(operator: str, temperature: str, pressure: str) -> dict[str, str]:
    return {
        "operator": operator,
        "oil_temperature_c": temperature,
        "oil_pressure_kpa": pressure,
    }


def _oil_typed(temperature: str, pressure: str) -> tuple[float | None, float | None]:
    return (
        typed_or_none("oil temperature", temperature),
        typed_or_none("oil pressure", pressure),
    )


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
            nut_torque_nm=decimal_point(typed.get("nut_torque_nm", "")), by=who.signs(typed.get("by", "")),
        )  # fmt: skip

    return done(request, serial, shop, bench, act, typed)


@router.post("/bench/{serial:path}/sign")
def sign(
    request: Request, serial: str, shop: Shop, bench: TheBench, who: Who, why: Text = ""
) -> Response:
    """Let a piece be spun although its build record is out of limit."""
    return done(
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
    return done(
        request,
        serial,
        shop,
        bench,
        lambda: overrule(shop, serial, why=why, by=who.name),
        {"why": why},
    )


@router.post("/bench/{serial:path}/looked")
def looked_at(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Say that the newest cuts are on the piece as written down."""
    return done(request, serial, shop, bench, lambda: looked(shop, serial, by=who.name))


@router.post("/bench/{serial:path}/knowingly")
def go_on(
    request: Request, serial: str, shop: Shop, bench: TheBench, who: Who, why: Text = ""
) -> Response:
    """Let the work go on although the newest cuts made it far worse."""
    return done(
        request,
        serial,
        shop,
        bench,
        lambda: looked(shop, serial, by=who.name, knowingly=True, why=why),
        {"why": why},
    )


@router.post("/bench/{serial:path}/stop")
def stop(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Stop the spin that runs."""
    return done(request, serial, shop, bench, bench.stop)


@router.post("/bench/{serial:path}/rescue")
def rescue(
    request: Request, serial: str, shop: Shop, bench: TheBench, keep: Text = "yes"
) -> Response:
    """Read, or remove, what an interrupted spin left."""
    return done(request, serial, shop, bench, lambda: bench.rescue(serial, keep=keep == "yes"))


LOOK_WORDS = (
    "speed", "amplitude", "angle", "time", "frequency", "wave", "spectrum", "limit", "up", "down", "beside",
)  # fmt: skip
"""What the charts of the closer look say."""


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
        "sampled": not (curves and curves[0].is_table),
        "angled": not curves or curves[0].has_angle,
        "budget": budget_view(budget_table(result)),
        "speeds": speeds,
        "at_rpm": round(worst.speed_rpm) if worst else speeds[1],
        "limit_g": min(story.model.house_limit().limit_g),
        "findings": [(finding_said(f), remedy_said(f)) for f in result.findings],
        "words": json.dumps({w: told(f"look_word.{w}") for w in LOOK_WORDS}),
    }
    return page(request, "cartridge/look.html", values)


@router.get("/bench/{serial:path}/sheet.pdf")
def sheet(serial: str, shop: Shop) -> Response:
    """The customer's sheet, as it was issued."""
    return newest_sheet_answer(shop, serial)


@router.post("/bench/{serial:path}/sheet")
def issue(serial: str, shop: Shop, who: Who, language: Text = "", why: Text = "") -> Response:
    """Issue the customer's sheet; the one that stands is given again."""
    return goto_sheet(sheet_now(shop, serial, by=who.name, language=language, why=why))


@router.get("/bench/{serial:path}/label.pdf")
def label(serial: str, shop: Shop, size: str = "29x62") -> Response:
    """Make a label with the serial as a QR code."""
    return label_answer(shop, [serial], size)


@router.get("/bench/{serial:path}")
def bench_page(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    benches: TheBenches,
    rig: str = "",
) -> Response:
    """The bench of a piece; with a rig's name it is put on that rig. A loose rotor has a page of its own."""
    piece = find_piece(shop, serial)
    if rig:
        benches.put_on(rig, serial)
        return goto("/bench", serial)
    if piece.kind == "rotor":
        return goto("/rotor", serial)
    try:
        story = story_of(shop, piece)
    except NotThere:  # out of an old book, its model not described: it is shown, and asks for it
        return goto("/story", serial)
    if not benches.several:
        if bench.armed and bench.armed != serial:
            bench.disarm()  # what the mark moves now is another piece's
        if bench.capture is None:
            bench.on_it = serial
    return page(request, "bench/bench.html", panel_values(request, story, shop, bench))
