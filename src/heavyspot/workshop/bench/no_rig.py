"""What makes a bench's source: of a rig file, or of no rig."""

from __future__ import annotations

from ...quantities.errors import NotThere
from ...sources.live import LiveSource
from ...sources.sound_card import RigFile, open_live
from .capture import LiveFactory


def no_rig(_: str) -> LiveSource:
    """The source of a bench without a rig: raises `NotThere`."""
    raise NotThere(
        "No rig is connected to this computer.",
        remedy="Start the program with --rig FILE, or with --simulate to practise.",
    )


def source_of(rig: RigFile) -> LiveFactory:
    """Return what makes a real rig's live source, whatever the piece."""
    return lambda _: open_live(rig)
