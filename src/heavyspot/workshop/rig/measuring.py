"""How a rig measures: which known deviations are corrected, and what stays uncertain."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from ...balance.budget import Shares
from ...ledger.book import Book
from ...signal.chain import Chain, Pickup
from .checks import newest_study, shaker_checks
from .record import RigRecord, parse_rig

SHAKER_SHARE = 0.015
"""Standard uncertainty of a hand-held shaker's level: 3 % stated at k = 2 (common practice, no source)."""


@dataclass(frozen=True)
class Measuring:
    """How a rig measures, at the moment of a run.

    Attributes
    ----------
    chains : dict of sensor's name -> Chain
        What is corrected; a sensor that is not named has nothing to correct.
    first_gain : float
        Reading over true value of the first sensor, whatever its name: the shaker is put on it.
    pickup : Pickup
    shares : Shares
    """

    shares: Shares
    chains: dict[str, Chain] = field(default_factory=dict)
    first_gain: float = 1.0
    pickup: Pickup = field(default_factory=Pickup)

    def chain_of(self, place: int, sensor: str) -> Chain:
        """Return what a sensor's channel is corrected by."""
        found = self.chains.get(sensor, Chain())
        return replace(found, gain=self.first_gain) if place == 0 else found


def measuring_of(book: Book, rig: str, *, repeat: float, calibration: float) -> Measuring:
    """Return how a rig measures: by its record, its newest study and its newest shaker check.

    A check within its tolerance corrects the reading, and its shaker's own uncertainty stays; one outside it is a
    sensor to be looked at, and its whole deviation counts as uncertain.

    Parameters
    ----------
    repeat, calibration : float
        What is assumed where the rig itself says nothing, as shares.
    """
    if not rig:
        return Measuring(Shares(repeat, calibration))
    study, shakers = newest_study(book, rig), shaker_checks(book, rig)
    degrees: float | None = None
    if study:
        repeat, degrees = min(0.49, max(study.repeat_share, 1e-4)), study.degrees
    first_gain = 1.0
    if shakers and shakers[-1].check.good:
        first_gain, calibration = 1.0 + shakers[-1].check.deviation, SHAKER_SHARE
    elif shakers:
        calibration = min(0.19, max(calibration, abs(shakers[-1].check.deviation)))
    entry = book.rigs.newest(rig)
    record = parse_rig(rig, dict(entry.content)) if entry else RigRecord()
    return Measuring(
        Shares(repeat, calibration, degrees, studied=study is not None),
        {
            s.name: Chain(
                1.0,
                1e-6 * s.delay_us,
                s.mounted_hz or 0.0,
                s.damping,
                tuple(s.response),
            )
            for s in record.sensors
        },
        first_gain,
        Pickup(1e-6 * record.pickup_delay_us, record.pickup_high_pass_hz),
    )
