"""What drivers that deliver volts ask of a rig file."""

from __future__ import annotations

from collections.abc import Sequence

from ...quantities.errors import SourceLost
from ..sound_card import RigFile

RATE_SHARE = 1e-4
"""A device that samples otherwise than its rig file says by more is refused: every speed would be off (ours)."""


def volts_of(rig: RigFile) -> list[float]:
    """Return each channel's full scale, V; raises `SourceLost` for one in another unit."""
    for channel in rig.channel:
        if channel.unit != "V":
            raise SourceLost(
                f'The driver {rig.driver} delivers volts; "{channel.name}" is in {channel.unit}.',
                remedy='Write unit = "V", full_scale as the input\'s range, and the sensitivity.',
            )
    return [float(channel.full_scale) for channel in rig.channel]


def refuse_unknown(rig: RigFile, known: Sequence[str]) -> None:
    """Raise `SourceLost` for a setting the driver does not know: a slip of the pen would change nothing unseen."""
    for name in rig.settings:
        if name not in known:
            raise SourceLost(
                f'The driver {rig.driver} knows no setting "{name}".',
                remedy="Known: " + ", ".join(known) + ".",
            )


def refuse_other_rate(rig: RigFile, rate_hz: float) -> None:
    """Raise `SourceLost` where the device samples at another rate than the rig file says."""
    if abs(rate_hz / rig.sample_rate_hz - 1) > RATE_SHARE:
        raise SourceLost(
            f"The device samples {rate_hz:g} times a second, not {rig.sample_rate_hz:g}.",
            remedy=f"Write sample_rate_hz = {rate_hz:g} into the rig file, or one the device has.",
        )
