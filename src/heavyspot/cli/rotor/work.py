"""``heavyspot rotor``: loose rotors on the low-speed machines."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...quantities.errors import BadInput
from ...quantities.words import short
from ..common import By, Json, Language, Why, emit, open_workshop, say_issued, say_names

if TYPE_CHECKING:
    from ...workshop.rotor.correction import Correction
    from ...workshop.rotor.kept import RotorReadingKept

rotor_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Loose rotors on the low-speed machines."
)

Serial = Annotated[str, typer.Argument(help="Serial of the rotor.")]
Rig = Annotated[str, typer.Option("--rig", help="Machine it was measured on.")]


@rotor_app.command("model")
def rotor_model_add(
    file: Annotated[Path, typer.Argument(help="Rotor file (TOML).")],
    by: By = "",
    json: Json = False,
) -> None:
    """Add a kind of rotor, or a new version of one."""
    from ...workshop.rotor.models import add_rotor_model

    rotor = add_rotor_model(open_workshop(), file, by=by)
    limits = dict(zip(rotor.tolerance_planes, rotor.limits(), strict=True))
    if json:
        emit({"rotor": rotor.name, "rule": rotor.rule_text(), "limits_gmm": limits})
        return
    typer.echo(f"{rotor.name}: {rotor.mass_kg:g} kg, {rotor.rule_text()}")
    for name, limit in limits.items():
        typer.echo(f"  {name:<12} {short(limit, 4):>10} g·mm may stay")


@rotor_app.command("new")
@rotor_app.command("add", hidden=True)
def rotor_new(
    serial: Annotated[str, typer.Option("--serial", help="Serial of the rotor.")],
    rotor: Annotated[str, typer.Option("--rotor", help="Kind of rotor.")],
    customer: Annotated[str, typer.Option("--customer", help="Whose it is.")] = "",
    invoice: Annotated[str, typer.Option("--invoice", help="Invoice number of the job.")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Add a rotor to a job."""
    from ...workshop.rotor.models import add_rotor

    shop = open_workshop()
    piece = add_rotor(shop, serial, rotor, customer=customer, invoice=invoice, by=by)
    if json:
        emit({"piece": piece, "serial": serial, "rotor": rotor})
        return
    typer.echo(f"Rotor {serial} ({rotor}) added.")


@rotor_app.command("list")
def rotor_list(
    kinds: Annotated[bool, typer.Option("--kinds", help="The kinds instead.")] = False,
    json: Json = False,
) -> None:
    """List the newest rotors, or the kinds of rotor."""
    from ...workshop.rotor.machines import newest_rotors, rotor_names

    shop = open_workshop()
    if kinds:
        say_names(rotor_names(shop), json)
        return
    found = newest_rotors(shop)
    if json:
        emit([{"serial": p.serial, "rotor": p.model, "verdict": p.verdict} for p in found])
        return
    for p in found:
        typer.echo(f"{p.serial:<24} {p.model:<32} {p.verdict or 'not measured'}")


@rotor_app.command("measure")
def rotor_measure(
    serial: Serial,
    recording: Annotated[
        Path | None, typer.Argument(help="Recording of the supports; or give --reading.")
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading", help="What the display says, amount@degrees, one for each plane."
        ),
    ] = None,
    vibration: Annotated[
        list[str] | None,
        typer.Option(
            "--vibration",
            help="Vibration at a support, amount@degrees, one for each sensor of the calibration.",
        ),
    ] = None,
    unit: Annotated[
        str,
        typer.Option(
            "--unit",
            help="Of a display: g·mm (or gmm), g·mm/kg, µm (or um), oz-in, g. Of vibration: mm/s, in/s, "
            "µm, mil, m/s², N, mV. Else g·mm, and the calibration's.",
        ),
    ] = "",
    light_spot: Annotated[
        bool, typer.Option("--light-spot", help="The display says where to add.")
    ] = False,
    speed: Annotated[float | None, typer.Option("--speed", help="Measuring speed, rpm.")] = None,
    rig: Rig = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Measure: from a recording, a machine's own display, or vibration through the machine's calibration."""
    from ...workshop.rotor.measuring import measure_signals, measure_typed, measure_vibration
    from ...workshop.rotor.vectors import read_pair

    shop = open_workshop()
    if [recording is not None, bool(reading), bool(vibration)].count(True) != 1:
        raise BadInput(
            "Give either a recording, the display's readings, or vibration.",
            remedy="--reading 0.9@40 --reading 0.5@200, --vibration 3.1@20 ..., or the name of a file.",
        )
    if recording is not None:
        told = measure_signals(shop, serial, recording, rig=rig, by=by)
    elif vibration:
        if light_spot:
            raise BadInput("Vibration has no light spot.", remedy="Leave --light-spot out.")
        pairs = [read_pair(r) for r in vibration]
        told = measure_vibration(
            shop, serial, [p[0] for p in pairs], [p[1] for p in pairs],
            unit=unit, speed_rpm=speed, rig=rig, by=by,
        )  # fmt: skip
    else:
        pairs = [read_pair(r) for r in reading or []]
        plain = {"gmm": "g·mm", "um": "µm", "gmm/kg": "g·mm/kg"}
        told = measure_typed(
            shop, serial, [p[0] for p in pairs], [p[1] for p in pairs],
            unit=plain.get(unit, unit) or "g·mm", light_spot=light_spot, speed_rpm=speed, rig=rig, by=by,
        )  # fmt: skip
    if json:
        emit({**told.as_json(), "serial": serial})
        return
    _show_reading(serial, told)


def _show_reading(serial: str, kept: RotorReadingKept) -> None:
    told = kept.reading
    way = {"typed": "typed from the display", "forces": "from forces", "influence": "calibrated"}
    typer.echo(f"{serial}, reading {kept.number}, {way[told.way]}: {told.verdict.upper()}")
    for p in told.planes:
        typer.echo(
            f"  {p.name:<12} {short(p.amount_gmm, 4):>10} g·mm at {p.angle_deg:5.1f}°"
            f"  ± {short(p.uncertainty_gmm, 2)} (k = 2)"
        )
    typer.echo(f"  {told.rule}:")
    for q in told.tolerance:
        typer.echo(
            f"  {q.name:<12} {short(q.amount_gmm, 4):>10} g·mm of {short(q.limit_gmm, 4)}"
            f"  {q.ratio:5.2f} x  {q.verdict}"
        )
    for note in (*told.notes, *told.proofs):
        typer.echo(f"  ! {note}")
    typer.echo(told.advice.why)
    for c in told.advice.corrections:
        typer.echo("  " + correction_text(c))
    if told.advice.sparing:
        typer.echo("Or take off less, to be within half the limit:")
        for c in told.advice.sparing:
            typer.echo("  " + correction_text(c))


def correction_text(c: Correction) -> str:
    """Return a correction in one line."""
    doing = "Take off" if c.way == "remove" else "Add"
    amount = f"{short(c.amount_gmm, 4)} g·mm ({short(c.mass_g, 4)} g)"
    text = f"{doing} {amount} on {c.plane} at {c.angle_deg:.1f}°"
    if c.depth_mm:
        text += f", {c.depth_mm:.2f} mm deep"
    if c.pieces:
        text += ": " + " and ".join(f"{n} x {m} g" for m, n in c.pieces.items())
    return text


@rotor_app.command("corrected")
def rotor_corrected(
    serial: Serial,
    plane: Annotated[str | None, typer.Option("--plane", help="Where; else as advised.")] = None,
    at: Annotated[
        str | None, typer.Option("--made", help="What was done: amount in g·mm@degrees.")
    ] = None,
    by: By = "",
    json: Json = False,
) -> None:
    """Record a correction: as advised, or what was really done."""
    from ...workshop.rotor.measuring import corrected, corrected_as_advised
    from ...workshop.rotor.vectors import read_pair

    shop = open_workshop()
    if (plane is None) != (at is None):
        raise BadInput("Plane and amount go together.", remedy="--plane hub --made 0.9@40")
    if plane is None or at is None:
        done = corrected_as_advised(shop, serial, by=by)
    else:
        amount, angle = read_pair(at)
        done = (corrected(shop, serial, plane, angle, amount_gmm=amount, by=by).made,)
    if json:
        emit([asdict(c) for c in done])
        return
    for c in done:
        typer.echo(f"{c.plane}: {c.way} {short(c.amount_gmm, 4)} g·mm at {c.angle_deg:.1f}°")


@rotor_app.command("show")
def rotor_show(serial: Serial, json: Json = False) -> None:
    """Show a rotor's readings and corrections."""
    from ...workshop.rotor.kept import rotor_story

    story = rotor_story(open_workshop(), serial)
    if json:
        emit(story.as_json())
        return
    typer.echo(f"{serial} ({story.piece.model}), {story.rotor.rule_text()}")
    for r in story.readings:
        _show_reading(serial, r)
        for c in (c.made for c in story.corrections if c.entry.after_run == r.number):
            typer.echo(
                f"  made: {c.plane} {c.way} {short(c.amount_gmm, 4)} g·mm at {c.angle_deg:.1f}°"
            )


@rotor_app.command("sheet")
def rotor_sheet(
    serial: Serial,
    out: Annotated[Path, typer.Option("-o", "--output", "--out", help="PDF file to write.")],
    language: Language = "",
    why: Why = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Write the customer's sheet of a rotor; as heavyspot sheet."""
    from ...workshop.sheets.issue import sheet_now

    issued = sheet_now(open_workshop(), serial, out, by=by, language=language, why=why)
    say_issued(issued, out, json)
