"""``heavyspot machine``: calibrations and proofs of the low-speed machines."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...quantities.words import short
from ..common import By, Json, emit, named, open_workshop, say_names

if TYPE_CHECKING:
    from ...workshop.rotor.machine_proofs import Proved

machine_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Low-speed machines: calibration and proofs."
)

Rig = Annotated[str, typer.Argument(help="Name of the machine.")]
Planes = Annotated[
    list[str], typer.Option("--plane", help='Readings of a plane: "left=10.1 10.3 ...".')
]
Due = Annotated[str, typer.Option("--due", help="Next time, like 2027-03-31; else in a year.")]


@machine_app.command("list")
def machine_list(json: Json = False) -> None:
    """List the low-speed machines."""
    from ...workshop.rotor.machines import machine_names

    say_names(machine_names(open_workshop()), json)


@machine_app.command("calibrate")
def machine_calibrate(
    rig: Rig,
    rotor: Annotated[str, typer.Argument(help="Kind of rotor.")],
    file: Annotated[
        Path, typer.Argument(help="Table: plane1,plane2 and a column for each sensor.")
    ],
    speed: Annotated[float, typer.Option("--speed", help="Measuring speed, rpm.")],
    unit: Annotated[
        str, typer.Option("--unit", help="Of the readings: mm/s, in/s, µm (um), mil, m/s², N, mV.")
    ] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Calibrate by runs with known masses: amounts and readings as amount@degrees."""
    from ...workshop.rotor.machine_calibration import calibrate_machine
    from ...workshop.rotor.vectors import read_text, read_trials

    added, readings, names = read_trials(read_text(file))
    told = calibrate_machine(
        open_workshop(),
        rig,
        rotor,
        added,
        readings,
        speed_rpm=speed,
        units=[unit] if unit else [],
        names=names,
        by=by,
    )
    if json:
        emit(asdict(told))
        return
    typer.echo(f"{rig} calibrated for {rotor} at {speed:,.0f} rpm, condition {told.condition:.1f}.")
    for name, share in zip(names, told.repeat_share, strict=True):
        typer.echo(f"  {name:<12} repeats to {100 * share:.1f} %")
    for warning in told.warnings:
        typer.echo(f"  ! {warning}")


@machine_app.command("arbor")
def machine_arbor(
    rig: Rig,
    rotor: Annotated[str, typer.Argument(help="Kind of rotor.")],
    plane: Annotated[
        list[str],
        typer.Option("--plane", help='Readings by index: "hub=6.0@48 4.7@6", plane after plane.'),
    ],
    step: Annotated[
        float, typer.Option("--step", help="Degrees of index between readings.")
    ] = 180.0,
    by: By = "",
    json: Json = False,
) -> None:
    """Find by indexing what the arbor adds, and take it out of every later reading on this machine."""
    from ...quantities.angles import phasor
    from ...workshop.rotor.machine_calibration import store_arbor
    from ...workshop.rotor.vectors import read_pairs

    planes = [[complex(phasor(*p)) for p in read_pairs(named(text)[1])] for text in plane]
    told = store_arbor(open_workshop(), rig, rotor, planes, step_deg=step, by=by)
    if json:
        emit(asdict(told))
        return
    for name, fixture, own in zip(told.planes, told.fixture, told.rotor, strict=True):
        known = f"arbor {short(fixture[0], 4)} g·mm at {fixture[1]:.1f}°"
        typer.echo(f"  {name}: {known}, rotor {short(own[0], 4)} at {own[1]:.1f}°")


@machine_app.command("residual-test")
def machine_residual(
    rig: Rig, plane: Planes, due: Due = "", by: By = "", json: Json = False
) -> None:
    """Minimum achievable residual: amounts with ten times the claim at 0, 30 ... 330 degrees."""
    from ...workshop.rotor.machine_proofs import prove_residual
    from ...workshop.rotor.vectors import read_numbers

    planes = {k: read_numbers(v) for k, v in map(named, plane)}
    _show(prove_residual(open_workshop(), rig, planes, due=due, by=by), json)


@machine_app.command("reduction-test")
def machine_reduction(
    rig: Rig,
    plane: Planes,
    stationary: Annotated[str, typer.Option("--stationary", help="Stationary mass, g·mm@degrees.")],
    travelling: Annotated[float, typer.Option("--travelling", help="Travelling mass, g·mm.")],
    positions: Annotated[str, typer.Option("--positions", help='Its places: "0 30 60 ...".')],
    least: Annotated[float, typer.Option("--least", help="Claimed least residual, g·mm.")],
    claimed: Annotated[float, typer.Option("--claimed", help="Claimed ratio.")] = 0.95,
    due: Due = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Unbalance reduction ratio: vectors (amount@degrees) with a travelling mass at known places."""
    from ...workshop.rotor.machine_proofs import prove_reduction
    from ...workshop.rotor.vectors import read_numbers, read_pair, read_pairs

    told = prove_reduction(
        open_workshop(), rig, {k: read_pairs(v) for k, v in map(named, plane)},
        stationary=read_pair(stationary), travelling_gmm=travelling,
        positions_deg=read_numbers(positions), least_gmm=least, claimed=claimed, due=due, by=by,
    )  # fmt: skip
    _show(told, json)


@machine_app.command("compensator-test")
def machine_compensator(
    rig: Rig,
    plane: Planes,
    compensated: Annotated[float, typer.Option("--compensated", help="Amount taken out, g·mm.")],
    least: Annotated[float, typer.Option("--least", help="Claimed least residual, g·mm.")],
    due: Due = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Compensator: vectors (amount@degrees) read at index 0, 180, 0, 180."""
    from ...workshop.rotor.machine_proofs import prove_compensator
    from ...workshop.rotor.vectors import read_pairs

    planes = {k: read_pairs(v) for k, v in map(named, plane)}
    shop = open_workshop()
    _show(
        prove_compensator(
            shop, rig, planes, compensated_gmm=compensated, least_gmm=least, due=due, by=by
        ),
        json,
    )


def _show(told: Proved, json: bool) -> None:
    if json:
        emit(told.as_json())
        return
    verdict = "PASSED" if told.passed else "NOT PASSED"
    typer.echo(f"{told.rig}, {told.kind} test: {verdict}, due {told.due}")
    for name, p in told.planes.items():
        typer.echo(f"  {name}: {p.text}")
    typer.echo("Test and limits after ISO 21940-21.")


@machine_app.command("proofs")
def machine_proofs(rig: Rig, json: Json = False) -> None:
    """The newest proof of each kind, and what is past its day."""
    from ...workshop.rotor.machines import proofs_of
    from ...workshop.rotor.measuring import overdue

    shop = open_workshop()
    proofs = proofs_of(shop, rig)
    if json:
        emit({"proofs": [p.as_json() for p in proofs], "overdue": overdue(shop, rig)})
        return
    for p in proofs:
        typer.echo(
            f"  {p.kind:<12} {p.at[:10]}  {'passed' if p.passed else 'not passed'}, due {p.due}"
        )
    for text in overdue(shop, rig):
        typer.echo(f"  ! {text}")
