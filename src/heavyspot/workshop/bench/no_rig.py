"""What makes a bench's source: of a rig file, or of no rig."""

from __future__ import annotations

from ...quantities.errors import NotThere
from ...quantities.said import Said
from ...sources.live import LiveSource
from ...sources.sound_card import RigFile, open_live
from .capture import LiveFactory


def no_rig(_: str) -> LiveSource:
    """The source of a bench without a rig: raises `NotThere`."""
    raise NotThere(
        Said("refusal.no_rig_is_connected_to_this"),
        remedy=Said("remedy.start_the_program_with_rig"),
    )


def source_of(rig: RigFile) -> LiveFactory:
    """Return what makes a real rig's live source, whatever the piece."""
    return lambda _: open_live(rig)
