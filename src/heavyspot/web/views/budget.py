"""A run's uncertainty budget as its table shows it."""

from __future__ import annotations

from dataclasses import dataclass

from ...quantities.said import Said
from ...workshop.reading import BudgetTable


@dataclass(frozen=True)
class BudgetRow:
    """A line of the table; `source` is what is said of it, the rest as it is printed."""

    source: Said
    cells: tuple[str, ...]


@dataclass(frozen=True)
class BudgetView:
    """The table: its headings' codes, its lines, and in short what it comes to."""

    heads: tuple[str, ...]
    rows: tuple[BudgetRow, ...]
    short: str


HEADS = ("source", "kind", "value", "sensitivity", "adds", "degrees")


def budget_view(table: BudgetTable | None) -> BudgetView | None:
    """Return a budget as the page shows it; None where there is none."""
    if table is None:
        return None
    lines = tuple(
        BudgetRow(
            p.source,
            (
                p.kind,
                f"{100 * p.value:.1f} %" if p.relative else _g(p.value),
                f"{p.sensitivity:.3f} g" if p.relative else "1",
                _g(p.standard_g),
                _degrees(p.degrees),
            ),
        )
        for p in table.lines
    )
    whole = (
        BudgetRow(
            Said("budget.combined"), ("", "", "", _g(table.standard_g), _degrees(table.degrees))
        ),
        BudgetRow(
            Said("budget.expanded"), ("", f"k = {table.k:.2f}", "", _g(table.expanded_g), "")
        ),
    )
    short = f"{table.amplitude_g:.3f} ± {table.expanded_g:.3f} g"
    return BudgetView(tuple(f"budget.col_{h}" for h in HEADS), (*lines, *whole), short)


def _g(value: float) -> str:
    return f"{value:.4f} g"


def _degrees(value: float | None) -> str:
    return "∞" if value is None else f"{value:.0f}"
