"""TOML: one place for the files a shop writes by hand."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import tomli_w

from ..quantities.errors import UnreadableFile


def read_toml(path: Path) -> dict[str, Any]:
    """Return the keys of a TOML file; raises `UnreadableFile` when it cannot be opened or read."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as fault:
        raise UnreadableFile(
            f"{path} cannot be opened: {fault.strerror}.", remedy="Check the name and the folder."
        ) from None
    except UnicodeDecodeError:
        raise UnreadableFile(
            f"{path.name} is not UTF-8 text.", remedy="Save it as UTF-8."
        ) from None
    return parse_toml(text, name=path.name)


def parse_toml(text: str, *, name: str) -> dict[str, Any]:
    """Return the keys of TOML text; raises `UnreadableFile` naming the line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise UnreadableFile(f"{name} is not TOML: {fault}.", remedy="Mend that line.") from None


def write_toml(content: dict[str, Any]) -> str:
    """Return keys as TOML text."""
    return tomli_w.dumps(content)
