"""What the commands share."""

from __future__ import annotations

import atexit
import json
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..quantities.errors import BadInput

if TYPE_CHECKING:
    from ..sources.recording import Recording
    from ..workshop.once import Asked
    from ..workshop.sheets.issue import Issued
    from ..workshop.shop import Workshop

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Serial = Annotated[str, typer.Argument(help="Serial of the piece.")]
By = Annotated[str, typer.Option("--by", help="Who does it.")]

Language = Annotated[
    str, typer.Option("--language", help="en, de, fr, es or zh; the shop's own when not given.")
]

Why = Annotated[
    str,
    typer.Option("--why", help="Why a new one is issued, though a sheet of the same run stands."),
]


Rate = Annotated[
    float | None,
    typer.Option("--rate", help="Samples a second, where the file states none.", min=0.001),
]
TimeUnit = Annotated[
    str | None,
    typer.Option("--time-unit", help="Of a column of time without one: s, ms, us, ns or min."),
]
Group = Annotated[
    str,
    typer.Option(
        "--group", help="Which group, segment or measurement of a file that holds several."
    ),
]
Format = Annotated[str | None, typer.Option("--format", help="Reader to use.")]


STANDARD = Path("-")
"""Standard input, or output."""


class Settings:
    """What stands before the command: the data folder, and what is asked once."""

    data: Path = Path("data")
    once: Asked | None = None


def open_workshop() -> Workshop:
    """Return the workshop on the data folder; its imports wait until it is needed."""
    from ..workshop.shop import Workshop

    return Workshop(Settings.data)


def opened(
    path: Path, format: str | None, rate: float | None, time_unit: str | None, group: str
) -> Recording:
    """Return the recording in a file, or on standard input for ``-``, with what was stated on the command line."""
    from ..sources.readers import open_recording
    from ..sources.sidecar import Stated

    return open_recording(kept(path), format=format, stated=Stated(rate, time_unit, group))


def kept(path: Path) -> Path:
    """Return a file; what stands on standard input, for ``-``, is laid into one until the program ends."""
    if path != STANDARD:
        return path
    folder = Path(tempfile.mkdtemp(prefix="heavyspot-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    content = sys.stdin.buffer.read()
    text = b"\0" not in content[:512] or content.startswith((b"\xff\xfe", b"\xfe\xff"))
    kind = ".txt" if text else ".bin"  # a text is known by its name
    (folder / f"standard-input{kind}").write_bytes(content)
    return folder / f"standard-input{kind}"


def emit(value: Mapping[str, object] | Sequence[object] | None) -> None:
    """Print one JSON document to standard output."""
    sys.stdout.write(json.dumps(value, ensure_ascii=False, allow_nan=False) + "\n")


def say(value: Mapping[str, object], words: str, json_only: bool) -> None:
    """Print what was done as one JSON document, or in words."""
    if json_only:
        emit(value)
    else:
        typer.echo(words)


def say_names(names: Sequence[str], json_only: bool) -> None:
    """Print names, one a line, or as JSON."""
    if json_only:
        emit(list(names))
        return
    for name in names:
        typer.echo(name)


def say_issued(issued: Issued, out: Path, json_only: bool) -> None:
    """Say which sheet was written and where, or print it as JSON."""
    if json_only:
        emit(asdict(issued))
    else:
        typer.echo(f"Sheet {issued.number} ({issued.verdict}) written to {out}.")


def named(text: str) -> tuple[str, str]:
    """Return name and value of ``name=value``."""
    name, equals, value = text.partition("=")
    if not equals:
        raise BadInput(f'"{text}" names nothing.', remedy='Write it like "nut=60".')
    return name.strip(), value.strip()


@contextmanager
def progress_bar(quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Show bars for long work: told what, how much is done and how much there is."""
    from rich.console import Console
    from rich.progress import Progress, TaskID

    with Progress(transient=True, disable=quiet, console=Console(stderr=True)) as bar:
        tasks: dict[str, TaskID] = {}

        def show(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=total)
            bar.update(tasks[what], completed=done, total=total)

        yield show
