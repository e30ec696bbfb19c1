"""The low-speed machines in the browser: rotors measured, corrected, judged."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import HeavyspotError
from ....quantities.typed import typed_number
from ....sheet.plots import ON_PAGE
from ....sheet.polar import polar_svg
from ....sources.toml_text import write_toml
from ....workshop.rotor.kept import RotorStory, rotor_story
from ....workshop.rotor.machines import machine_names, newest_rotors, rotor_names
from ....workshop.rotor.measuring import (
    corrected,
    corrected_as_advised,
    measure_typed,
    measure_vibration,
    overdue,
)
from ....workshop.rotor.models import add_rotor, add_rotor_model, rotor_model
from ....workshop.rotor.question import next_question
from ....workshop.rotor.reading import UNITS
from ....workshop.rotor.vibration import VIBRATION, calibrated_machines
from ....workshop.sheets.issue import sheet_now
from ....workshop.shop import Workshop
from ...access import Who, allowed
from ...deps import Shop, TheBench
from ...files import goto_sheet, newest_sheet_answer
from ...page import Text, goto, page
from ...speaking import spoken
from ...views.rotor.work import rotor_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

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
    return page(request, "rotor/rotors.html", _list(shop))


def _list(shop: Workshop, **more: object) -> dict[str, object]:
    return {
        "kinds": [rotor_model(shop, n) for n in rotor_names(shop)],
        "rotors": newest_rotors(shop),
        "machines": {n: overdue(shop, n) for n in machine_names(shop)},
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
        return page(request, "rotor/rotors.html", _list(shop, typed=typed, fault=fault), status=422)
    return goto("/rotor", serial.strip())


@router.get("/rotors/kind")
def kind_page(request: Request, shop: Shop, name: str = "") -> Response:
    """The text of a kind of rotor, new or known."""
    text = FIRST_ROTOR
    if name:
        text = write_toml(rotor_model(shop, name).model_dump(mode="json", exclude_unset=True))
    return page(request, "rotor/kind.html", {"name": name, "text": text})


@router.post("/rotors/kind")
def put_kind(request: Request, shop: Shop, who: Who, text: Text = "", name: Text = "") -> Response:
    """Add a kind of rotor, or a new version of it."""
    try:
        add_rotor_model(shop, text, text=True, by=who.name)
    except HeavyspotError as fault:
        values = {"name": name, "text": text, "fault": fault}
        return page(request, "rotor/kind.html", values, status=422)
    return goto("/rotors")


@router.get("/rotor/{serial:path}/sheet.pdf")
def sheet(serial: str, shop: Shop) -> Response:
    """The rotor's sheet, as it was issued."""
    return newest_sheet_answer(shop, serial)


@router.post("/rotor/{serial:path}/sheet")
def issue(serial: str, shop: Shop, who: Who, language: Text = "", why: Text = "") -> Response:
    """Issue the rotor's sheet; the one that stands is given again."""
    return goto_sheet(sheet_now(shop, serial, by=who.name, language=language, why=why))


@router.get("/rotor/{serial:path}")
def rotor_page(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """A rotor: what to do now, and where its unbalance stands."""
    return page(request, "rotor/rotor.html", _rotor(shop, bench, serial))


def _rotor(
    shop: Workshop,
    bench: TheBench,
    serial: str,
    typed: Mapping[str, str] | None = None,
    fault: HeavyspotError | None = None,
) -> dict[str, object]:
    story = rotor_story(shop, serial)
    rotor, last = story.rotor, story.last
    question: str = next_question(story)
    speed_rpm = None
    if bench.spins(serial) or bench.reading == serial:
        question = "measuring"
        speed_rpm = bench.capture.snapshot.speed_rpm if bench.capture else None
    elif bench.rescued(serial):
        question = "rescue"
    return {
        "serial": serial,
        "story": story,
        "rotor": rotor,
        "last": last,
        "question": question,
        "drawings": _drawings(story),
        "machines": machine_names(shop),
        "units": UNITS,
        "vibration_units": VIBRATION,
        "calibrated": calibrated_machines(shop, rotor.name),
        "view": rotor_view(
            question, story, done=bool(last and story.corrected_since(last.number)),
            problem=bench.problem(serial), speed_rpm=speed_rpm,
            typed=typed or {}, rotation=rotor.rotation,
        ),
        "typed": typed or {},
        "fault": fault,
    }  # fmt: skip


def _drawings(story: RotorStory) -> list[tuple[str, str]]:
    """Return name and drawing of each tolerance plane: the first residual and the last."""
    rotor = story.rotor
    drawn = []
    for i, (name, limit) in enumerate(zip(rotor.tolerance_planes, rotor.limits(), strict=True)):
        found = [r.reading.tolerance[i] for r in story.readings]
        shown = [(v.amount_gmm, v.angle_deg, v.circle_gmm) for v in found]
        ends = shown[:1] + shown[1:][-1:]
        picture = polar_svg(name, limit, ends, rotor.rotation, look=ON_PAGE, say=spoken)
        drawn.append((name[:1].upper() + name[1:], picture))
    return drawn


@router.post("/rotor/{serial:path}/measure")
async def measure(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Write down what the machine's display says."""
    typed = {k: str(v) for k, v in (await request.form()).items()}

    def act() -> None:
        planes = rotor_story(shop, serial).rotor.plane
        amounts, angles = (
            [_typed(typed, f"{what}-{i}", f"{what} of {p.name}") for i, p in enumerate(planes)]
            for what in ("amount", "angle")
        )
        measure_typed(
            shop, serial, amounts, angles,
            unit=typed.get("unit", "g·mm"), light_spot=typed.get("spot") == "light",
            rig=typed.get("rig", ""), by=who.signs(typed.get("operator", "")),
        )  # fmt: skip

    return _done(request, serial, shop, bench, act, typed)


@router.post("/rotor/{serial:path}/vibration")
async def vibration(
    request: Request, serial: str, shop: Shop, bench: TheBench, who: Who
) -> Response:
    """Write down vibration at the supports, through the machine's calibration."""
    typed = {k: str(v) for k, v in (await request.form()).items()}

    def act() -> None:
        story = rotor_story(shop, serial)
        rig = typed.get("vibration-rig", "")
        known = {m.rig: m for m in calibrated_machines(shop, story.rotor.name)}
        sensors = known[rig].sensors if rig in known else ()
        amounts, angles = (
            [_typed(typed, f"{field}-{i}", f"{what} of {s}") for i, s in enumerate(sensors)]
            for field, what in (("sensor", "amount"), ("sensor-angle", "angle"))
        )
        measure_vibration(
            shop, serial, amounts, angles, speed_rpm=_typed(typed, "vibration-speed", "speed"),
            rig=rig, unit=typed.get("vibration-unit", ""), by=who.signs(""),
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
    return typed_number(name, typed.get(field, ""))


def _done(
    request: Request,
    serial: str,
    shop: Workshop,
    bench: TheBench,
    act: Callable[[], object],
    typed: dict[str, str] | None = None,
) -> Response:
    """Do it and go back to the rotor; a fault stands there with all that was typed."""
    rotor_story(shop, serial)  # no such rotor: a page of its own
    try:
        act()
    except HeavyspotError as fault:
        values = _rotor(shop, bench, serial, fault=fault, typed=typed)
        return page(request, "rotor/rotor.html", values, status=422)
    return goto("/rotor", serial)
