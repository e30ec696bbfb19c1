"""Recordings that need no ledger: ``read``, ``convert``, ``devices``."""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Annotated

import typer

from ...quantities.errors import BadInput
from ..common import STANDARD, Format, Group, Json, Rate, TimeUnit, emit, open_workshop, opened


def read(
    recording: Annotated[Path, typer.Argument(help="Recording to read; - for standard input.")],
    format: Format = None,
    rate: Rate = None,
    time_unit: TimeUnit = None,
    group: Group = "",
    json: Json = False,
) -> None:
    """Read a recording without keeping anything."""
    from ...workshop.reading.reading import read_recording
    from ...workshop.reading.results import curves_json, finding_json

    source = opened(recording, format, rate, time_unit, group)
    result = read_recording(source)
    if json:
        out = curves_json(result.curves, result.channels)
        out["findings"] = [finding_json(f) for f in result.findings]
        emit({**out, "highest_rpm": result.highest_rpm, "notes": list(source.notes)})
        return
    from .show import show_read

    show_read(result, source)


def convert(
    source: Annotated[Path, typer.Argument(help="Recording to convert; - for standard input.")],
    target: Annotated[
        Path,
        typer.Argument(
            help="File to write: .flac, .wav, .csv or .uff; - for CSV on standard output."
        ),
    ],
    format: Format = None,
    rate: Rate = None,
    time_unit: TimeUnit = None,
    group: Group = "",
    json: Json = False,
) -> None:
    """Write a recording in another format."""
    from ...sources.writers import write_recording

    recording = opened(source, format, rate, time_unit, group)
    if target == STANDARD and json:
        raise BadInput("Standard output has the samples.", remedy="Name a file, or no --json.")
    if target == STANDARD:
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
            path = Path(folder) / "out.csv"
            notes = [*recording.notes, *write_recording(recording, path)]
            with path.open("rb") as file:
                shutil.copyfileobj(file, sys.stdout.buffer)
    else:
        notes = [*recording.notes, *write_recording(recording, target)]
        if json:
            emit({"file": str(target), "notes": notes})
            return
        typer.echo(f"{target} written.")
    for note in notes:
        typer.echo(note, err=target == STANDARD)


def devices(json: Json = False) -> None:
    """List the inputs this computer can capture from."""
    from ...sources.sound_card import input_devices

    found = input_devices()
    if json:
        emit([{"index": d.index, "name": d.name, "channels": d.channels} for d in found])
        return
    for d in found:
        typer.echo(f"{d.index:>3}  {d.name}  ({d.channels} channels, {d.default_rate_hz:.0f} Hz)")


def watch(
    rig: Annotated[Path, typer.Argument(help="Rig file whose watch names a folder.")],
    once: Annotated[
        bool, typer.Option("--once", help="End when every file there is dealt with.")
    ] = False,
) -> None:
    """Take each finished recording that another program lays into a rig's folder."""
    from ...workshop.incoming.watched import EVERY_S, WatchedFolder, watched_rig

    file = watched_rig(rig)
    folder = WatchedFolder(open_workshop(), file, Path(file.watch))
    said: set[tuple[str, str]] = set()
    while True:
        looks = folder.look()
        for look in looks:
            if look.state != "settling" and (look.name, look.words) not in said:
                said.add((look.name, look.words))
                typer.echo(f"{look.state}: {look.name}: {look.words}")
        if once and all(look.state == "waits" for look in looks):
            return
        time.sleep(EVERY_S)
