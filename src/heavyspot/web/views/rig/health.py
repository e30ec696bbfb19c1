"""A rig's health as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from ....statistics.charts import LEAST
from ....workshop.rig.checks import ShakerKept
from ....workshop.rig.health import BASIS, SHAKER_TOLERANCE, MasterState
from ....workshop.rig.record import RigRecord
from ...formats import day, fixed, in_percent, moment, signed
from ...speaking import told
from .health_pictures import Due, due_of


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
    look: str
    by: str


def master_view(state: MasterState) -> MasterView:
    """Return the master as the page shows it."""
    last = moment(state.last) if state.last else "–"
    if not state.single:
        standing, look = told("health.limits_after", spins=str(LEAST)), ""
    elif state.outside:
        standing, look = told("health.outside", since=day(state.outside)), "fail"
    else:
        standing, look = told("health.within"), "pass"
    spins = told("health.spins", serial=state.serial, spins=str(state.spins), last=last)
    return MasterView(state.serial, spins, standing, look, min(BASIS, state.spins))


def about_served(record: RigRecord) -> str:
    """Return when a rig was serviced; nothing when that is not known."""
    return told("health.served", day=day(record.serviced_at)) if record.serviced_at else ""


def due_lines(
    record: RigRecord, state: MasterState | None, shakers: Sequence[ShakerKept], today: str = ""
) -> list[Due]:
    """Return what of a rig has its day: the master's spin, calibrations, the shaker."""
    now = datetime.now(UTC)
    today = today or now.date().isoformat()
    out = [due_of(told("health.calibration"), record.calibrated_at, record.due, today)]
    out += [due_of(s.name or s.number, s.calibrated_at, s.due, today) for s in record.sensors]
    if state:
        fresh = state.fresh(now)
        when = moment(state.last) if state.last else "–"
        out.insert(
            0,
            Due(told("health.master_spin"), when, "good" if fresh else "over", 0 if fresh else 100),
        )
    if shakers:
        newest = shakers[0]
        good = newest.check.good
        out.append(
            Due(
                told("health.shaker_check"),
                day(newest.at),
                "good" if good else "over",
                0 if good else 100,
            )
        )
    return [d for d in out if d is not None]


def shaker_views(checks: Sequence[ShakerKept]) -> list[ShakerView]:
    """Return checks with the shaker as rows."""
    return [_shaker(c) for c in checks]


def _shaker(kept: ShakerKept) -> ShakerView:
    check = kept.check
    verdict, look = (
        (told("health.good"), "pass")
        if check.good
        else (told("health.over", share=in_percent(SHAKER_TOLERANCE)), "fail")
    )
    deviation = f"{signed(100 * check.deviation, 1)} %"
    return ShakerView(moment(kept.at), fixed(check.reads_m_s2), deviation, verdict, look, kept.by)


def gain_to_undo(checks: Sequence[ShakerKept]) -> str:
    """Return the gain that would put the newest check right, newest first; empty when it was good."""
    return "" if not checks or checks[0].check.good else fixed(checks[0].check.gain, 4)


def so_far_words(so_far: Mapping[str, Mapping[str, Sequence[float]]]) -> str:
    """Return who has spun which piece how often."""
    return "; ".join(
        f"{operator} " + ", ".join(f"{serial} × {len(v)}" for serial, v in by.items())
        for operator, by in so_far.items()
    )
