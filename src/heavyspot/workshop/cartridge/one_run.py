"""A closer look at one run: all its passes, its speed-frequency map, and one moment of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...quantities.arrays import Array
from ...quantities.errors import LedgerFault, NotThere
from ...quantities.said import Said
from ...signal.curve import Curve
from ...signal.spectrum import MapMaker, SpeedFrequencyMap
from ...sources.curve_table import ENDING
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ..rows_text import safe_cell
from ..shop import Workshop
from .past import PastRun, past_runs
from .story import CartridgeStory, cartridge_story

MAP_BINS = 512
MOMENT_SAMPLES = 8192
FLOOR_DB, TOP_DB = -66.0, 6.0
"""The map's range, dB of 1 g."""


@dataclass(frozen=True)
class DrawnMap:
    """A map as bytes to paint.

    Attributes
    ----------
    levels : ndarray, shape (times, frequencies), uint8
        0 at -66 dB of 1 g and below, 255 at +6 dB.
    seconds : float
        Time between rows.
    highest_hz : float
    speed_hz : list of float or None
        Turning frequency at each row.
    """

    levels: Array
    seconds: float
    highest_hz: float
    speed_hz: list[float | None]


def find_run(shop: Workshop, serial: str, number: int) -> PastRun:
    """Return a run with its curves; raises `NotThere` when there is no such run."""
    return run_of(shop, cartridge_story(shop, serial), number)


def run_of(shop: Workshop, story: CartridgeStory, number: int) -> PastRun:
    """Return a run of a piece that was looked up already; raises as `find_run` does."""
    for past in past_runs(shop, story):
        if past.number == number:
            return past
    serial = story.piece.serial
    raise NotThere(
        Said("refusal.has_no_run", {"serial": serial, "number": number}),
        remedy=Said("remedy.look_at_its_runs"),
    )


def passes_view(curves: tuple[Curve, ...]) -> list[dict[str, Any]]:
    """Return every pass: speed, amplitude, angle, 2x, 3x and overall."""
    return [
        {
            "direction": c.direction,
            "speed_rpm": [round(float(v), 1) for v in c.speed_rpm],
            "amplitude_g": _short(np.abs(c.vector[0])),
            "angle_deg": _short(c.angle_deg()),
            "twice_g": _short(c.twice[0]),
            "thrice_g": _short(c.thrice[0]),
            "overall_g": _short(c.overall_rms[0]),
        }
        for c in curves
    ]


def curve_csv(past: PastRun) -> Iterator[str]:
    """Yield a run's curves as lines of CSV, one sensor after the other."""
    yield "sensor,direction,speed [rpm],amplitude [g],angle [deg],noise [g],twice [g],thrice [g],overall rms [g]\n"
    for sensor in past.sensors or ("",):
        named = '"' + str(safe_cell(sensor)).replace('"', '""') + '"'
        for c in past.curves_of(sensor):
            columns = (
                c.speed_rpm, np.abs(c.vector[0]), c.angle_deg(), c.noise[0], c.twice[0],
                c.thrice[0], c.overall_rms[0],
            )  # fmt: skip
            for row in zip(*columns, strict=True):
                yield f"{named},{c.direction}," + ",".join(_csv_number(v) for v in row) + "\n"


def _csv_number(value: float) -> str:
    """Return a number; nothing for one that a table does not tell."""
    return f"{value:.6g}" if np.isfinite(value) else ""


def archived(shop: Workshop, name: str) -> Recording:
    """Return a recording from the archive by its name.

    Raises
    ------
    LedgerFault
        It is missing or was changed, it or what stands beside it, or was removed by the shop's rule.
    NotThere
        The run is a table: there are no samples.
    """
    if name.endswith(ENDING):
        raise NotThere(
            Said("refusal.this_run_is_a_table"),
            remedy=Said("remedy.its_curve_and_verdict_are"),
        )
    gone = shop.book.retention.gone(name)
    if gone is not None:
        raise LedgerFault(
            Said("refusal.the_raw_recording_was_removed", {"at": gone.at[:10], "why": gone.why}),
            remedy=Said("remedy.its_curves_and_verdict_are"),
        )
    written = shop.book.events.digests(name)
    if written is None:
        raise LedgerFault(
            Said("refusal.no_run_names", {"name": name}),
            remedy=Said("remedy.let_the_ledger_be_verified"),
        )
    return open_recording(shop.book.archive.as_written(name, *written))


def draw_map(recording: Recording, past: PastRun) -> DrawnMap:
    """Return the speed-frequency map of the sensor that decided."""
    channel = recording.vibration_indices()[past.place()]
    maker = MapMaker(
        sample_rate_hz=recording.sample_rate_hz, scale=recording.channels[channel].g_per_stored
    )
    for block in recording.blocks():
        maker.feed(block.data[:, channel])
    spectra = maker.finish()
    per_bin = max(1, -(-spectra.frequency_hz.size // MAP_BINS))
    whole = spectra.frequency_hz.size // per_bin * per_bin
    coarse = (
        spectra.amplitude[:, :whole].reshape(spectra.amplitude.shape[0], -1, per_bin).max(axis=2)
    )
    with np.errstate(divide="ignore"):
        db = 20 * np.log10(np.maximum(coarse, 1e-9))
    levels = np.clip((db - FLOOR_DB) / (TOP_DB - FLOOR_DB) * 255, 0, 255).astype(np.uint8)
    seconds = float(spectra.time_s[0] * 2) if spectra.time_s.size else 1.0
    return DrawnMap(
        levels,
        seconds,
        float(spectra.frequency_hz[whole - 1] + spectra.frequency_hz[1]),
        _turning_hz(spectra, past.curves),
    )


def moment(recording: Recording, past: PastRun, speed_rpm: float) -> dict[str, Any]:
    """Return waveform and spectrum of the sensor that decided when a speed was reached.

    Raises
    ------
    LedgerFault
        The run has no curve.
    """
    if not past.curves:
        raise LedgerFault(
            Said("refusal.this_run_has_no_curve"), remedy=Said("remedy.choose_a_run_with_a")
        )
    main = past.curves[0]
    k = int(np.argmin(np.abs(main.speed_rpm - speed_rpm)))
    channel = recording.vibration_indices()[past.place()]
    scale = recording.channels[channel].g_per_stored
    centre = int(main.time_s[k] * recording.sample_rate_hz)
    start = max(0, centre - MOMENT_SAMPLES // 2)
    x = _stretch(recording, channel, start, MOMENT_SAMPLES) * scale
    x = x - x.mean()
    window = np.hanning(x.size)
    spectrum = np.abs(np.fft.rfft(x * window)) * 2 / window.sum()
    frequency = np.fft.rfftfreq(x.size, 1 / recording.sample_rate_hz)
    turning = float(main.speed_rpm[k]) / 60
    shown = frequency <= min(frequency[-1], 6.5 * turning)
    n = min(x.size, int(6 * recording.sample_rate_hz / max(turning, 1.0)))
    return {
        "speed_rpm": float(main.speed_rpm[k]),
        "turning_hz": turning,
        "time_ms": _short(1e3 * np.arange(n) / recording.sample_rate_hz),
        "acceleration_g": _short(x[:n]),
        "frequency_hz": _short(frequency[shown]),
        "spectrum_g": _short(spectrum[shown]),
    }


def _stretch(recording: Recording, channel: int, start: int, size: int) -> Array:
    parts = []
    for block in recording.blocks():
        first = max(0, start - block.first_sample)
        last = min(block.data.shape[0], start + size - block.first_sample)
        if last > first:
            parts.append(block.data[first:last, channel].astype(np.float64))
        if block.first_sample + block.data.shape[0] >= start + size:
            break
    return np.concatenate(parts) if parts else np.zeros(size)


def _turning_hz(spectra: SpeedFrequencyMap, curves: tuple[Curve, ...]) -> list[float | None]:
    points = sorted(
        (float(t), float(s)) for c in curves for t, s in zip(c.time_s, c.speed_rpm, strict=True)
    )
    if not points:
        return [None] * spectra.time_s.size
    t, s = np.array(points).T
    hz = np.interp(spectra.time_s, t, s / 60, left=np.nan, right=np.nan)
    return [round(float(v), 2) if np.isfinite(v) else None for v in hz]


def _short(values: Array) -> list[float | None]:
    """Return numbers with five digits; None for one that a table does not tell."""
    return [float(f"{v:.5g}") if np.isfinite(v) else None for v in values]
