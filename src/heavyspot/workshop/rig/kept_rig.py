"""The rig that was connected in the browser: its file lies in the shop's folder, and the next start finds it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomli_w
from pydantic import ValidationError

from ...quantities.durable import write_text
from ...quantities.errors import BadInput
from ...sources.sidecar import first_fault
from ...sources.sound_card import RigFile, load_rig_file

FILE = "rig.toml"


def kept_rig(folder: Path) -> RigFile | None:
    """Return the rig of a shop's folder, None when none was connected there.

    Raises
    ------
    UnreadableFile
        Its file is not one.
    """
    path = folder / FILE
    return load_rig_file(path) if path.exists() else None


def keep_rig(folder: Path, rig: RigFile) -> None:
    """Write a rig's file, durably."""
    content = rig.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    write_text(folder / FILE, tomli_w.dumps(content))


def parse_rig_file(content: dict[str, Any]) -> RigFile:
    """Return a checked rig from its values.

    Raises
    ------
    BadInput
        A key is missing or out of range; it is named.
    """
    try:
        rig = RigFile.model_validate(content)
    except ValidationError as fault:
        raise BadInput(first_fault(fault), remedy="Correct that field.") from None
    rig.description()
    return rig
