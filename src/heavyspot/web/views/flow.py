"""A flow test as its template shows it."""

from __future__ import annotations

from dataclasses import dataclass

from ...workshop.flow.kept import FlowTestKept, KeptFlowReading, KeptNozzle, KeptWindow
from ..formats import expanded, figures, fixed, grouped, in_thousandths
from ..speaking import told

SHOWN = 40
"""Readings on the page; the sheet holds them all."""


@dataclass(frozen=True)
class Window:
    """A window of the model: what was measured there, what is asked, both with their unit."""

    name: str
    measured: str
    asked: str
    verdict: str


@dataclass(frozen=True)
class FlowReading:
    """A reading as the cells of its row; a cell without a value is empty."""

    position: str
    way: str
    flow: str
    corrected: str
    expanded: str
    ratio: str
    efficiency: str


@dataclass(frozen=True)
class FlowTestView:
    """The newest test of a piece.

    Attributes
    ----------
    curve_notes : tuple of str
        Hysteresis and repeatability, those that could be told.
    cut_short : str
        Said when not all readings are shown.
    leak : str
        Empty when none was measured.
    """

    number: int
    at: str
    rig: str
    reference: str
    verdict: str
    windows: tuple[Window, ...]
    curve_notes: tuple[str, ...]
    readings: tuple[FlowReading, ...]
    cut_short: str
    leak: str


def flow_test_view(test: FlowTestKept) -> FlowTestView:
    """Return a test as the page shows it."""
    entry, flow = test.entry, test.flow
    readings = flow.readings
    many = len(readings)
    return FlowTestView(
        test.number,
        entry.at,
        entry.rig,
        flow.reference,
        entry.verdict,
        tuple(_window(w) for w in flow.windows),
        _curve_notes(flow.curve),
        tuple(_reading(r) for r in readings[:SHOWN]),
        told("flow_page.many", shown=str(SHOWN), all=grouped(many)) if many > SHOWN else "",
        _leak(flow.leak_kg_s, flow.leak_u_kg_s),
    )


def _window(w: KeptWindow) -> Window:
    measured = (
        told("flow_page.not_measured")
        if w.corrected is None
        else f"{figures(w.corrected)} ± {figures(w.u, 2)} kg/s"
    )
    asked = told("flow_page.to", low=figures(w.low_kg_s), high=figures(w.high_kg_s))
    return Window(w.name, measured, asked, w.verdict)


def _curve_notes(curve: KeptNozzle | None) -> tuple[str, ...]:
    if curve is None:
        return ()
    out = []
    if curve.hysteresis_kg_s is not None:
        out.append(told("flow_page.hysteresis", flow=figures(curve.hysteresis_kg_s, 2)))
    if curve.repeat_kg_s is not None:
        out.append(told("flow_page.repeat", flow=figures(curve.repeat_kg_s, 2)))
    return tuple(out)


def _leak(leak_kg_s: float | None, u_kg_s: float | None) -> str:
    if leak_kg_s is None:
        return ""
    wide = "" if u_kg_s is None else f" ± {figures(1000 * expanded(u_kg_s), 2)}"
    return told("flow_page.leak_is", leak=f"{in_thousandths(leak_kg_s)}{wide}")


def _efficiency(r: KeptFlowReading) -> str:
    if r.efficiency is None:
        return ""
    wide = "" if r.efficiency_u is None else f" ± {figures(expanded(r.efficiency_u), 2)}"
    return fixed(r.efficiency, 3) + wide


def _reading(r: KeptFlowReading) -> FlowReading:
    placed = r.position is not None
    return FlowReading(
        figures(r.position, 6) if placed else "",
        told(f"direction.{r.way}") if placed else "",
        figures(r.flow, 5),
        figures(r.corrected, 5),
        figures(expanded(r.corrected_u), 2),
        fixed(r.ratio, 3) if r.ratio else "",
        _efficiency(r),
    )
