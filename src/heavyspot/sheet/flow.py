"""The frozen report value behind a flow sheet."""

from __future__ import annotations

from dataclasses import dataclass

from ..quantities.said import Said
from .head import Head


@dataclass(frozen=True)
class FlowWindow:
    """A window as it is listed; flow and uncertainty are none where nothing was measured."""

    name: str
    position: float | None
    low_kg_s: float
    high_kg_s: float
    flow_kg_s: float | None
    u_kg_s: float | None
    verdict: str


@dataclass(frozen=True)
class FlowReading:
    """A reading as it is listed; uncertainties expanded, none where none was told."""

    position: float | None
    way: str
    corrected_kg_s: float
    u_kg_s: float
    ratio: float | None
    efficiency: float | None
    efficiency_u: float | None = None


@dataclass(frozen=True, kw_only=True)
class FlowReport(Head):
    """One flow sheet's content; the same value always gives the same PDF bytes."""

    element: tuple[Said, ...]
    reference: Said
    housings: str
    measured_at: str
    windows: tuple[FlowWindow, ...]
    readings: tuple[FlowReading, ...]
    curve: tuple[tuple[float, float], ...]
    hysteresis_kg_s: float | None
    repeat_kg_s: float | None
    stop: tuple[Said, ...]
    leak_kg_s: float | None
    leak_u_kg_s: float | None = None
