"""A rig's health as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...statistics.charts import LEAST
from ...workshop.rig.checks import ShakerKept
from ...workshop.rig.health import BASIS, SHAKER_TOLERANCE, MasterState
from ..formats import counted, day, fixed, in_percent, moment, signed


@dataclass(frozen=True)
class MasterView:
    """The master cartridge: its spins, and whether they stay within its history.

    Attributes
    ----------
    basis : int
        How many spins its limits come from.
    """

    serial: str
    spins: str
    standing: str
    look: str
    basis: int


@dataclass(frozen=True)
class ShakerView:
    """A check with the hand-held shaker, as cells."""

    at: str
    reads: str
    deviation: str
    verdict: str
    by: str


def master_view(state: MasterState) -> MasterView:
    """Return the master as the page shows it."""
    last = f", the last {moment(state.last)}" if state.last else ""
    if not state.single:
        standing, look = f"Limits come after {LEAST} spins.", ""
    elif state.outside:
        standing, look = f"✗ outside since {day(state.outside)}", "fail"
    else:
        standing, look = "✓ within its history", "pass"
    spins = f"{counted(state.spins, 'spin')} since the rig was serviced{last}."
    return MasterView(state.serial, spins, standing, look, min(BASIS, state.spins))


def shaker_views(checks: Sequence[ShakerKept]) -> list[ShakerView]:
    """Return checks with the shaker as rows."""
    return [_shaker(c) for c in checks]


def _shaker(kept: ShakerKept) -> ShakerView:
    check = kept.check
    verdict = "✓ good" if check.good else f"✗ over {in_percent(SHAKER_TOLERANCE)} %"
    deviation = f"{signed(100 * check.deviation, 1)} %"
    return ShakerView(moment(kept.at), fixed(check.reads_m_s2), deviation, verdict, kept.by)


def gain_to_undo(checks: Sequence[ShakerKept]) -> str:
    """Return the gain that would put the newest check right, newest first; empty when it was good."""
    return "" if not checks or checks[0].check.good else fixed(checks[0].check.gain, 4)


def so_far_words(so_far: Mapping[str, Mapping[str, Sequence[float]]]) -> str:
    """Return who has spun which piece how often."""
    return "; ".join(
        f"{operator} " + ", ".join(f"{serial} × {len(v)}" for serial, v in by.items())
        for operator, by in so_far.items()
    )
