"""The sample rate, checked by the mains on the pickup's wire: a clock that every hall has.

A file whose rate is written down wrong shows the mains at a frequency that no grid has. It is looked for while the
rotor stands, and in what is left of a magnetic pickup's block means when the rotor's own wave is taken out of them.
Thresholds are ours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ..phase import PhasedBlocks
from ..tracker import Track

FloatArray = NDArray[np.float64]

GRID_HZ, GRID_OFF = (50.0, 60.0), 0.015
"""Mains; grids are held to a tenth of a per cent, so a line farther off is a wrong sample rate."""

USUAL_RATES_HZ = (
    8_000, 10_000, 12_800, 16_000, 20_000, 22_050, 25_000, 25_600, 32_000, 32_768, 40_000, 44_100, 48_000, 50_000,
    51_200, 64_000, 65_536, 80_000, 88_200, 96_000, 100_000, 102_400, 128_000, 131_072, 192_000, 200_000, 204_800,
)  # fmt: skip
"""What converters are built for (common practice, no source)."""

CLEAR = 10.0
"""A line over the median of its spectrum from which it is one, while the rotor stands."""

CLEAR_TURNING = 20.0
"""The same while it turns: clean pickups on three rigs give 80 to 180 where there is mains, 4 to 5 where none."""

BESIDE = 0.2
"""A grid's own line over an odd one from which it is no skirt of it."""

_SHORTEST_S = 0.4
_LOWEST_RPM = 9_000.0  # below, the rotor's own line is among those that are looked at
_WINDOW_BLOCKS = 32
_LONGEST_BLOCKS = 2**15  # 80 s are as good as an hour


@dataclass(frozen=True)
class Line:
    """A line that stays: how clearly it stands out, and where."""

    clear: float = 0.0
    hz: float = 0.0


def rate_findings(track: Track, blocks: PhasedBlocks) -> list[Finding]:
    """Return a stop when the mains stands at a frequency that no grid has: the sample rate is wrong.

    Parameters
    ----------
    track : Track
        Its pickup only: a steady tone of the machine would fold onto the means of a vibration channel.
    blocks : PhasedBlocks
        Where the rotor was followed, and how fast it was.
    """
    line = _while_it_stands(track, blocks) or _while_it_turns(track, blocks)
    if line is None:
        return []
    factor = _factor(line.hz, track.sample_rate_hz)
    return [
        finding_of(
            "recording.rate",
            "block",
            f"The mains hum stands at {line.hz:.1f} Hz in this recording, which no grid has: its sample rate is "
            f"likely {track.sample_rate_hz / factor:,.0f} Hz, not {track.sample_rate_hz:,.0f}.",
            {"line_hz": line.hz, "factor": factor},
        )
    ]


def _factor(line_hz: float, rate_hz: float) -> float:
    """Return the stated rate over the true one: of the two grids, the one that makes it a usual rate."""
    usual = np.log(USUAL_RATES_HZ)

    def unusual(factor: float) -> tuple[bool, float]:
        away = float(np.abs(np.log(rate_hz / factor) - usual).min())
        return away > 0.005, abs(float(np.log(factor)))

    return min((line_hz / grid for grid in GRID_HZ), key=unusual)


def _while_it_stands(track: Track, blocks: PhasedBlocks) -> Line | None:
    """Return the odd line before the rotor is first followed or after it is last; nothing where there is none."""
    followed = np.flatnonzero(blocks.trusted)
    if followed.size == 0:
        return None
    margin = round(0.2 / track.block_s)
    parts = (slice(0, max(followed[0] - margin, 0)), slice(followed[-1] + margin, None))
    means = (track.reference_mean[part][-_LONGEST_BLOCKS:].astype(float) for part in parts)
    best = max((_staying(_quieted(m), track.block_s) for m in means), key=lambda found: found.clear)
    return best if best.clear >= CLEAR and not _of_a_grid(best.hz) else None


def _while_it_turns(track: Track, blocks: PhasedBlocks) -> Line | None:
    """Return the odd line in what a magnetic pickup gives beside the rotor's own wave."""
    if not track.magnetic:
        return None
    rest = _beside_the_rotor(track, blocks)
    line = _staying(rest, track.block_s)
    if line.clear < CLEAR_TURNING or _of_a_grid(line.hz):
        return None
    # where a grid's own line stands as well, the odd one is of something else
    grids = (
        _strongest(rest, track.block_s, g * (1 - GRID_OFF), g * (1 + GRID_OFF)) for g in GRID_HZ
    )
    least = max(CLEAR, BESIDE * line.clear)
    return None if any(grid.clear >= least for grid in grids) else line


def _of_a_grid(hz: float) -> bool:
    return any(abs(hz / grid - 1) < GRID_OFF for grid in (*GRID_HZ, 100.0, 120.0))


def _beside_the_rotor(track: Track, blocks: PhasedBlocks) -> FloatArray:
    """Return the means without what follows the turning angle, V; 0 where the rotor is slow or not followed."""
    size = min(track.reference_mean.size, blocks.speed_rpm.size)
    size -= size % _WINDOW_BLOCKS
    turning = blocks.trusted[:size] & (blocks.speed_rpm[:size] > _LOWEST_RPM)
    whole = np.flatnonzero(turning.reshape(-1, _WINDOW_BLOCKS).all(axis=1))
    if whole.size == 0:
        return np.zeros(0)
    first, last = int(whole[0]), int(whole[-1]) + 1
    first = max(first, last - _LONGEST_BLOCKS // _WINDOW_BLOCKS)
    part = slice(first * _WINDOW_BLOCKS, last * _WINDOW_BLOCKS)
    means = track.reference_mean[part].astype(float).reshape(-1, _WINDOW_BLOCKS)
    turns_a_block = blocks.speed_rpm[part] / 60 * track.block_s
    # the mean of a turning wave over a block
    wave = np.exp(2j * np.pi * track.turns[part]) * np.sinc(turns_a_block)
    wave = wave.reshape(means.shape)
    shapes = np.stack([np.ones(means.shape), wave.real, wave.imag], axis=-1)
    shapes[~np.isfinite(shapes)] = 0.0
    square = np.einsum("wbi,wbj->wij", shapes, shapes)
    square += 1e-9 * np.trace(square, axis1=1, axis2=2)[:, None, None] * np.eye(3)
    fit = np.linalg.solve(square, np.einsum("wbi,wb->wi", shapes, means)[..., None])[..., 0]
    rest = means - np.einsum("wbi,wi->wb", shapes, fit)
    rest[np.setdiff1d(np.arange(rest.shape[0]), whole - first)] = 0.0
    return _quieted(rest.ravel())


def _quieted(values: FloatArray) -> FloatArray:
    """Return values without what is far louder than most: a mark that was missed, a first slow turn, are no hum."""
    if not values.any():
        return values
    about = values - np.median(values)
    loud = 4 * 1.4826 * float(np.median(np.abs(about[values != 0])))
    return np.asarray(np.clip(about, -loud, loud))


def _staying(values: FloatArray, step_s: float) -> Line:
    """Return the line between 20 and 90 Hz that stands out in both halves; none where it moves."""
    half = values.size // 2
    if values.size * step_s < _SHORTEST_S:
        return Line()
    one, two = _strongest(values[:half], step_s), _strongest(values[half:], step_s)
    # a rotor that begins to turn passes through; a line of the mains stays
    if min(one.clear, two.clear) < CLEAR / 2 or abs(one.hz - two.hz) > 2.0:
        return Line()
    return _strongest(values, step_s)


def _strongest(
    values: FloatArray, step_s: float, from_hz: float = 20.0, to_hz: float = 90.0
) -> Line:
    """Return the strongest line of a range over the median of the spectrum."""
    values = values - values.mean()
    if not values.any():
        return Line()
    size = 8 * values.size
    spectrum = np.abs(np.fft.rfft(values * np.hanning(values.size), size))
    f = np.fft.rfftfreq(size, step_s)
    near, wide = (f > from_hz) & (f < to_hz), (f > 15) & (f < 190)
    k = int(np.flatnonzero(near)[spectrum[near].argmax()])
    return Line(float(spectrum[k] / max(float(np.median(spectrum[wide])), 1e-30)), float(f[k]))
