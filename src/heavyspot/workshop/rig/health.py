"""Is the rig as it was? A master cartridge against its own history, a shaker, two rigs, a gauge study."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from ...ledger.records import OnBothRigs
from ...quantities.checks import positive
from ...quantities.clock import time_of
from ...quantities.errors import BadInput
from ...quantities.said import Said, in_words
from ...quantities.units import G_N
from ...sources.readers import open_recording
from ...statistics.agreement import Agreement, agreement
from ...statistics.charts import LEAST, Chart, ewma, individuals
from ...statistics.gauge import GaugeStudy, by_anova
from ..shop import Workshop
from .checks import ShakerCheck, shaker_checks, worst_of
from .record import find_rig, rig_names

SHAKER_HZ = 159.155
"""1,000 rad/s: where 10 m/s² are 10 mm/s are 10 µm, as hand-held shakers are made."""

SHAKER_M_S2 = 10.0
"""Root mean square."""

SHAKER_TOLERANCE = 0.03
"""Deviation of a reading that is allowed (common practice, no source)."""

BASIS = 20
"""Spins of the master from which the limits come; fewer, and all of them are taken."""

MASTER_HOURS = 24.0
"""A master should have been spun within this time."""


@dataclass(frozen=True)
class MasterState:
    """How the master's spins stand against its own history.

    Attributes
    ----------
    serial : str
    spins : int
        Since the rig was serviced.
    values : tuple of (str, float)
        Time and highest amplitude, g.
    single, weighted : Chart or None
        None while there are too few spins.
    outside : str
        Since when it is outside; empty when the newest spin is not.
    last : str
        When it was spun last.
    """

    serial: str
    spins: int
    values: tuple[tuple[str, float], ...]
    single: Chart | None
    weighted: Chart | None
    outside: str
    last: str

    def fresh(self, now: datetime) -> bool:
        """Whether it was spun within the last `MASTER_HOURS`."""
        return bool(self.last) and now - time_of(self.last) <= timedelta(hours=MASTER_HOURS)


def master_state(shop: Workshop, rig: str) -> MasterState | None:
    """Return how a rig's master stands; None when it has none."""
    record = find_rig(shop, rig)
    if not record.master:
        return None
    rows = shop.book.rigs.spins(rig=rig, serials=[record.master], since=record.serviced_at)
    values = tuple(
        (r.at, worst.amplitude_g) for r in rows if (worst := worst_of(r.result)) is not None
    )
    last = values[-1][0] if values else ""
    if len(values) < LEAST:
        return MasterState(record.master, len(values), values, None, None, "", last)
    g = [v for _, v in values]
    basis = min(BASIS, len(g))
    single = individuals(g, basis=basis)
    weighted = ewma(g, weight=0.3, centre=single.centre, sigma=single.sigma)
    out = set(single.outside) | set(weighted.outside)
    at, since = len(g) - 1, ""
    while at in out:
        since, at = values[at][0], at - 1
    return MasterState(record.master, len(values), values, single, weighted, since, last)


def check_shaker(
    shop: Workshop,
    rig: str,
    *,
    reads_m_s2: float | None = None,
    recording: str | Path | None = None,
    by: str = "",
) -> ShakerCheck:
    """Judge and keep a check with a hand-held shaker: what the rig reads of 10 m/s² rms at 159.155 Hz.

    Parameters
    ----------
    reads_m_s2 : float, optional
        As read off, rms.
    recording : path, optional
        A recording of the shaker; its tone is measured.

    Raises
    ------
    BadInput
        Not exactly one of the two, or there is no such tone.
    """
    if (reads_m_s2 is None) == (recording is None):
        raise BadInput(Said("refusal.give_what_was_read_or"), remedy=Said("remedy.one_of_the_two"))
    find_rig(shop, rig)
    value = shaker_reading(recording) if recording is not None else positive("reading", reads_m_s2)
    deviation = value / SHAKER_M_S2 - 1.0
    check = ShakerCheck(
        value, deviation, abs(deviation) <= SHAKER_TOLERANCE, gain=SHAKER_M_S2 / value
    )
    shop.book.rigs.add_check(rig, "shaker", asdict(check), by=by)
    return check


def shaker_reading(recording: str | Path) -> float:
    """Return the rms of the tone near 159.155 Hz in a recording's first vibration channel, m/s².

    By a sine of the frequency that fits best (within 2 %), so that no window's leakage enters.

    Raises
    ------
    BadInput
        The tone is not there, or does not stand out.
    """
    from scipy.optimize import minimize_scalar

    source = open_recording(recording)
    channel = source.vibration_indices()[0]
    x = np.concatenate([b.data[:, channel] for b in source.blocks()]).astype(float)
    x *= source.channels[channel].g_per_stored * G_N
    if len(x) < source.sample_rate_hz:
        raise BadInput(
            Said("refusal.the_recording_is_under_a"), remedy=Said("remedy.hold_the_shaker_on_for")
        )
    t = np.arange(len(x)) / source.sample_rate_hz
    step = 0.25 / t[-1]  # a quarter of what the length can tell apart
    grid = np.arange(0.98 * SHAKER_HZ, 1.02 * SHAKER_HZ, step)
    near = float(max(grid, key=lambda f: _tone(x, t, float(f))[0]))
    found = minimize_scalar(
        lambda f: _tone(x, t, f)[1], bounds=(near - step, near + step), method="bounded"
    )
    best = _tone(x, t, float(found.x))
    rms, rest = best[0] / math.sqrt(2.0), best[1]
    if rms < 3.0 * rest:
        raise BadInput(
            Said("refusal.there_is_no_clear_tone", {"shaker_hz": SHAKER_HZ}),
            remedy=Said("remedy.is_the_shaker_on_and"),
        )
    return rms


def _tone(x: Any, t: Any, frequency: float) -> tuple[float, float]:
    """Return amplitude of a tone, and the rms of what is left."""
    turn = 2 * np.pi * frequency * t
    basis = np.column_stack([np.cos(turn), np.sin(turn), np.ones(len(t))])
    found, *_ = np.linalg.lstsq(basis, x, rcond=None)
    rest = x - basis @ found
    return float(np.hypot(found[0], found[1])), float(rest.std())


def compare_rigs(shop: Workshop, first: str, second: str) -> tuple[Agreement, list[OnBothRigs]]:
    """Return how two rigs agree on pieces spun on both without a cut between, and those pieces.

    Differences are of the highest vibration, as shares of the limit.
    """
    pairs = shop.book.rigs.measured_on_both(first, second)
    return agreement([p.first for p in pairs], [p.second for p in pairs]), pairs


def run_study(
    shop: Workshop, rig: str, serials: Sequence[str], *, since: str, by: str = ""
) -> tuple[GaugeStudy, dict[str, Any]]:
    """Return and keep a gauge study from spins made for it: every operator spun every piece equally often.

    Parameters
    ----------
    serials : sequence of str
        The pieces, none of which is ground meanwhile.
    since : str
        Day the study began; later spins count.

    Raises
    ------
    BadInput
        The study is not complete: what is missing is said.
    """
    read = study_so_far(shop, rig, serials, since=since)
    counts = {(o, s): len(v) for o, by_piece in read.items() for s, v in by_piece.items()}
    trials = min(counts.values(), default=0)
    missing = [f"{o}: {s}" for o in read for s in serials if counts.get((o, s), 0) < max(2, trials)]
    if len(read) < 2 or missing or trials < 2:
        what = "; ".join(missing[:6]) or Said("refused_noun.second_operator")
        raise BadInput(
            Said("refusal.the_study_is_not_complete", {"what": what}),
            remedy=Said("remedy.spin_those_then_ask_again"),
        )
    table = {o: [[read[o][s][k] for s in serials] for k in range(trials)] for o in read}
    study = by_anova(table)
    mean = float(np.mean([v for rows in table.values() for row in rows for v in row]))
    told = {
        **{k: (None if isinstance(v, float) and math.isnan(v) else v) for k, v in asdict(study).items()},
        "serials": list(serials), "since": since, "mean_g": mean, "repeat_share": study.gauge / mean, "read": table,
    }  # fmt: skip
    shop.book.rigs.add_check(rig, "study", told, by=by)
    return study, told


def study_so_far(
    shop: Workshop, rig: str, serials: Sequence[str], *, since: str
) -> dict[str, dict[str, list[float]]]:
    """Return by operator and piece the highest amplitudes read for a study, in order."""
    read: dict[str, dict[str, list[float]]] = {}
    for r in shop.book.rigs.spins(rig=rig, serials=list(serials), since=since):
        worst = worst_of(r.result)
        if worst is not None and r.by:
            read.setdefault(r.by, {}).setdefault(r.serial, []).append(worst.amplitude_g)
    return read


def rig_says(shop: Workshop, rig: str, *, today: date | None = None) -> list[Said]:
    """Return what has to be said before customers' pieces are judged on a rig; empty when all is well."""
    said = []
    record, now = find_rig(shop, rig), datetime.now(UTC)
    due = record.next_due()
    if due and due < (today or now.date()).isoformat():
        said.append(Said("rig_says.due", {"rig": rig, "day": due}))
    shakers = shaker_checks(shop.book, rig)
    if shakers and not shakers[-1].check.good:
        last = shakers[-1]
        off = 100 * last.check.deviation
        said.append(Said("rig_says.shaker", {"rig": rig, "day": last.at[:10], "deviation": off}))
    master = master_state(shop, rig)
    if master is None:
        return said
    of = {"rig": rig, "serial": master.serial}
    if master.outside:
        said.append(Said("rig_says.outside", {**of, "day": master.outside[:10]}))
    elif not master.fresh(now):
        said.append(Said("rig_says.not_spun", {**of, "hours": MASTER_HOURS}))
    return said


def rig_words(
    shop: Workshop, rig: str, *, today: date | None = None, language: str = "en"
) -> list[str]:
    """Return the same in a language."""
    return [in_words(s, language) for s in rig_says(shop, rig, today=today)]


def words_at_bench(shop: Workshop, rig: str, language: str = "en") -> list[str]:
    """Return what has to be said at a rig's bench, of this rig and no other; nothing of one in no record."""
    return rig_words(shop, rig, language=language) if rig in rig_names(shop) else []


def last_good_check(shop: Workshop, rig: str) -> str:
    """Return the day of a rig's last good shaker check; empty when there is none."""
    good = [s for s in shaker_checks(shop.book, rig) if s.check.good]
    return good[-1].at[:10] if good else ""
