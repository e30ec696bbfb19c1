"""Following a spin's samples as they come: figures ten to twenty times a second, and the curve that grows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...signal.curve import read_curves
from ...signal.mark.reference import ReferenceSettings
from ...signal.phase import PhasedBlocks, phased_blocks
from ...signal.tracker import Track, Tracker
from ...sources.live import Description, LiveBlock
from ...sources.recording import SUPPORT_QUANTITIES, Channel

SNAPSHOT_S = 0.06
CURVE_S = 0.25
LOOK_BACK_S = 1.5
"""How far back of what was read before the curve is read anew; older points stay as they are."""

SETTLED_S = 0.3
"""Points nearer than this to the beginning of what is read anew are left as they were."""


@dataclass(frozen=True)
class Figures:
    """What a spin shows at a moment, of the loudest sensor; NaN while there is no trusted speed.

    Attributes
    ----------
    time_s : float
        Since the capture began.
    sampled_at_s : float
        Monotonic time at which the newest sample in it was complete.
    speed_rpm, amplitude_g, angle_deg, overall_g : float
        Now; NaN while there is no trusted speed.
    pickup : float
        Amplitude of the pickup's fundamental, share of its full scale.
    trusted : float
        Of the newest turns, those with a trusted mark, 0 to 1.
    """

    time_s: float
    sampled_at_s: float
    speed_rpm: float = float("nan")
    amplitude_g: float = float("nan")
    angle_deg: float = float("nan")
    overall_g: float = float("nan")
    pickup: float = 0.0
    trusted: float = 0.0


class GrowingCurve:
    """The curve of a spin that still runs, the loudest sensor's at each speed.

    Only its last seconds are read anew each time.
    """

    def __init__(self, scale: NDArray[np.float64]) -> None:
        self._scale = scale
        self._points: dict[str, dict[float, float]] = {"up": {}, "down": {}}
        self._first: dict[float, complex] = {}
        self._read_until = 0

    def read(self, track: Track) -> None:
        """Read the end of a growing track."""
        start = max(0, self._read_until - round(LOOK_BACK_S / track.block_s))
        self._read_until = track.turns.size
        from_s = SETTLED_S if start else 0.0
        for curve in read_curves(track.since(start), scale=self._scale).curves:
            kept = self._points[curve.direction]
            amplitude = np.abs(curve.vector).max(axis=0)
            for speed, g, at in zip(curve.speed_rpm, amplitude, curve.time_s, strict=True):
                if at >= from_s:
                    kept[float(speed)] = float(g)
            if curve.direction == "up":
                new = zip(curve.speed_rpm, curve.vector[0], curve.time_s, strict=True)
                self._first |= {float(s): complex(v) for s, v, at in new if at >= from_s}

    def vectors(self) -> tuple[NDArray[np.float64], NDArray[np.complex128]]:
        """Return speeds, ascending, and the first sensor's vector there, of the way up; (n,) each."""
        at = sorted(self._first.items())
        return np.array([s for s, _ in at]), np.array([v for _, v in at], complex)

    def points(self) -> NDArray[np.float64]:
        """Return speed and amplitude, (2, n), of the direction that has more points."""
        kept = max(self._points.values(), key=len)
        if not kept:
            return np.empty((2, 0))
        return np.array(sorted(kept.items())).T


@dataclass(frozen=True)
class Shown:
    """Figures, the curve so far, and whether that was read anew."""

    figures: Figures
    growing: GrowingCurve
    drawn: bool


def follow(description: Description, blocks: Iterable[LiveBlock]) -> Iterator[Shown]:
    """Yield what a spin shows while its samples come, and once more at its end."""
    channels = description.channels
    phase = next(i for i, c in enumerate(channels) if c.quantity == "phase")
    shown_channels = _followed(channels)
    scale = np.array([_scale(channels[i]) for i in shown_channels])
    tracker = Tracker(
        sample_rate_hz=description.sample_rate_hz,
        phase_channel=phase,
        vibration_channels=shown_channels,
        reference=channels[phase].reference or ReferenceSettings(),
        frame_windows=1,
    )
    growing = GrowingCurve(scale)
    shown = drawn = 0.0
    newest: LiveBlock | None = None
    for block in blocks:
        newest = block
        tracker.feed(block.data)
        if block.host_time_s - shown < SNAPSHOT_S:
            continue
        shown = block.host_time_s
        track = tracker.so_far()
        draws = shown - drawn >= CURVE_S
        if draws:
            drawn = shown
            growing.read(track)
        now = phased_blocks(track.since(track.turns.size - 80), scale=scale)
        yield Shown(_figures(now, block, description.sample_rate_hz), growing, draws)
    if newest is not None:  # the end of the spin is shown too
        track = tracker.so_far()
        growing.read(track)
        now = phased_blocks(track, scale=scale)
        yield Shown(_figures(now, newest, description.sample_rate_hz), growing, drawn=False)


def _figures(b: PhasedBlocks, block: LiveBlock, rate_hz: float) -> Figures:
    now = slice(max(0, b.speed_rpm.size - 8), None)
    trusted = b.trusted[now]
    values: dict[str, Any] = {}
    if trusted.any():
        each = b.vectors[:, now, 1][:, trusted].mean(axis=1)
        i = int(np.abs(each).argmax())  # the loudest sensor: a pass needs all of them
        vector = complex(each[i])
        power = float(b.power[i, now][trusted].mean() - b.mean[i, now][trusted].mean() ** 2)
        values = {
            "speed_rpm": float(b.speed_rpm[now][trusted][-1]),
            "amplitude_g": abs(vector),
            "angle_deg": float(np.rad2deg(np.angle(vector)) % 360),
            "overall_g": float(np.sqrt(max(power, 0.0))),
            "pickup": float(np.nan_to_num(b.reference_amplitude[now][trusted][-1])),
        }
    time_s = (block.first_sample + block.data.shape[0]) / rate_hz
    share = float(trusted.mean()) if trusted.size else 0.0
    return Figures(time_s, block.host_time_s, trusted=share, **values)


def _followed(channels: Sequence[Channel]) -> tuple[int, ...]:
    """Return the channels that are shown while it turns: every accelerometer, or the first support."""
    first = next(i for i, c in enumerate(channels) if c.quantity in SUPPORT_QUANTITIES)
    if channels[first].quantity != "acceleration":
        return (first,)
    return tuple(i for i, c in enumerate(channels) if c.quantity == "acceleration")


def _scale(channel: Channel) -> float:
    """Return what a stored value is, in g, or in the unit of a support."""
    if channel.quantity == "acceleration":
        return channel.g_per_stored
    return channel.per_stored[0]
