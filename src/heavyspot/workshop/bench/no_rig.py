"""A bench without a rig."""

from __future__ import annotations

from ...quantities.errors import NotThere
from ...sources.live import LiveSource


def no_rig(_: str) -> LiveSource:
    """The source of a bench without a rig: raises `NotThere`."""
    raise NotThere(
        "No rig is connected to this computer.",
        remedy="Start the program with --rig FILE, or with --simulate to practise.",
    )
