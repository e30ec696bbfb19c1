"""The low-speed machines in the browser: rotors measured, corrected, judged."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.angles import clock_text
from ...quantities.checks import finite
from ...quantities.errors import HeavyspotError
from ...sheet.plots import ON_PAGE
from ...sheet.polar import polar_svg
from ...sources.toml_text import write_toml
from ...workshop.rotor.measuring import (
    add_rotor,
    add_rotor_model,
    corrected,
    corrected_as_advised,
    measure_typed,
    overdue,
    rotor_model,
    rotor_story,
)
from ...workshop.rotor.reading import UNITS
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import Shop, TheBench
from ..files import Language, sheet_answer
from ..page import Text, goto, number, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

LOW_SPEED = "low-speed rotor machine"

FIRST_ROTOR = """kind = "rotor"
name = "Larch 52 shaft and wheel"
rotation = "clockwise"
mass_kg = 0.35
service_speed_rpm = 150000
support_b_mm = 60.0        # support A lies at 0
mass_centre_mm = 12.0
rule = "grade"
grade = 6.3

[[plane]]
name = "hub"
at_mm = -14.0
radius_mm = 10.0
cutter = "scallop"
tool_mm = 8.0
width_mm = 3.0
material = "inconel 713c"
max_depth_mm = 1.5

[[plane]]
name = "shoulder"
at_mm = 30.0
radius_mm = 8.0
cutter = "flat"
width_mm = 4.0
max_depth_mm = 0.5
"""


@router.get("/rotors")
def rotors(request: Request, shop: Shop) -> Response:
    """Rotors, their kinds, and the machines."""
    return page(request, "rotors.html", _list(shop))


def _list(shop: Workshop, **more: Any) -> dict[str, Any]:
    names = shop.book.model_names("rotor")
    pieces = [p for p in reversed(shop.book.pieces(most=400)) if p["model"] in set(names)]
    machines = {n: shop.rig(n) for n in shop.book.rig_names()}
    return {
        "kinds": [rotor_model(shop, n) for n in names],
        "rotors": pieces[:60],
        "machines": {n: overdue(shop, n) for n, r in machines.items() if r.kind == LOW_SPEED},
        "typed": {},
        **more,
    }


@router.post("/rotors")
def new_rotor(
    request: Request,
    shop: Shop,
    who: Who,
    serial: Text = "",
    rotor: Text = "",
    customer: Text = "",
    invoice: Text = "",
) -> Response:
    """Add a rotor and go to it; a fault stands at the form with all that was typed."""
    typed = {"serial": serial, "rotor": rotor, "customer": customer, "invoice": invoice}
    try:
        add_rotor(shop, serial, rotor, customer=customer, invoice=invoice, by=who.name)
    except HeavyspotError as fault:
        return page(request, "rotors.html", _list(shop, typed=typed, fault=fault), status=422)
    return goto("/rotor", serial.strip())


@router.get("/rotors/kind")
def kind_page(request: Request, shop: Shop, name: str = "") -> Response:
    """The text of a kind of rotor, new or known."""
    text = FIRST_ROTOR
    if name:
        text = write_toml(rotor_model(shop, name).model_dump(mode="json", exclude_unset=True))
    return page(request, "rotor_kind.html", {"name": name, "text": text})


@router.post("/rotors/kind")
def put_kind(request: Request, shop: Shop, who: Who, text: Text = "", name: Text = "") -> Response:
    """Add a kind of rotor, or a new version of it."""
    try:
        add_rotor_model(shop, text, text=True, by=who.name)
    except HeavyspotError as fault:
        values = {"name": name, "text": text, "fault": fault}
        return page(request, "rotor_kind.html", values, status=422)
    return goto("/rotors")


@router.get("/rotor/{serial:path}/sheet.pdf")
def sheet(serial: str, shop: Shop, who: Who, language: Language = "") -> Response:
    """Issue the rotor's sheet."""
    return sheet_answer(shop, serial, by=who.name, language=language)


@router.get("/rotor/{serial:path}")
def rotor_page(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """A rotor: what to do now, and where its unbalance stands."""
    return page(request, "rotor.html", _rotor(shop, bench, serial))


def _rotor(shop: Workshop, bench: TheBench, serial: str, **more: Any) -> dict[str, Any]:
    story = rotor_story(shop, serial)
    rotor = story["rotor"]
    runs = story["runs"]
    last = runs[-1] if runs else None
    done = [c for c in story["corrections"] if last and c["after_run"] >= last["number"]]
    measuring = bench.capture is not None and bench.capture.about["serial"] == serial
    machines = [n for n in shop.book.rig_names() if shop.rig(n).kind == LOW_SPEED]
    drawings = []
    for i, (name, limit) in enumerate(story["limits_gmm"].items()):
        vectors = [r["tolerance"][i] for r in runs]
        shown = [(v["amount_gmm"], v["angle_deg"], v["circle_gmm"]) for v in vectors]
        drawings.append(
            (
                name,
                polar_svg(name, limit, shown[:1] + shown[1:][-1:], rotor["rotation"], look=ON_PAGE),
            )
        )
    question = "measure"
    if measuring or bench.reading == serial:
        question = "measuring"
    elif last and not done:
        question = "done" if last["verdict"] == "pass" else "correct"
    return {
        "serial": serial,
        "story": story,
        "rotor": rotor,
        "last": last,
        "done": done,
        "question": question,
        "drawings": drawings,
        "machines": machines,
        "units": UNITS,
        "problem": bench.problem,
        "speed": bench.capture.snapshot.speed_rpm if measuring and bench.capture else None,
        "clock": lambda angle: clock_text(angle, rotor["rotation"]),
        "typed": {},
        **more,
    }


@router.post("/rotor/{serial:path}/measure")
async def measure(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Write down what the machine's display says."""
    typed = {k: str(v) for k, v in (await request.form()).items()}

    def act() -> None:
        planes = rotor_story(shop, serial)["rotor"]["plane"]
        amounts, angles = (
            [_typed(typed, f"{what}-{i}", f"{what} of {p['name']}") for i, p in enumerate(planes)]
            for what in ("amount", "angle")
        )
        measure_typed(
            shop, serial, amounts, angles,
            unit=typed.get("unit", "g·mm"), light_spot=typed.get("spot") == "light",
            rig=typed.get("rig", ""), by=typed.get("operator") or who.name,
        )  # fmt: skip

    return _done(request, serial, shop, bench, act, typed)


@router.post("/rotor/{serial:path}/spin")
def spin(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Measure the supports' signals on the machine of this bench."""
    return _done(request, serial, shop, bench, lambda: bench.spin(serial, operator=who.name))


@router.post("/rotor/{serial:path}/stop")
def stop(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """Stop the measurement; it is read and kept."""
    return _done(request, serial, shop, bench, bench.stop)


@router.post("/rotor/{serial:path}/as-advised")
def as_advised(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Write down that the advice was followed."""
    return _done(
        request, serial, shop, bench, lambda: corrected_as_advised(shop, serial, by=who.name)
    )


@router.post("/rotor/{serial:path}/corrected")
def differently(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    who: Who,
    plane: Text = "",
    angle_deg: Text = "",
    amount_gmm: Text = "",
) -> Response:
    """Write down what was really done."""
    typed = {"plane": plane, "angle_deg": angle_deg, "amount_gmm": amount_gmm}

    def act() -> None:
        angle = _typed(typed, "angle_deg", "angle")
        amount = _typed(typed, "amount_gmm", "amount")
        corrected(shop, serial, plane, angle, amount_gmm=amount, by=who.name)

    return _done(request, serial, shop, bench, act, typed)


def _typed(typed: dict[str, str], field: str, name: str) -> float:
    """Return a typed number; the workshop's own words when there is none."""
    return finite(name, number(typed.get(field, "")))


def _done(
    request: Request,
    serial: str,
    shop: Workshop,
    bench: TheBench,
    act: Callable[[], Any],
    typed: dict[str, str] | None = None,
) -> Response:
    """Do it and go back to the rotor; a fault stands there with all that was typed."""
    rotor_story(shop, serial)  # no such rotor: a page of its own
    try:
        act()
    except HeavyspotError as fault:
        values = _rotor(shop, bench, serial, fault=fault, typed=typed or {})
        return page(request, "rotor.html", values, status=422)
    return goto("/rotor", serial)
