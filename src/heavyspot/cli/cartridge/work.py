"""A cartridge from recording to sheet: ``spin``, ``ground``, ``looked``, ``sheet``, ``show`` and more."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...quantities.durable import write_bytes
from ..common import (
    By,
    Format,
    Group,
    Json,
    Language,
    Rate,
    Serial,
    TimeUnit,
    Why,
    emit,
    kept,
    open_workshop,
    say,
)

if TYPE_CHECKING:
    from ...workshop.reading import SpinResult


def spin(
    serial: Serial,
    recording: Annotated[Path, typer.Argument(help="Recording of the spin.")],
    operator: Annotated[str, typer.Option("--operator", "--by", help="Who ran the rig.")] = "",
    rig: Annotated[
        str, typer.Option("--rig", help="Which rig, if the recording does not say.")
    ] = "",
    format: Format = None,
    rate: Rate = None,
    time_unit: TimeUnit = None,
    group: Group = "",
    check: Annotated[
        bool, typer.Option("--check", help="Exit with 1 when the verdict is not pass.")
    ] = False,
    json: Json = False,
) -> None:
    """Read a spin, judge it, say what to do next, and keep it."""
    from ...sources.sidecar import Stated
    from ...workshop.cartridge.spinning import spin as read_spin

    result = read_spin(
        open_workshop(),
        serial,
        kept(recording),
        operator=operator,
        rig=rig,
        format=format,
        stated=Stated(rate, time_unit, group),
    )
    say_result(result, json=json, check=check)


def say_result(result: SpinResult, *, json: bool, check: bool) -> None:
    """Say what a run gave, to people or as JSON; exit with 1 when it is to be a pass and is none."""
    if json:
        emit(result.as_json())
    else:
        from .show import show_spin

        show_spin(result)
    if check and result.verdict != "pass":
        raise typer.Exit(1)


def ground(
    serial: Serial,
    plane: Annotated[str, typer.Option("--plane", help="Plane that was cut.")],
    angle: Annotated[
        float,
        typer.Option("--angle", help="Degrees from the mark, against rotation, seen from the nut."),
    ],
    mass_mg: Annotated[float | None, typer.Option("--mass-mg", help="Mass taken off, mg.")] = None,
    depth: Annotated[float | None, typer.Option("--depth", help="Depth of the cut, mm.")] = None,
    unbalance_gmm: Annotated[
        float | None, typer.Option("--unbalance-gmm", help="Unbalance taken off, g·mm.")
    ] = None,
    instead: Annotated[
        str | None, typer.Option("--instead", help="Identifier of the entry this one amends.")
    ] = None,
    why: Annotated[str, typer.Option("--why", help="Reason of an amendment.")] = "",
    sure: Annotated[
        bool, typer.Option("--sure", help="It is deeper than the model allows, and was made.")
    ] = False,
    by: By = "",
    json: Json = False,
) -> None:
    """Record a cut that was really made."""
    from ...workshop.cartridge.grinding import ground as write_cut

    cut = write_cut(
        open_workshop(),
        serial,
        plane,
        angle,
        mass_mg=mass_mg,
        depth_mm=depth,
        unbalance_gmm=unbalance_gmm,
        by=by,
        replaces=instead,
        why=why,
        sure=sure,
    )
    if json:
        emit(cut.as_json())
        return
    from .show import show_cut

    show_cut(cut)


def looked(
    serial: Serial,
    knowingly: Annotated[
        bool,
        typer.Option(
            "--knowingly", help="Go on although it got far worse (an inspector's decision)."
        ),
    ] = False,
    why: Annotated[str, typer.Option("--why", help="Reason of going on knowingly.")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Say that the newest cuts are on the piece as written down; the advice is made anew."""
    from ...workshop.cartridge.answering import looked as say_looked

    story = say_looked(open_workshop(), serial, by=by, knowingly=knowingly, why=why)
    if json:
        emit(story.as_json())
        return
    from .show import show_next

    show_next(story)


def overrule(
    serial: Serial,
    why: Annotated[
        str, typer.Option("--why", help="Why the finding does not hold; it is printed.")
    ],
    by: By = "",
    json: Json = False,
) -> None:
    """Let a verdict stand against a finding that blocks it (an inspector's decision)."""
    from ...workshop.cartridge.overruling import overrule as let_stand

    told = let_stand(open_workshop(), serial, why=why, by=by)
    if json:
        emit(told.as_json())
        return
    typer.echo(f"Run {told.number} of {serial}: {told.verdict} stands, against: {told.finding}")


def sheet(
    serial: Serial,
    output: Annotated[Path, typer.Option("-o", "--output", "--out", help="PDF file to write.")],
    language: Language = "",
    why: Why = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Write the customer's sheet: the issued one again, byte for byte; a new one with --why, or if none stands."""
    from ...workshop.sheets.issue import sheet_now

    made = sheet_now(open_workshop(), serial, output, by=by, language=language, why=why)
    if json:
        emit(asdict(made))
        return
    typer.echo(f"Sheet {made.number} of {serial}: {output}")


def label(
    serials: Annotated[list[str], typer.Argument(help="Serials of the pieces.")],
    output: Annotated[Path, typer.Option("-o", "--output", "--out", help="PDF file to write.")],
    size: Annotated[str, typer.Option("--size", help="29x62, 36x89 or a4.")] = "29x62",
    json: Json = False,
) -> None:
    """Write labels with the serial as a QR code."""
    from ...sheet.label import label_pdf
    from ...workshop.sheets.label import label_of
    from ...workshop.shop import find_piece

    shop = open_workshop()
    rows = [label_of(find_piece(shop, serial)) for serial in serials]
    write_bytes(output, label_pdf(rows, size=size))
    words = f"{len(rows)} label{'s' if len(rows) > 1 else ''}: {output}"
    say({"labels": len(rows), "file": str(output)}, words, json)


def show(
    serial: Serial,
    budget: Annotated[
        bool, typer.Option("--budget", help="The uncertainty budget of the last run too.")
    ] = False,
    json: Json = False,
) -> None:
    """Show a piece's runs and cuts."""
    from ...workshop.cartridge.story import cartridge_story

    story = cartridge_story(open_workshop(), serial)
    if json:
        emit(story.as_json())
        return
    from .show import show_budget, show_story

    show_story(story)
    if budget:
        show_budget(story)
