"""The ``heavyspot`` command."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from .._version import __version__
from ..quantities.checks import iso_date
from ..quantities.errors import HeavyspotError
from .bring import bring
from .common import By, Json, Language, Settings, emit, open_workshop
from .flow import flow_app
from .keep import backup, move, restore
from .machines import machine_app
from .recordings import recordings_app
from .reissue import reissue
from .reread import reread_app
from .rig_health import compare, health, shaker, study
from .rotor_tools import rotor_app
from .serve import serve
from .stations import station_app
from .users import user_app
from .verify import verify

app = typer.Typer(
    name="heavyspot",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    add_completion=False,
    help="Reads a turbocharger balancing rig, says where to grind and how deep, keeps the record.\n\n"
    "It advises; it is never an interlock. Rated speed, containment, oil mist, hot parts and sparks "
    "are the shop's duty, by the maker's data and local rules.",
)
model_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Models: kinds of cartridge."
)
piece_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Pieces: single cartridges."
)
rig_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Rigs and their calibration."
)
app.add_typer(model_app, name="model")
app.add_typer(piece_app, name="piece")
for command in (health, shaker, compare, study):
    rig_app.command()(command)
app.add_typer(rig_app, name="rig")
app.add_typer(user_app, name="user")
app.add_typer(rotor_app, name="rotor")
app.add_typer(machine_app, name="machine")
app.add_typer(flow_app, name="flow")
app.add_typer(station_app, name="station")
app.add_typer(reread_app, name="reread")
app.add_typer(recordings_app, name="recordings")
app.command()(verify)
app.command()(backup)
app.command()(restore)
app.command()(move)
app.command()(bring)
app.command()(serve)
app.command()(reissue)

Serial = Annotated[str, typer.Argument(help="Serial of the piece.")]


def _version(show: bool) -> None:
    if show:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def start(
    data: Annotated[
        Path, typer.Option("--data", envvar="HEAVYSPOT_DATA", help="Data folder of the shop.")
    ] = Path("data"),
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Settings for every command."""
    Settings.data = data


@model_app.command("add")
def model_add(
    file: Annotated[Path, typer.Argument(help="Model file (TOML).")],
    by: By = "",
    json: Json = False,
) -> None:
    """Add a model, or a new version of one."""
    shop = open_workshop()
    model = shop.add_model(file, by=by)
    if json:
        emit({"model": model.name, "planes": [p.name for p in model.plane]})
        return
    from .show import show_model

    show_model(model)


@model_app.command("list")
def model_list(json: Json = False) -> None:
    """List the models."""
    names = open_workshop().book.model_names()
    if json:
        emit(names)
        return
    for name in names:
        typer.echo(name)


@piece_app.command("new")
def piece_new(
    serial: Annotated[str, typer.Option("--serial", help="Serial of the piece.")],
    model: Annotated[str, typer.Option("--model", help="Name of its model.")],
    customer: Annotated[str, typer.Option("--customer", help="Whose it is.")] = "",
    invoice: Annotated[str, typer.Option("--invoice", help="Invoice number of the job.")] = "",
    position: Annotated[str, typer.Option("--position", help="front, rear, left or right.")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Add a piece to a job."""
    piece_id = open_workshop().add_piece(
        serial, model, customer=customer, invoice=invoice, position=position, by=by
    )
    if json:
        emit({"piece": piece_id, "serial": serial, "model": model})
        return
    typer.echo(f"Piece {serial} ({model}) added.")


@piece_app.command("list")
def piece_list(json: Json = False) -> None:
    """List all pieces with their last verdict."""
    rows = open_workshop().book.pieces()
    keys = ("serial", "model", "customer", "invoice", "position", "number", "verdict")
    if json:
        emit([{k: r[k] for k in keys} for r in rows])
        return
    from .show import show_pieces

    show_pieces(rows)


@rig_app.command("add")
def rig_add(
    name: Annotated[str, typer.Argument(help="Name of the rig, as recordings give it.")],
    certificate: Annotated[str, typer.Option(help="Calibration certificate of the sensor.")] = "",
    calibrated: Annotated[str, typer.Option(help="Date of calibration, YYYY-MM-DD.")] = "",
    due: Annotated[str, typer.Option(help="Next calibration due, YYYY-MM-DD.")] = "",
    by: By = "",
) -> None:
    """Add a rig, or a new calibration of it."""
    for label, date in (("calibrated", calibrated), ("due", due)):
        if date:
            iso_date(f"--{label}", date)
    content = {"certificate": certificate, "calibrated_at": calibrated, "due": due}
    open_workshop().add_rig(name, {k: v for k, v in content.items() if v}, by=by)
    typer.echo(f"Rig {name} recorded.")


@app.command()
def spin(
    serial: Serial,
    recording: Annotated[Path, typer.Argument(help="Recording of the spin.")],
    operator: Annotated[str, typer.Option("--operator", help="Who ran the rig.")] = "",
    rig: Annotated[
        str, typer.Option("--rig", help="Which rig, if the recording does not say.")
    ] = "",
    format: Annotated[str | None, typer.Option("--format", help="Reader to use.")] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Exit with 1 when the verdict is not pass.")
    ] = False,
    json: Json = False,
) -> None:
    """Read a spin, judge it, say what to do next, and keep it."""
    result = open_workshop().spin(serial, recording, operator=operator, rig=rig, format=format)
    if json:
        emit(result.as_json())
    else:
        from .show import show_spin

        show_spin(result)
    if check and result.verdict != "pass":
        raise typer.Exit(1)


@app.command()
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
    by: By = "",
    json: Json = False,
) -> None:
    """Record a cut that was really made."""
    cut = open_workshop().ground(
        serial,
        plane,
        angle,
        mass_mg=mass_mg,
        depth_mm=depth,
        unbalance_gmm=unbalance_gmm,
        by=by,
        replaces=instead,
        why=why,
    )
    if json:
        emit(cut)
        return
    from .show import show_cut

    show_cut(cut)


@app.command()
def sheet(
    serial: Serial,
    output: Annotated[Path, typer.Option("-o", "--output", help="PDF file to write.")],
    language: Language = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Write the customer's sheet of a piece."""
    from ..sheet.issue import issue_sheet

    made = issue_sheet(open_workshop(), serial, output, by=by, language=language)
    if json:
        emit(made)
        return
    typer.echo(f"Sheet {made['number']} of {serial}: {output}")


@app.command()
def label(
    serials: Annotated[list[str], typer.Argument(help="Serials of the pieces.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="PDF file to write.")],
    size: Annotated[str, typer.Option("--size", help="29x62, 36x89 or a4.")] = "29x62",
) -> None:
    """Write labels with the serial as a QR code."""
    from ..sheet.label import label_of, label_pdf

    shop = open_workshop()
    rows = [label_of(shop.piece(serial)) for serial in serials]
    output.write_bytes(label_pdf(rows, size=size))
    typer.echo(f"{len(rows)} label{'s' if len(rows) > 1 else ''}: {output}")


@app.command()
def read(
    recording: Annotated[Path, typer.Argument(help="Recording to read.")],
    format: Annotated[str | None, typer.Option("--format", help="Reader to use.")] = None,
    json: Json = False,
) -> None:
    """Read a recording without keeping anything."""
    from ..sources.readers import open_recording
    from ..workshop.cartridge.reading import read_recording
    from ..workshop.cartridge.results import curves_json, finding_json

    opened = open_recording(recording, format=format)
    result = read_recording(opened)
    if json:
        out = curves_json(result.curves)
        out["findings"] = [finding_json(f) for f in result.findings]
        emit({**out, "highest_rpm": result.highest_rpm, "notes": list(opened.notes)})
        return
    from .show import show_read

    show_read(result, opened)


@app.command()
def convert(
    source: Annotated[Path, typer.Argument(help="Recording to convert.")],
    target: Annotated[Path, typer.Argument(help="File to write: .flac, .csv or .uff.")],
    format: Annotated[str | None, typer.Option("--format", help="Reader to use.")] = None,
) -> None:
    """Write a recording in another format."""
    from ..sources.readers import open_recording
    from ..sources.writers import write_recording

    opened = open_recording(source, format=format)
    notes = [*opened.notes, *write_recording(opened, target)]
    typer.echo(f"{target} written.")
    for note in notes:
        typer.echo(note)


@app.command()
def show(serial: Serial, json: Json = False) -> None:
    """Show a piece's runs and cuts."""
    story = open_workshop().story(serial)
    if json:
        emit(story)
        return
    from .show import show_story

    show_story(story)


@app.command()
def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where to leave what it makes.")] = Path(
        "demo"
    ),
    seed: Annotated[int, typer.Option("--seed", help="Which cartridge.")] = 7,
    size: Annotated[str, typer.Option("--size", help="Size of cartridge.")] = "Larch 52",
    fast: Annotated[bool, typer.Option("--fast", help="Without pauses for the reader.")] = False,
) -> None:
    """Balance a simulated cartridge from out of limit to its sheet, before your eyes."""
    from .demo import run_demo

    run_demo(folder, seed=seed, size=size, fast=fast)


@app.command()
def devices(json: Json = False) -> None:
    """List the inputs this computer can capture from."""
    from ..sources.sound_card import input_devices

    found = input_devices()
    if json:
        emit([{"index": d.index, "name": d.name, "channels": d.channels} for d in found])
        return
    for d in found:
        typer.echo(f"{d.index:>3}  {d.name}  ({d.channels} channels, {d.default_rate_hz:.0f} Hz)")


def main() -> None:
    """Run the command line: 0 done, 1 not passed with --check, 2 bad use or bad input."""
    try:
        code = app(standalone_mode=False)
    except HeavyspotError as fault:
        sys.stderr.write(f"{fault.message}\n  {fault.remedy}\n")
        code = 2
    except typer.Abort:
        sys.stderr.write("Stopped.\n")
        code = 130
    except BrokenPipeError:
        # whoever read our output has enough; leave without a second error at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except Exception as fault:
        if not hasattr(fault, "exit_code"):
            raise
        show = getattr(fault, "show", None)
        if show:
            show()
        code = 2
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
