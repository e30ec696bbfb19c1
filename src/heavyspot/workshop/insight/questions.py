"""What the insight pages show, each number with the pieces behind it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from ...quantities.errors import BadInput
from ...quantities.said import Said
from ...statistics.charts import LEAST, Chart, capability, ewma
from ...statistics.survival import Survival, survival
from ..shop import Workshop
from .answers import (
    AdviceGained,
    FirstSpin,
    Group,
    GroupShown,
    PieceSpun,
    ShippedElsewhere,
    Stayed,
    Supplied,
)
from .store import asked

GROUPS = {
    "model": "model", "operator": "operator", "rig": "rig", "supplier": "supplier", "lot": "lot",
    "customer": "customer", "first run as": "first_as",
    "week": "strftime(day, '%G-W%V')", "month": "strftime(day, '%Y-%m')",
}  # fmt: skip
"""What pieces can be grouped by, and how."""

BANDS = ((0.0, 0.5), (0.5, 0.75), (0.75, 1.0), (1.0, math.inf))
"""Residual vibration a piece left with, as shares of its limit."""


def band_name(low: float, high: float) -> str:
    """Return what a band of residual vibration is called.

    >>> band_name(0.5, 0.75), band_name(1.0, math.inf)
    ('0.5 to 0.75 of the limit', 'over 1 of it')
    """
    return f"{low:g} to {high:g} of the limit" if math.isfinite(high) else f"over {low:g} of it"


GROUPS["left with"] = (
    "case "
    + " ".join(
        f"when last_ratio < {high} then '{band_name(low, high)}'"
        for low, high in BANDS
        if math.isfinite(high)
    )
    + f" when last_ratio is not null then '{band_name(*BANDS[-1])}' else '' end"
)

CHANCE = "chance"
"""Beside the groups: pieces by the tenth of the chance that was said."""

FEW = 10
"""Fewer pieces tell little, and the page says so."""


def checked_group(by: str) -> str:
    """Return a group's expression; raises `BadInput` for one that is not known."""
    if by not in GROUPS:
        raise BadInput(
            Said("refusal.there_is_no_group", {"by": by}),
            remedy=Said("remedy.known", {"known": ", ".join(GROUPS)}),
        )
    return GROUPS[by]


def overview(shop: Workshop, by: str, *, since: str = "", most: int = 60) -> list[GroupShown]:
    """Return a value for each group of pieces that were spun, the largest first, weeks and months newest first.

    ``first`` is the share that passed at the first spin, with its 95 % interval after Wilson.
    """
    key = checked_group(by)
    order = "1 desc" if by in ("week", "month") else "2 desc"
    rows = asked(
        shop,
        Group,
        f"""
        select {key} as name, count(*) as pieces, sum((first_verdict = 'pass')::int) as at_first,
          avg(runs) as runs, sum(tables)::int as tables, avg(cuts) as cuts,
          avg(mass_mg) as mass_mg, median(minutes) as minutes,
          median(first_ratio) as first_ratio, median(last_ratio) as last_ratio,
          sum((verdict = 'pass')::int) as passed, sum((claim_days is not null)::int) as claims
        from facts where runs > 0 and day >= ?::date group by 1 order by {order} limit ?
        """,
        [since or "1900-01-01", most],
    )
    return [_shown(r) for r in rows]


def _shown(group: Group) -> GroupShown:
    first, low, high = wilson(group.at_first, group.pieces)
    few = group.pieces < FEW
    return GroupShown(**vars(group), first=first, first_low=low, first_high=high, few=few)


def wilson(good: int, n: int) -> tuple[float, float, float]:
    """Return a share and its 95 % interval (E.B. Wilson, 1927)."""
    if n == 0:
        return math.nan, 0.0, 1.0
    z, p = 1.96, good / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return p, max(0.0, middle - half), min(1.0, middle + half)


def pieces_behind(
    shop: Workshop, by: str, name: str, *, since: str = "", most: int = 500
) -> list[PieceSpun]:
    """Return the pieces of a group, newest first; ``by`` may be a chance that was said, its tenth from ``name``."""
    key, value = (
        ("list_contains(?, piece_id)", _promised(shop, name))
        if by == CHANCE
        else (f"{checked_group(by)} = ?", name)
    )
    return asked(
        shop,
        PieceSpun,
        f"""
        select serial, model, customer, invoice, day, operator, rig, supplier, lot, runs, cuts, mass_mg,
          first_ratio, last_ratio, verdict, claim_days
        from facts where runs > 0 and {key} and day >= ?::date order by day desc, piece_id desc limit ?
        """,
        [value, since or "1900-01-01", most],
    )


def _promised(shop: Workshop, low: str) -> list[str]:
    """Return the pieces of which a chance in the tenth from ``low`` was said and then tried."""
    tenth = round(10 * float(low)) if re.fullmatch(r"0(\.\d)?", low) else -1
    said = shop.book.library.chances()
    return sorted({c.piece_id for c in said if min(9, int(10 * c.said)) == tenth})


def advice_kept(shop: Workshop) -> list[AdviceGained]:
    """Return what advice that was kept gained, beside what was ground instead of it."""
    return asked(
        shop,
        AdviceGained,
        """
        select kept, count(*) as number, median(before) as before, median(after) as after,
          avg((verdict = 'pass')::int) as passed, avg((after > 1.1 * before)::int) as worse
        from advice group by 1 order by 1 desc
        """,
    )


@dataclass(frozen=True)
class Incoming(Supplied):
    """How the pieces of a supplier come in.

    Attributes
    ----------
    chart : Chart or None
        Weighted mean of the logarithm of the first ratio, limits from the first half; None for few pieces.
    days : list of str
    alarm : str
        Day since which it is outside; empty when it is not now.
    """

    chart: Chart | None
    days: list[str]
    alarm: str


def incoming(shop: Workshop, *, newest: int = 400) -> list[Incoming]:
    """Return how each supplier's pieces come in, by the newest of them."""
    suppliers = asked(
        shop,
        Supplied,
        """
        select supplier, count(*) as pieces, quantile_cont(first_ratio, 0.1) as low, median(first_ratio) as middle,
          quantile_cont(first_ratio, 0.9) as high
        from facts where runs > 0 and supplier <> '' and first_ratio > 0 group by 1 order by 2 desc limit 20
        """,
    )
    out = []
    for s in suppliers:
        rows = asked(
            shop,
            FirstSpin,
            """
            select day, first_ratio from facts where supplier = ? and runs > 0 and first_ratio > 0
            order by day desc, piece_id desc limit ?
            """,
            [s.supplier, newest],
        )[::-1]
        chart, alarm, days = None, "", [str(r.day) for r in rows]
        if len(rows) >= 2 * LEAST:
            logs = np.log([r.first_ratio for r in rows])
            chart = ewma(logs.tolist(), weight=0.1, basis=len(rows) // 2)
            alarm = _since(chart, days)
        out.append(Incoming(**vars(s), chart=chart, days=days, alarm=alarm))
    return out


def _since(chart: Chart, days: list[str]) -> str:
    """Return the day since which the newest points are outside; empty when the newest is inside."""
    outside = set(chart.outside)
    at = len(days) - 1
    if at not in outside:
        return ""
    while at - 1 in outside:
        at -= 1
    return days[at]


def shipped_elsewhere(shop: Workshop) -> list[ShippedElsewhere]:
    """Return by model what limits of one, two and three times the house's would have let go at the first spin.

    Capability is that of the last run, one-sided against the house limit.
    """
    rows = asked(
        shop,
        ShippedElsewhere,
        """
        select model, count(*) as pieces, avg((first_ratio <= 1)::int) as one, avg((first_ratio <= 2)::int) as two,
          avg((first_ratio <= 3)::int) as three, avg(last_ratio) as mean, stddev_samp(last_ratio) as sd,
          avg((last_ratio > 1)::int) as over
        from facts where runs > 0 and last_ratio is not null group by 1 order by 2 desc limit 40
        """,
    )
    return [_with_cpk(r) for r in rows]


def _with_cpk(row: ShippedElsewhere) -> ShippedElsewhere:
    if row.pieces < FEW or not row.sd:
        return row
    told = capability(row.mean, row.sd, high=1.0, n=row.pieces)
    return replace(row, cpk=told.cpk, cpk_low=told.cpk_low, cpk_high=told.cpk_high)


def claims(shop: Workshop, *, today: datetime | None = None) -> list[tuple[str, Survival]]:
    """Return by band of residual vibration how pieces stay without a claim, in days since they left."""
    now = (today or datetime.now(UTC)).replace(tzinfo=None)
    out = []
    for low, high in BANDS:
        rows = asked(
            shop,
            Stayed,
            """
            select coalesce(claim_days, date_diff('day', left_at, ?::timestamp)) as days,
              claim_days is not null as claimed, count(*) as n
            from facts where verdict in ('pass', 'fail') and runs > 0 and last_ratio >= ? and last_ratio < ?
              and left_at <= ?::timestamp group by 1, 2
            """,
            [now.isoformat(), low, 1e9 if math.isinf(high) else high, now.isoformat()],
        )
        if rows:
            curve = survival(
                [max(float(r.days), 0.0) for r in rows],
                [bool(r.claimed) for r in rows],
                [int(r.n) for r in rows],
            )
            out.append((band_name(low, high), curve))
    return out


def after(curve: Survival, days: float) -> float:
    """Return the share without a claim after so many days."""
    return _at(curve.time, curve.share, days)


def after_between(curve: Survival, days: float) -> tuple[float, float]:
    """Return the 95 % limits of that share."""
    return _at(curve.time, curve.low, days), _at(curve.time, curve.high, days)


def _at(time: Sequence[float], share: Sequence[float], days: float) -> float:
    return next((s for t, s in zip(time[::-1], share[::-1], strict=True) if t <= days), 1.0)
