"""Try it without a rig: ``simulate`` writes a recording, ``examples`` the files the guides speak of."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ...quantities.errors import BadInput

PACKED = Path(__file__).parents[2] / "examples"
CHECKOUT = Path(__file__).parents[4] / "docs" / "examples"
"""Where the examples lie: in the package that is installed, or beside the program's own sources."""


def simulate(
    to: Annotated[Path, typer.Argument(help="File to write: .wav, .flac, .csv or .uff.")],
    model: Annotated[
        str, typer.Option("--model", help="Larch 38, Larch 52, Alder 64 or Oak 90.")
    ] = "Larch 52",
    unit: Annotated[int, typer.Option("--unit", help="Which unit of the model.", min=0)] = 1,
    seed: Annotated[int, typer.Option("--seed", help="Which spin of it.", min=0)] = 1,
    peak_g: Annotated[
        float | None,
        typer.Option("--peak-g", help="Its highest vibration before any cut, g.", min=0.01),
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", help="What is wrong with it or the rig, such as whirl; again."),
    ] = None,
    cut: Annotated[
        list[str] | None,
        typer.Option("--cut", help="Made before the spin: nut@125=0.31mm, or nut@125=9.4 (g·mm)."),
    ] = None,
    sample_rate: Annotated[
        float, typer.Option("--sample-rate", help="Samples a second.")
    ] = 51_200.0,
    run_up: Annotated[float, typer.Option("--run-up", help="Seconds to test speed.")] = 8.0,
    bits: Annotated[int, typer.Option("--bits", help="16 or 24.")] = 24,
) -> None:
    """Write the recording of a simulated spin, with its sidecar."""
    from ...sources.sidecar import sidecar_path
    from ...workshop.demo.simulate import Asked
    from ...workshop.demo.simulate import simulate as write

    asked = Asked(
        model=model,
        unit=unit,
        seed=seed,
        peak_g=peak_g,
        faults=tuple(fault or ()),
        cuts=tuple(cut or ()),
        sample_rate_hz=sample_rate,
        run_up_s=run_up,
        bits=bits,
    )
    write(to, asked)
    beside = sidecar_path(to)
    typer.echo(f"{to} written{f', {beside.name} beside it' if beside.exists() else ''}.")


def examples(
    to: Annotated[Path, typer.Argument(help="Folder to copy them to.")] = Path(),
) -> None:
    """Copy the example files of the guides: models, rotors and short recordings of a simulated rig."""
    from ...quantities.durable import copy, make_folder

    source = PACKED if PACKED.is_dir() else CHECKOUT
    files = sorted(p for p in source.iterdir() if p.is_file())
    there = [p.name for p in files if (to / p.name).exists()]
    if there:
        raise BadInput(
            f"{to} has {there[0]} already.", remedy="Name a folder where nothing is written over."
        )
    make_folder(to.resolve())
    for file in files:
        copy(file, to / file.name)
    typer.echo(f"{len(files)} files copied to {to}.")
