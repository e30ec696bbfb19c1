"""What the ledger has gained, as pictures: runs of each model's units, chances that were kept, hands."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

from ....workshop.insight.gains import Gains, Kept, ModelGains
from ....workshop.insight.questions import CHANCE, wilson
from ...drawings.plot import Axis, Dot, Line, Plot, plot_svg
from ...formats import counted, fixed
from ...speaking import told
from .overview import Panel, behind, hands_panel

NEWEST = 60
"""Units of a model that are drawn one by one."""

MOST_MODELS = 6
MEAN_OF = 10
FEW_ADVICES = 10


def gains_panels(gains: Gains) -> list[Panel]:
    """Return the pictures of the page: each model's runs on one scale, chances, hands."""
    models = sorted(gains.models, key=lambda m: -len(m.units))[:MOST_MODELS]
    most = max((u.runs for m in models for u in m.units[-NEWEST:]), default=1)
    made = [*(model_panel(m, most) for m in models), kept_panel(gains.kept), hands_panel(gains)]
    return [panel for panel in made if panel is not None]


def model_panel(model: ModelGains, most_runs: int) -> Panel:
    """Return the runs of a model's units, one mark a unit, and the mean of each and the nine before it."""
    units = model.units[-NEWEST:]
    before = len(model.units) - len(units)
    dots = [
        Dot(
            before + i + 1,
            u.runs,
            place=f"/story/{quote(u.serial)}",
            words=told(
                "panel.unit_mark" if u.passed else "panel.unit_open",
                serial=u.serial,
                runs=counted(u.runs, "run"),
            ),
            few=not u.passed,
        )
        for i, u in enumerate(units)
    ]
    runs = [u.runs for u in units]
    mean = [
        (before + i + 1.0, sum(runs[i + 1 - MEAN_OF : i + 1]) / MEAN_OF)
        for i in range(MEAN_OF - 1, len(runs))
    ]
    first, last = len(model.units) - len(units) + 1, max(len(model.units), 2)
    high = max(most_runs + 1, 3)
    plot = Plot(
        told("panel.units_plot", name=model.model),
        Axis(first - 0.5, last + 0.5, told("panel.as_they_came"), _counts(first, last)),
        Axis(0, high, told("panel.runs_only"), _counts(0, high, most=4)),
        [Line(mean, "before", told("panel.mean_ten"))] if mean else [],
        dots,
    )
    title = (
        told("panel.model_now", name=model.model, first=model.first, last=model.last or 0.0)
        if model.first is not None and len(model.units) > MEAN_OF
        else told("panel.model_median", name=model.model, runs=fixed(model.median_runs, 0))
    )
    sub = told(
        "panel.model_sub",
        worse=str(model.worse),
        cuts=counted(model.cuts, "cut"),
        mass=model.mass_mg,
    )
    pieces = counted(len(model.units), "unit")
    return Panel(title, sub, plot_svg(plot), pieces, behind("model", model.model), "")


def kept_panel(kept: Sequence[Kept]) -> Panel | None:
    """Return how often cuts passed beside the chance that was said of them."""
    if not kept:
        return None
    dots = []
    for k in kept:
        _, low, high = wilson(round(k.happened * k.number), k.number)
        dots.append(
            Dot(
                100 * k.said,
                100 * k.happened,
                100 * low,
                100 * high,
                behind(CHANCE, f"{k.low:g}"),
                told(
                    "panel.kept_mark",
                    said=100 * k.said,
                    came=100 * k.happened,
                    advices=counted(k.number, "advice"),
                ),
                k.number < FEW_ADVICES,
                label=str(k.number),
            )
        )
    percent = [(v, f"{v:.0f} %") for v in (0.0, 25.0, 50.0, 75.0, 100.0)]
    plot = Plot(
        told("panel.kept_plot"),
        Axis(0, 104, told("panel.kept_axis"), percent),
        Axis(0, 100, told("panel.passed"), percent),
        [Line([(0, 0), (100, 100)], "expect", told("panel.as_said"))],
        dots,
    )
    many = sum(k.number for k in kept)
    said = sum(k.number * k.said for k in kept) / many
    came = sum(k.number * k.happened for k in kept) / many
    return Panel(
        told("panel.kept_title", said=100 * said, came=100 * came),
        told("panel.kept_sub"),
        plot_svg(plot),
        counted(many, "advice"),
        "#kept",
        "",
    )


def _counts(low: float, high: float, most: int = 5) -> list[tuple[float, str]]:
    """Return whole numbers as ticks: there is no half a unit."""
    whole = Axis(low, high).shown(most)
    step = max(1, round(whole[1][0] - whole[0][0]) if len(whole) > 1 else 1)
    first = -(-int(low) // step) * step
    return [(float(v), str(v)) for v in range(first, int(high) + 1, step)]
