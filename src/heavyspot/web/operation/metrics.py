"""What a monitor is told: requests by route and status, how long they take, how the shop stands."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from ..._version import __version__
from ...quantities.errors import HeavyspotError
from ...workshop.keep.errands import Errands
from ...workshop.shop import Workshop

BUCKETS = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0)
"""Seconds."""


class Connections(Protocol):
    """Whatever counts open connections."""

    def __len__(self) -> int: ...


class Metrics:
    """The figures of one server."""

    def __init__(self, shop: Workshop, errands: Errands) -> None:
        self.registry = CollectorRegistry()
        self.doors: Connections | None = None
        labels = ("method", "route", "status")
        self._requests = Counter(
            "heavyspot_requests", "Requests answered.", labels, registry=self.registry
        )
        self._seconds = Histogram(
            "heavyspot_request_seconds", "Time to an answer.", ("method", "route"),
            buckets=BUCKETS, registry=self.registry,
        )  # fmt: skip
        about = Gauge("heavyspot_info", "The program.", ("version",), registry=self.registry)
        about.labels(__version__).set(1)
        self.registry.register(_Standing(self, shop, errands))

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count an answer."""
        self._requests.labels(method, route, str(status)).inc()
        self._seconds.labels(method, route).observe(seconds)

    def text(self) -> bytes:
        """Return all of them, in the text format a monitor reads."""
        return generate_latest(self.registry)


class _Standing(Collector):
    """How the shop stands, asked when a monitor asks."""

    def __init__(self, metrics: Metrics, shop: Workshop, errands: Errands) -> None:
        self._metrics, self._shop, self._errands = metrics, shop, errands

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Yield each figure that can be told now."""
        try:
            number = self._shop.book.head()[0]
            yield _gauge("heavyspot_ledger_up", "Whether the ledger can be read.", 1)
            yield _gauge("heavyspot_ledger_entries", "Entries of the ledger.", number)
            behind_s = self._shop.book.behind_now_s()
            yield _gauge(
                "heavyspot_clock_behind_seconds", "Clock behind the newest entry.", behind_s
            )
        except HeavyspotError:
            yield _gauge("heavyspot_ledger_up", "Whether the ledger can be read.", 0)
        free = _free(self._shop.folder)
        if free is not None:
            yield _gauge("heavyspot_disk_free_bytes", "Free on the data folder's disk.", free)
        waits = 1 if self._errands.fault else 0
        yield _gauge("heavyspot_line_down", "Whether another building or location is away.", waits)
        if self._metrics.doors is not None:
            there = len(self._metrics.doors)
            yield _gauge("heavyspot_connections", "Open connections.", there)


def _free(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None


def _gauge(name: str, help_: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, help_, value=value)
