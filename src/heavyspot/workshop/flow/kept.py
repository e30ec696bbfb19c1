"""What a flow test says once it is kept, read back as values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ...balance.limits import Verdict
from ...ledger.records import FlowTest
from ...quantities.said import Said
from ..shop import Workshop, find_piece
from ..stored import stored
from .bench import BenchFile, parse_bench


@dataclass(frozen=True)
class KeptWindow:
    """A window of the model, what was measured in it (kg/s, corrected; `u` expanded), and its verdict."""

    name: str
    low_kg_s: float
    high_kg_s: float
    verdict: Verdict
    position: float | None = None
    corrected: float | None = None
    u: float | None = None


@dataclass(frozen=True)
class KeptFlowReading:
    """A reading and what it came to; flows in kg/s, uncertainties standard.

    Tests from before an efficiency had one have no `efficiency_u`, nor a leak its own.
    """

    way: str
    flow: float
    flow_u: float
    corrected: float
    corrected_u: float
    ratio: float | None = None
    efficiency: float | None = None
    efficiency_u: float | None = None
    position: float | None = None


@dataclass(frozen=True)
class KeptNozzle:
    """The curve of a variable nozzle: a polynomial of position between two ends."""

    coefficients: tuple[float, ...]
    low: float
    high: float
    spread_kg_s: float | None = None
    hysteresis_kg_s: float | None = None
    repeat_kg_s: float | None = None

    def drawn(self, points: int = 41) -> tuple[tuple[float, float], ...]:
        """Return position and flow at evenly spaced positions."""
        step = (self.high - self.low) / (points - 1)
        at = [self.low + step * i for i in range(points)]
        return tuple((x, sum(k * x**n for n, k in enumerate(self.coefficients))) for x in at)


@dataclass(frozen=True)
class KeptStop:
    """Where the stop belongs; `why` says why that cannot be told."""

    way: str = ""
    turns: float = 0.0
    turns_u: float = 0.0
    factor: float = 2.0
    position: float = 0.0
    inside: bool = True
    at: float | None = None
    wanted_kg_s: float = 0.0
    why: str = ""
    why_said: Said | None = None


@dataclass(frozen=True)
class KeptFlow:
    """A flow test; `bench` and `rig_record` are keys as they were."""

    bench: dict[str, Any]
    housings: str
    reference: str
    readings: tuple[KeptFlowReading, ...]
    windows: tuple[KeptWindow, ...]
    curve: KeptNozzle | None = None
    stop: KeptStop | None = None
    leak_kg_s: float | None = None
    leak_u_kg_s: float | None = None
    rig_record: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class FlowTestKept:
    """A flow test of the ledger, with its number on the piece."""

    number: int
    entry: FlowTest
    flow: KeptFlow

    @property
    def bench(self) -> BenchFile:
        """The bench as it was."""
        return parse_bench(dict(self.flow.bench))

    def flow_json(self) -> dict[str, Any]:
        """Return what was kept and its verdict as JSON-ready values."""
        return {**self.entry.content, "verdict": self.entry.verdict}

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values."""
        e = self.entry
        about = {"number": self.number, "at": e.at, "by": e.by, "rig": e.rig, "verdict": e.verdict}
        return {**about, **e.content}


def flow_tests_of(shop: Workshop, serial: str) -> tuple[FlowTestKept, ...]:
    """Return a piece's flow tests, oldest first."""
    return flow_tests_of_piece(shop, find_piece(shop, serial).id)


def flow_tests_of_piece(shop: Workshop, piece_id: str) -> tuple[FlowTestKept, ...]:
    """Return the flow tests of a piece that was looked up already, oldest first."""
    return tuple(
        FlowTestKept(n, test, stored(KeptFlow, test.content, what=f"Flow test {n}"))
        for n, test in enumerate(shop.book.flow.of_piece(piece_id), start=1)
    )
