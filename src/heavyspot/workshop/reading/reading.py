"""Reading a recording: curves, findings, and how it was read."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ...quantities.content import ByContent
from ...quantities.errors import SignalTooPoor
from ...quantities.finding import Finding, blocking_of, worst_of_each
from ...signal.chain import corrected
from ...signal.curve import Curve, Reading, read_curves
from ...signal.findings import reference_findings
from ...signal.levels import Heard
from ...signal.mark.mains import rate_findings
from ...signal.mark.reference import ReferenceSettings
from ...signal.mark.speed_check import speed_findings
from ...signal.sensor.cells import cells_of
from ...signal.sensor.mount import mount_findings
from ...signal.sensor.sensors import sensor_findings
from ...signal.spectrum import MapMaker
from ...signal.steadiness import hum_findings, steadiness_findings
from ...signal.tones import line_findings, lines_of
from ...signal.tracker import Tracker
from ...sources.ahead import ahead
from ...sources.recording import Recording
from ..rig import Measuring

NO_CURVE = {
    "reference.lost",
    "reference.two_poles",
    "reference.weak",
    "reference.polarity",
    "reference.kind",
    "reference.irregular",
    "recording.rate",
}
"""Findings after which no curve is shown: its angles, or its very speed, would be wrong."""


@dataclass(frozen=True, eq=False)
class ReadResult(ByContent):
    """What a recording says.

    Attributes
    ----------
    curves : tuple of Curve
        Vectors in g; the longest pass first. Empty when the reference cannot be trusted.
    findings : tuple of Finding
    channels : tuple of str
        Names of the vibration channels, in the curves' order.
    highest_rpm : float
        0 when no speed could be read.
    lags_deg : tuple of float or None
        Angle the rotor turns from pickup to each sensor; None where the recording does not say.
    pickup : (float, float) or None
        Amplitude of a magnetised nut's fundamental near top speed, in its unit, and its share of
        the pickup's power.
    heard : dict of str -> Heard
        What each channel heard beside unbalance, the first one first; empty when the speed is not known.
    """

    curves: tuple[Curve, ...]
    findings: tuple[Finding, ...]
    channels: tuple[str, ...]
    highest_rpm: float
    lags_deg: tuple[float | None, ...]
    pickup: tuple[float, float] | None = None
    heard: dict[str, Heard] = field(default_factory=dict)

    @property
    def sensor_lag_deg(self) -> float | None:
        """The first sensor's."""
        return self.lags_deg[0] if self.lags_deg else None

    @property
    def curve(self) -> Curve | None:
        """The main curve: the longest pass, or None."""
        return self.curves[0] if self.curves else None

    def blocking(self) -> Finding | None:
        """Return the first finding that forbids a cut, or None."""
        return next(iter(blocking_of(self.findings)), None)


def read_recording(
    recording: Recording, *, limit_g: float = 0.5, measuring: Measuring | None = None
) -> ReadResult:
    """Read a recording from end to end, in blocks.

    Parameters
    ----------
    limit_g : float
        Scale for judging whether a sub-synchronous line matters.
    measuring : Measuring, optional
        What is known of the rig's deviations: corrected in the curves.

    Raises
    ------
    UnreadableFile
        No phase channel, no acceleration channel, no unit, or damaged samples.
    SignalTooPoor
        Shorter than half a second.
    """
    phase = recording.phase_index()
    vibration = recording.vibration_indices()
    scale = np.array([recording.channels[i].g_per_stored for i in vibration])
    tracker = Tracker(
        sample_rate_hz=recording.sample_rate_hz,
        phase_channel=phase,
        vibration_channels=vibration,
        reference=recording.channels[phase].reference or ReferenceSettings(),
    )
    makers = [MapMaker(sample_rate_hz=recording.sample_rate_hz, scale=float(s)) for s in scale]
    samples = 0
    for block in ahead(recording.blocks()):
        tracker.feed(block.data)
        for maker, channel in zip(makers, vibration, strict=True):
            maker.feed(block.data[:, channel])
        samples += block.data.shape[0]
    if samples < 0.5 * recording.sample_rate_hz:
        raise SignalTooPoor(
            f"The recording lasts {samples / recording.sample_rate_hz:.2f} s; that is no spin.",
            remedy="Record from standstill to test speed and down again.",
        )
    track = tracker.finish()
    steps = scale * (2.0 ** (1 - recording.bits) if recording.bits else 0.0)
    reading = read_curves(track, scale=scale, step=steps, spend=True)
    channels = [recording.channels[i] for i in vibration]
    names = [c.name for c in channels]
    spectra = [maker.finish() for maker in makers]
    reference = [*reference_findings(track, reading), *rate_findings(track, reading.blocks)]
    trusted = not any(f.code in NO_CURVE for f in reference)
    findings = [
        *reference,
        *sensor_findings(
            track,
            cells_of(reading.blocks),
            full_scale=[1.0 if c.full_scale != 1.0 or recording.bits else None for c in channels],
            unit_in_g=[float(s) for s in scale],
            names=names,
        ),
        *speed_findings(spectra[0], reading.blocks),
    ]
    heard: dict[str, Heard] = {}
    of_each: dict[str, list[Finding]] = {}
    for i, (name, spectrum) in enumerate(zip(names, spectra, strict=True)):
        of_each[name] = found = []
        if trusted and reading.curves:  # orders mean nothing against a reference that lies
            lines = lines_of(spectrum, reading.blocks)
            heard[name] = lines.heard
            mine = reading.of_channel(i)
            highest = float(np.abs(mine.curves[0].vector[0]).max())
            found += line_findings(lines, limit_g=limit_g, highest_g=highest)
            found += steadiness_findings(mine)
            tones = tuple(t.frequency_hz for t in lines.tones)
            found += mount_findings(mine, spectrum, tones_hz=tones)
        found += hum_findings(spectrum, limit_g=limit_g)
    curves = reading.curves if trusted else ()
    if measuring is not None:
        chains = tuple(measuring.chain_of(i, name) for i, name in enumerate(names))
        curves = tuple(corrected(c, chains, measuring.pickup) for c in curves)
    return ReadResult(
        curves=curves,
        findings=(*findings, *worst_of_each(of_each)),
        channels=tuple(names),
        highest_rpm=_highest(reading) if trusted else 0.0,
        lags_deg=tuple(_sensor_lag(recording, phase, i) for i in vibration),
        pickup=_pickup(reading, recording.channels[phase].full_scale) if trusted else None,
        heard=heard,
    )


def _highest(reading: Reading) -> float:
    speed = reading.blocks.speed_rpm
    return float(np.nanmax(speed)) if np.isfinite(speed).any() else 0.0


def _pickup(reading: Reading, full_scale: float) -> tuple[float, float] | None:
    b = reading.blocks
    fast = b.trusted & (b.speed_rpm > 0.9 * _highest(reading))
    if not fast.any() or not np.isfinite(b.reference_amplitude[fast]).all():
        return None
    amplitude = float(np.median(b.reference_amplitude[fast])) * full_scale
    return amplitude, float(np.median(b.reference_purity[fast]))


def _sensor_lag(recording: Recording, phase: int, sensor: int) -> float | None:
    """Return the turn from pickup to sensor, in rotation, from their clock places."""
    pickup = recording.channels[phase].clock
    place = recording.channels[sensor].clock
    if pickup is None and place is None:
        return None
    apart = 30.0 * (
        (place if place is not None else 12.0) - (pickup if pickup is not None else 12.0)
    )
    return (apart if recording.rotation != "counterclockwise" else -apart) % 360.0
