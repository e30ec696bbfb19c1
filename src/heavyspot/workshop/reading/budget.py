"""The uncertainty budget of a run's highest value, as a table (GUM, JCGM 100:2008)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ...balance.budget import factor
from ...balance.uncertainty import COVERAGE_K
from ...quantities.said import Said

if TYPE_CHECKING:
    from .kept import KeptResult


@dataclass(frozen=True)
class BudgetLine:
    """One source of uncertainty.

    Attributes
    ----------
    source : Said
    kind : "A" or "B"
        By statistics of readings, or by other knowledge (GUM 3.3.4).
    value : float
        Standard uncertainty of the source itself: a share where `relative`, else g.
    sensitivity : float
        What turns the value into g: the amplitude for a share, 1 for what is in g.
    standard_g : float
        Their product.
    degrees : float or None
        Of freedom; None where it is taken as known.
    """

    source: Said
    kind: Literal["A", "B"]
    value: float
    relative: bool
    sensitivity: float
    standard_g: float
    degrees: float | None


@dataclass(frozen=True)
class BudgetTable:
    """A budget as it is printed.

    Attributes
    ----------
    standard_g : float
        Combined: the root of the sum of squares (GUM 5.1.2; the sources are independent).
    degrees : float or None
        Effective, by Welch-Satterthwaite (GUM G.4.1); None where every part is taken as known.
    k : float
        Factor for 95 % with so many degrees of freedom.
    """

    lines: tuple[BudgetLine, ...]
    amplitude_g: float
    standard_g: float
    degrees: float | None
    k: float

    @property
    def expanded_g(self) -> float:
        """The uncertainty that is stated, g."""
        return self.k * self.standard_g


def budget_table(result: KeptResult) -> BudgetTable | None:
    """Return the budget of a run's highest value; None where nothing was judged, or before it was kept."""
    if not result.budget or result.worst is None:
        return None
    amplitude = result.worst.amplitude_g
    lines = tuple(
        BudgetLine(
            Said(f"budget.{p.source}"),
            p.kind,
            p.standard_g if p.share is None else p.share,
            p.share is not None,
            1.0 if p.share is None else amplitude,
            p.standard_g,
            p.degrees,
        )
        for p in result.budget
    )
    total = math.hypot(*(p.standard_g for p in lines))
    known = sum(p.standard_g**4 / p.degrees for p in lines if p.degrees)
    degrees = total**4 / known if known else None
    k = COVERAGE_K if degrees is None else float(factor(COVERAGE_K, degrees))
    return BudgetTable(lines, amplitude, total, degrees, k)
