"""What the statistics answer with: one frozen value a row."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Group:
    """Pieces that were spun and belong together.

    Attributes
    ----------
    at_first, passed, claims : int
        How many passed at the first spin, passed at last, and came back as a claim.
    runs, cuts, mass_mg : float or None
        Means.
    tables : int
        How many of all their runs came as a table of speeds, without samples.
    minutes, first_ratio, last_ratio : float or None
        Medians; ratios to the limit.
    """

    name: str | None
    pieces: int
    at_first: int
    runs: float
    tables: int
    cuts: float
    mass_mg: float | None
    minutes: float | None
    first_ratio: float | None
    last_ratio: float | None
    passed: int
    claims: int


@dataclass(frozen=True)
class GroupShown(Group):
    """A group with the share that passed at the first spin and its 95 % interval; few pieces tell little."""

    first: float
    first_low: float
    first_high: float
    few: bool


@dataclass(frozen=True)
class PieceSpun:
    """A piece behind a number."""

    serial: str
    model: str
    customer: str
    invoice: str
    day: date
    operator: str | None
    rig: str | None
    supplier: str
    lot: str
    runs: int
    cuts: int
    mass_mg: float | None
    first_ratio: float | None
    last_ratio: float | None
    verdict: str | None
    claim_days: int | None


@dataclass(frozen=True)
class AdviceGained:
    """What followed advice that was kept, or was not.

    Attributes
    ----------
    before, after : float
        Median ratio to the limit.
    passed, worse : float
        Shares whose next spin passed, and was worse by more than a tenth.
    """

    kept: bool
    number: int
    before: float
    after: float
    passed: float
    worse: float


@dataclass(frozen=True)
class ShippedElsewhere:
    """What limits of one, two and three times the house's would have let go of a model, as shares.

    The true capability lies between `cpk_low` and `cpk_high` 95 times in 100.
    """

    model: str
    pieces: int
    one: float
    two: float
    three: float
    mean: float
    sd: float | None
    over: float
    cpk: float | None = None
    cpk_low: float | None = None
    cpk_high: float | None = None


@dataclass(frozen=True)
class Supplied:
    """First spins of a supplier's pieces: below what share of the limit a tenth, half, nine tenths of them lie."""

    supplier: str
    pieces: int
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class FirstSpin:
    """A piece's first spin, on its day."""

    day: date
    first_ratio: float


@dataclass(frozen=True)
class Stayed:
    """How many pieces have stayed so many days without a claim, or until one."""

    days: float
    claimed: bool
    n: int
