"""What the commands share."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from ..quantities.errors import BadInput

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
By = Annotated[str, typer.Option("--by", help="Who does it.")]


class Settings:
    """What stands before the command: the data folder."""

    data: Path = Path("data")


def open_workshop() -> Any:
    """Return the workshop on the data folder; its imports wait until it is needed."""
    from ..workshop.shop import Workshop

    return Workshop(Settings.data)


def emit(value: Any) -> None:
    """Print one JSON document to standard output."""
    sys.stdout.write(json.dumps(value, ensure_ascii=False, allow_nan=False) + "\n")


def named(text: str) -> tuple[str, str]:
    """Return name and value of ``name=value``."""
    name, equals, value = text.partition("=")
    if not equals:
        raise BadInput(f'"{text}" names nothing.', remedy='Write it like "nut=60".')
    return name.strip(), value.strip()
