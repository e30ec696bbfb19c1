"""A run as a table: ``curve``, and the check of a rig's angles."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...quantities.errors import BadInput
from ..common import By, Json, Serial, emit, kept, open_workshop
from .work import say_result

if TYPE_CHECKING:
    from ...workshop.rig.angle_check import TrialCut

Unit = Annotated[
    str, typer.Option("--unit", help="Of the amplitudes, where no heading says: g or m/s².")
]
Measure = Annotated[
    str,
    typer.Option("--measure", help="peak (zero to peak), rms or peak_to_peak, where none says."),
]
Sheet = Annotated[str, typer.Option("--sheet", help="Of a workbook; its first when not given.")]


def curve(
    serial: Serial,
    table: Annotated[
        Path | None, typer.Argument(help="Table of speed, amplitude, angle; - for standard input.")
    ] = None,
    peak_g: Annotated[
        float | None, typer.Option("--peak-g", help="Instead: the worst value alone, g peak.")
    ] = None,
    at_rpm: Annotated[
        float | None, typer.Option("--at-rpm", help="The speed it stands at.")
    ] = None,
    operator: Annotated[str, typer.Option("--operator", "--by", help="Who ran the rig.")] = "",
    rig: Annotated[str, typer.Option("--rig", help="Which rig showed it.")] = "",
    unit: Unit = "",
    measure: Measure = "",
    sheet: Sheet = "",
    recorded_at: Annotated[str, typer.Option("--recorded-at", help="When, ISO 8601.")] = "",
    check: Annotated[
        bool, typer.Option("--check", help="Exit with 1 when the verdict is not pass.")
    ] = False,
    json: Json = False,
) -> None:
    """Take a run as a table, where the rig gives no samples; judge it, say what to do next, and keep it."""
    from ...sources.curve_reading import StatedTable, table_from_file
    from ...sources.curve_table import peak_alone
    from ...workshop.cartridge.tabled.spinning import spin_table

    if (table is None) == (peak_g is None) or (peak_g is None) != (at_rpm is None):
        raise BadInput(
            "A table, or one value with its speed, is needed.",
            remedy="Give FILE, or --peak-g and --at-rpm.",
        )
    if table is not None:
        stated = StatedTable(unit, measure, rig, operator, recorded_at, sheet)
        read = table_from_file(kept(table), stated, name="" if str(table) != "-" else "the table")
    else:
        assert peak_g is not None and at_rpm is not None  # one value with its speed
        read = peak_alone(peak_g, at_rpm, rig=rig, operator=operator)
    result = spin_table(open_workshop(), serial, read, operator=operator, rig=rig)
    say_result(result, json=json, check=check)


def angles(
    rig: Annotated[str, typer.Argument(help="Name of the rig.")],
    tables: Annotated[
        list[Path] | None,
        typer.Argument(help="Two tables, or three with two cuts; none: how to make them."),
    ] = None,
    moved: Annotated[
        float, typer.Option("--moved", help="Degrees the mark was moved, against rotation.")
    ] = 90.0,
    forward: Annotated[
        bool, typer.Option("--with-rotation", help="It was moved with rotation instead.")
    ] = False,
    cut: Annotated[
        list[str] | None,
        typer.Option("--cut", help="Twice, instead of a moved mark: g·mm@degrees, like 2.5@30."),
    ] = None,
    zero_deg: Annotated[
        float | None,
        typer.Option("--zero-deg", help="Where its zero is, against rotation; 0 for the mark."),
    ] = None,
    sensor_lag_deg: Annotated[
        float | None,
        typer.Option("--sensor-lag-deg", help="Turn from pickup to sensor, where zero is known."),
    ] = None,
    unit: Unit = "",
    measure: Measure = "",
    keep: Annotated[bool, typer.Option("--keep", help="Write it on the rig's record.")] = False,
    by: By = "",
    json: Json = False,
) -> None:
    """Find out once which way a rig counts its angles; without tables, how to go about it."""
    from ...sources.curve_reading import StatedTable, table_from_file
    from ...workshop.rig.angle_check import (
        STEPS,
        check_moved_mark,
        check_two_cuts,
        keep_angles,
    )

    if not tables:
        for number, step in enumerate(STEPS, start=1):
            typer.echo(f"{number}. {step}")
        typer.echo(f'Then: heavyspot rig angles "{rig}" FIRST SECOND --moved 90 --keep')
        return
    read = [table_from_file(p, StatedTable(unit, measure, rig)) for p in tables]
    cuts = [_cut(c) for c in cut or ()]
    if (len(read), len(cuts)) not in ((2, 0), (3, 2)):
        raise BadInput(
            f"{len(read)} tables with {len(cuts)} cuts tell nothing.",
            remedy="Give two tables and --moved, or three tables and --cut twice.",
        )
    if cuts:
        found = check_two_cuts(read, (cuts[0], cuts[1]))
    else:
        found = check_moved_mark(read[0], read[1], moved, forward=forward)
    if keep:
        keep_angles(
            open_workshop(), rig, found, by_cuts=bool(cuts), zero_deg=zero_deg,
            sensor_lag_deg=sensor_lag_deg, by=by,
        )  # fmt: skip
    if json:
        emit(asdict(found))
        return
    typer.echo(
        f"{rig} counts {found.sense} rotation: it turned by {found.turned_deg:+.0f}°, "
        f"{found.expected_deg:+.0f}° was to be seen (± {2 * found.uncertainty_deg:.0f}°)."
    )
    typer.echo(
        "Kept: later tables are read so."
        if keep
        else "Not kept; add --keep to read later tables so."
    )


def _cut(text: str) -> TrialCut:
    from ...workshop.rig.angle_check import TrialCut as Cut

    amount, _, angle = text.partition("@")
    try:
        return Cut(float(angle), float(amount))
    except ValueError:
        raise BadInput(f"{text!r} is no cut.", remedy="Write it like 2.5@30.") from None
