"""A run: a recording just read, or one of a shop's ledger, with its curves when they are asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..quantities.arrays import Array
from ..quantities.content import content_of
from ..quantities.errors import SignalTooPoor
from ..quantities.finding import Finding
from .frames import Framed, table_html
from .speed_curve import SpeedCurve, curve_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ..sources.recording import Recording


@dataclass(frozen=True, eq=False, repr=False)
class Run(Framed):
    """A run; two are equal when they are the same run of a ledger, or read the same from a recording.

    Attributes
    ----------
    of : str
        Serial of its piece, or name of the file.
    id : str
        Identifier in the ledger; empty for a recording just read.
    number : int
        1 for the first run of the piece; 0 for a recording just read.
    verdict : str
        ``pass``, ``fail`` or ``undecided``, as it stands; empty where nothing was judged: a recording alone has no
        model, and so no limit.
    reason : str
    findings : tuple of Finding
    ratio, worst_speed_rpm, limit_g : float or None
        Highest ratio to the limit, where, and the limit there.
    simulated : bool
        Whether it is no measurement.
    """

    of: str
    sensors: tuple[str, ...]
    findings: tuple[Finding, ...]
    _curves: Callable[[], Sequence[SpeedCurve]] = field(repr=False)
    id: str = ""
    number: int = 0
    model: str = ""
    at: str = ""
    by: str = ""
    rig: str = ""
    verdict: str = ""
    reason: str = ""
    ratio: float | None = None
    worst_speed_rpm: float | None = None
    limit_g: float | None = None
    simulated: bool = False
    notes: tuple[str, ...] = ()

    @cached_property
    def curves(self) -> tuple[SpeedCurve, ...]:
        """Every pass of every sensor, the longest pass first; empty where the phase reference lies."""
        return tuple(self._curves())

    @property
    def curve(self) -> SpeedCurve:
        """The main curve: the longest pass of the first sensor.

        Raises
        ------
        SignalTooPoor
            There is none; says which finding is why.
        """
        if not self.curves:
            why = next((f for f in self.findings if f.severity == "block"), None)
            raise SignalTooPoor(
                f"{self.of} has no curve{f': {why.text}' if why else ''}.",
                remedy=why.do if why else "Look at its findings.",
            )
        return self.curves[0]

    def __iter__(self) -> Iterator[SpeedCurve]:
        return iter(self.curves)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Run):
            return NotImplemented
        return self is other or self._identity == other._identity

    def __hash__(self) -> int:
        return hash(self._identity)

    @property
    def _identity(self) -> object:
        return self.id or (self.sensors, content_of(self.curves), content_of(self.findings))

    def columns(self) -> Mapping[str, Array]:
        """Return all curves, one under the other."""
        names = list(self.curves[0].columns()) if self.curves else []
        parts = [c.columns() for c in self.curves]
        repeats = [len(c) for c in self.curves]
        told = {
            "sensor": np.repeat(np.array([c.sensor for c in self.curves], object), repeats),
            "direction": np.repeat(np.array([c.direction for c in self.curves], object), repeats),
        }
        return told | {n: np.concatenate([p[n] for p in parts]) for n in names}

    def plot(self, ax: Axes | None = None, **line: Any) -> Axes:
        """Draw its passes, with the limit where it was judged; returns the axes; raises as `SpeedCurve.plot`."""
        from .pictures import draw_run

        return draw_run(self, ax, line)

    def __repr__(self) -> str:
        told = [f"run {self.number}" if self.number else "recording", self.verdict]
        told.append(f"{self.ratio:.0%} of the limit" if self.ratio is not None else "")
        told += [f.code for f in self.findings if f.severity == "block"]
        told.append("simulated" if self.simulated else "")
        return f"<{self.of}: {', '.join(t for t in told if t)}>"

    def _repr_html_(self) -> str:
        lines = "".join(f"<li>{escape(f.severity)}: {escape(f.text)}</li>" for f in self.findings)
        head = (
            f"<p>{escape(repr(self)[1:-1])}{f'. {escape(self.reason)}' if self.reason else ''}</p>"
        )
        return head + (f"<ul>{lines}</ul>" if lines else "") + table_html(self.columns())


def read(
    recording: str | Path | Recording,
    *,
    format: str | None = None,
    rate: float | None = None,
    time_unit: str | None = None,
    group: str = "",
) -> Run:
    """Read a recording without keeping anything: its curves and findings, no verdict.

    Parameters
    ----------
    recording : str, Path or Recording
        A file of any known format, or what `simulate` and `open_recording` give.
    format, rate, time_unit, group
        What the file leaves open, as `open_recording` takes it.

    Raises
    ------
    UnreadableFile, SignalTooPoor, BadInput
        As `open_recording` and `read_recording`.

    Examples
    --------
    >>> import heavyspot
    >>> run = heavyspot.read(heavyspot.simulate(run_up_s=2.0, sample_rate_hz=25_600))
    >>> run.curve.direction, run.curve.amplitude.shape == run.curve.speed_rpm.shape, run.simulated
    ('up', True, True)
    """
    from ..sources.readers import open_recording
    from ..sources.recording import Recording
    from ..sources.sidecar import Stated
    from ..sources.simulated import RIG
    from ..workshop.reading.reading import read_recording

    if isinstance(recording, Recording):
        source = recording
    else:
        source = open_recording(recording, format=format, stated=Stated(rate, time_unit, group))
    found = read_recording(source)
    made_up = source.simulated or source.rig == RIG
    curves = tuple(
        curve_of(c, i, name, simulated=made_up)
        for c in found.curves
        for i, name in enumerate(found.channels)
    )
    return Run(
        source.path.name if source.path else source.rig or "recording", found.channels, found.findings,
        lambda: curves, at=source.recorded_at, by=source.operator, rig=source.rig, simulated=made_up,
        notes=source.notes,
    )  # fmt: skip
