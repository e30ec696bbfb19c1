"""What the shop gains, and whether the advice keeps its word: counted from the ledger itself."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median
from typing import get_args

from ...balance.cut.history import Scatter
from ...balance.geometry import Kind
from ...ledger.records import Cut, CutError, Outcome
from ..cartridge import angle_spread, share_spread
from ..shop import Workshop

WORSE = 1.10
"""A run whose highest ratio is over this times the one before, with a cut between, was made worse."""

GROUP = 10
"""Units at the beginning and at the end that are compared."""


@dataclass(frozen=True)
class UnitTold:
    """How one unit went: runs until its first pass (None: not yet), cuts that made it worse, material."""

    serial: str
    runs: int
    passed: bool
    worse: int
    cuts: int
    mass_mg: float


@dataclass
class ModelGains:
    """One model's units in the order they came, those that started over the limit only."""

    model: str
    units: list[UnitTold] = field(default_factory=list)

    def runs(self, group: slice) -> float | None:
        """Return the mean number of runs to a pass of some of the units that passed."""
        passed = [u.runs for u in self.units if u.passed][group]
        return fmean(passed) if passed else None

    @property
    def first(self) -> float | None:
        """Mean runs of the first ten."""
        return self.runs(slice(None, GROUP))

    @property
    def last(self) -> float | None:
        """Mean runs of the last ten."""
        return self.runs(slice(-GROUP, None))

    @property
    def median_runs(self) -> float | None:
        """Median runs of all that passed."""
        passed = [u.runs for u in self.units if u.passed]
        return median(passed) if passed else None

    @property
    def worse(self) -> int:
        """Runs that a cut made worse."""
        return sum(u.worse for u in self.units)

    @property
    def cuts(self) -> int:
        """Cuts made."""
        return sum(u.cuts for u in self.units)

    @property
    def mass_mg(self) -> float:
        """Material taken off a unit, mean, mg."""
        return fmean(u.mass_mg for u in self.units) if self.units else 0.0


@dataclass(frozen=True)
class Kept:
    """Advices whose chance lay in a tenth: how many, the mean said, the share that passed."""

    low: float
    number: int
    said: float
    happened: float

    @property
    def high(self) -> float:
        """Upper end of the tenth."""
        return self.low + 0.1


@dataclass(frozen=True)
class Hand:
    """How the cuts of an operator turned out with a kind of cutter: usual error, share and degrees."""

    operator: str
    cutter: str
    number: int
    share: float
    angle_deg: float


@dataclass(frozen=True)
class Gains:
    """All of it."""

    models: list[ModelGains]
    kept: list[Kept]
    hands: list[Hand]


def shop_gains(shop: Workshop, *, most_pieces: int = 5000) -> Gains:
    """Return what the newest pieces tell."""
    cuts: dict[str, list[Cut]] = defaultdict(list)
    for cut in shop.book.library.cuts_of_newest(most_pieces):
        cuts[cut.piece_id].append(cut)
    models: dict[str, ModelGains] = {}
    runs = shop.book.library.outcomes_of_newest(most_pieces)
    for piece_id, group in itertools.groupby(runs, key=lambda r: r.piece_id):
        rows = list(group)
        if rows[0].verdict == "pass":
            continue  # it needed nothing
        unit = _unit(rows, cuts[piece_id])
        models.setdefault(rows[0].model, ModelGains(rows[0].model)).units.append(unit)
    said = [(p.said, bool(p.passed)) for p in shop.book.library.chances()]
    return Gains(sorted(models.values(), key=lambda m: m.model), reliability(said), hands_of(shop))


def reliability(said: Iterable[tuple[float, bool]]) -> list[Kept]:
    """Return, for each tenth of the chance said, how many advices there were and how many passed."""
    tenths: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for chance, happened in said:
        tenths[min(9, int(10 * chance))].append((chance, happened))
    return [
        Kept(k / 10, len(v), fmean(c for c, _ in v), fmean(float(h) for _, h in v))
        for k, v in sorted(tenths.items())
    ]


def hands_of(shop: Workshop) -> list[Hand]:
    """Return how cuts turned out, by operator and cutter: as the vectors show it, their noise taken out."""
    usual = Scatter()
    groups: dict[tuple[str, str], list[CutError]] = defaultdict(list)
    for cutter in get_args(Kind):
        for row in shop.book.library.cut_errors(cutter):
            groups[row.operator, cutter].append(row)
    return [
        Hand(
            operator,
            cutter,
            len(rows),
            share_spread(rows, usual.cut_share),
            angle_spread(rows, usual.cut_angle_deg),
        )
        for (operator, cutter), rows in sorted(groups.items())
    ]


def _unit(rows: Sequence[Outcome], cuts: Sequence[Cut]) -> UnitTold:
    passed = next((r.number for r in rows if r.verdict == "pass"), None)
    after = {c.after_run for c in cuts}
    worse = sum(_made_worse(a, b) for a, b in itertools.pairwise(rows) if a.number in after)
    mass = sum(c.mass_mg for c in cuts)
    return UnitTold(rows[0].serial, passed or len(rows), passed is not None, worse, len(cuts), mass)


def _made_worse(before: Outcome, after: Outcome) -> bool:
    """Whether a run is clearly worse than the one before; no where one of them could not be judged."""
    if before.worst_ratio is None or after.worst_ratio is None:
        return False
    return after.worst_ratio > WORSE * before.worst_ratio
