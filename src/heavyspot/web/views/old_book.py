"""The old book, looked at, as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ...workshop.records import Content
from ..drawings.plot import Axis, Dot, Line, Plot, plot_svg, ratio_axis

SHOWN = 12
"""Of a long list of names."""

COLUMNS = {
    "serial": "Serial *",
    "speed_rpm": "Speed",
    "first_g": "First peak",
    "last_g": "Last peak",
}


@dataclass(frozen=True)
class Merged:
    """Customers that are taken as one: the first of them, and how many more there are."""

    shown: tuple[tuple[str, str], ...]
    more: int


@dataclass(frozen=True)
class Counts:
    """Rows that can be taken as they are, and questions that are open."""

    taken: int
    questions: int


def counts_of(
    rows: int, refused: int, questions: Sequence[object], alike: Sequence[object]
) -> Counts:
    """Return what stands above the preview."""
    return Counts(rows - refused, len(questions) + len(alike))


def column_words(fields: Sequence[str]) -> dict[str, str]:
    """Return what each field is called beside its column."""
    return {f: COLUMNS.get(f, f.capitalize()) for f in fields}


def merged(customers: Mapping[str, str]) -> Merged:
    """Return the customers that are taken as one."""
    pairs = tuple(customers.items())
    return Merged(pairs[:SHOWN], max(0, len(pairs) - SHOWN))


def few_names(names: Sequence[str]) -> str:
    """Return the first names of a list, and how many more there are."""
    more = len(names) - SHOWN
    return ", ".join(names[:SHOWN]) + (f" and {more:,} more" if more > 0 else "")


def peaks_picture(rows: Sequence[Content]) -> Markup:
    """Return the first and the last peak of the first rows, as they would be kept: a wrong unit stands out."""
    shown = [r for r in rows if r.get("first_g") or r.get("last_g")][:SHOWN]
    values = [float(r[k]) for r in shown for k in ("first_g", "last_g") if r.get(k)]
    if not values:
        return Markup("")
    dots, lines = [], []
    for i, r in enumerate(shown):
        ends = [(float(r[k]), i) for k in ("first_g", "last_g") if r.get(k)]
        lines.append(Line(ends, "before"))
        for k, few in (("first_g", True), ("last_g", False)):
            if r.get(k):
                dots.append(
                    Dot(float(r[k]), i, words=f"{r['serial']}: {float(r[k]):.3g} g", few=few)
                )
    plot = Plot(
        "First and last peak of the first rows, as they would be kept",
        ratio_axis(values, "g; hollow: first, filled: last"),
        Axis(0, 1),
        lines,
        dots,
        rows=[str(r["serial"]) for r in shown],
        wide=560,
        high=70 + 26 * len(shown),
    )
    return plot_svg(plot)
