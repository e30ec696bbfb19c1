"""Blocks with their angle on the rotor: the pickup's own fundamental takes out the edges' jitter.

Pickup and vibration were demodulated with the same rough turn angle. Turning each vibration vector
by the pickup's fundamental leaves the angle between the two, in which the errors of the edges
cancel: noise is then that of thousands of samples, not of one crossing. For a distorted pickup
wave the mark is where its *fundamental* crosses zero, at every speed alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..quantities.arrays import Array
from .point_noise import pieces, share_of_mean, whole_turns
from .tracker import Track

_MAINS_HZ = (50.0, 60.0, 100.0, 120.0)

CLEAR_RAD = 0.008
"""Phase noise of the fundamental under which the mark is clear, however far from a sine the wave is."""

EDGE_SAMPLES = 0.01
"""What a straight line between two samples leaves of a curved edge, as a share of a sample (type B): the same
for many turns where speed and sample rate are in step."""

FASTEST_CHANGE, JUMP = 6.0, 0.15
"""Change of a rotor's speed that none reaches, as a share of it a second; a step that is a jump."""


@dataclass(frozen=True)
class PhasedBlocks:
    """Block vectors in rotor angles.

    Attributes
    ----------
    block_s : float
    trusted : ndarray, shape (n,), bool
    speed_rpm : ndarray, shape (n,)
        NaN where not trusted.
    vectors : ndarray, shape (channels, n, 4), complex64
        Orders 1/2, 1, 2, 3, zero-to-peak, physical unit; angle = lag behind the mark.
    mean, power : ndarray, shape (channels, n)
    reference_amplitude : ndarray, shape (n,)
        Amplitude of the pickup's fundamental, in its own unit; NaN for a pulse reference.
    reference_purity : ndarray, shape (n,)
        Share of the pickup's power that is in its fundamental, 0 to 1; 1 for a pulse reference.
    hum_locked : ndarray, shape (n,), bool
        Blocks put aside because the edges followed the mains, not the nut.
    jitter_rad2 : ndarray, shape (n,)
        Square of each block's phase noise of the pickup, rad²; 0 for a pulse reference.
    angle_rad2 : ndarray, shape (n,)
        Variance that the pickup's noise gives the angle of one independent block, rad².
    impossible : ndarray, shape (n,), bool
        Blocks put aside because no rotor changes its speed so fast: marks were missing, not turns.
    edge_s : float
        Standard uncertainty of where an edge is that averaging does not lower, s; 0 for a magnetic reference.
    """

    block_s: float
    trusted: NDArray[np.bool_]
    speed_rpm: NDArray[np.float64]
    vectors: Array
    mean: Array
    power: Array
    reference_amplitude: NDArray[np.float64]
    reference_purity: NDArray[np.float64]
    hum_locked: NDArray[np.bool_]
    jitter_rad2: Array
    angle_rad2: Array
    impossible: NDArray[np.bool_]
    edge_s: float = 0.0


def phased_blocks(
    track: Track, *, scale: NDArray[np.float64] | None = None, spend: bool = False
) -> PhasedBlocks:
    """Return the blocks of a track with angles on the rotor and a speed for each.

    Parameters
    ----------
    scale : ndarray, shape (channels,), optional
        Factor from a channel's samples to its physical unit.
    spend : bool
        The track's vectors become the blocks': half an hour of them need not be there twice.
    """
    n = track.turns.size
    n_channels = track.vectors.shape[0]
    factor = np.ones(n_channels) if scale is None else np.asarray(scale, dtype=float)
    trusted = _without_short_spells(track.trusted, round(0.1 / track.block_s))
    impossible = _impossible(track.turns, trusted, track.block_s)
    if impossible.any():
        trusted = _without_short_spells(trusted & ~impossible, round(0.05 / track.block_s))
    turn_s = _turn_duration_s(track.turns, trusted, track.block_s)
    speed_rpm = np.where(trusted, 60.0 / turn_s, np.nan)
    if track.magnetic:
        mark, speed_rpm = _magnets_mark(track, turn_s, trusted, speed_rpm)
        hum = _hum_locked(speed_rpm, mark.amplitude, trusted)
        trusted = trusted & ((mark.purity > 0.4) | mark.clear) & ~hum
        trusted = _without_short_spells(trusted, round(0.1 / track.block_s))
        speed_rpm = np.where(trusted, speed_rpm, np.nan)
    else:
        mark, hum = _pulses_mark(track, turn_s), np.zeros(n, bool)
    # single precision: 1e-7 of the amplitude, and half the memory
    vectors = np.conj(track.vectors, out=track.vectors if spend else None)
    power = mark.turn
    for order in (1, 2, 3):
        vectors[:, :, order] *= power
        power = power * mark.turn
    vectors *= factor[:, None, None].astype(np.float32)
    return PhasedBlocks(
        block_s=track.block_s,
        trusted=trusted,
        speed_rpm=speed_rpm,
        vectors=vectors,
        mean=track.mean * factor[:, None].astype(np.float32),
        power=track.power * factor[:, None].astype(np.float32) ** 2,
        reference_amplitude=mark.amplitude,
        reference_purity=mark.purity,
        hum_locked=hum,
        jitter_rad2=mark.jitter_rad2,
        angle_rad2=mark.angle_rad2,
        impossible=impossible,
        edge_s=0.0 if track.magnetic else EDGE_SAMPLES / track.sample_rate_hz,
    )


@dataclass(frozen=True)
class _Mark:
    """Where the mark is in each block, and how sure: `turn` takes a vector to it, `clear` says it is no noise."""

    turn: NDArray[np.complex64]
    amplitude: NDArray[np.float64]
    purity: Array
    clear: NDArray[np.bool_]
    jitter_rad2: Array
    angle_rad2: Array


def _magnets_mark(
    track: Track,
    turn_s: NDArray[np.float64],
    trusted: NDArray[np.bool_],
    speed_rpm: NDArray[np.float64],
) -> tuple[_Mark, NDArray[np.float64]]:
    """Return the mark of a magnetised nut, and the speed by it."""
    reach = np.clip(np.rint(turn_s / track.block_s), 1, 200).astype(int)
    # twice, so that the image at twice the turning frequency does not survive in the mean and
    # beat with its own image in the vibration
    smooth = running_mean(running_mean(track.reference, reach), reach)
    amplitude = np.abs(smooth)
    reach = np.maximum(reach, 8)
    variance = running_mean(track.reference_power, reach)
    variance -= running_mean(track.reference_mean, reach) ** 2
    purity = (0.5 * amplitude**2 / np.maximum(variance, 1e-30)).clip(0.0, 1.0).astype(np.float32)
    del variance
    jitter2 = np.empty(amplitude.size, np.float32)
    for part in pieces(jitter2.size):
        across = np.imag(track.reference[part] * np.conj(smooth[part]))
        jitter2[part] = (across / np.maximum(amplitude[part], 1e-30) ** 2) ** 2
    clear = running_mean(jitter2, reach) < CLEAR_RAD**2
    del reach
    by_turn, blocks_a_turn = whole_turns(track.reference, speed_rpm, track.block_s)
    angle_rad2 = _fundamental_variance(by_turn, blocks_a_turn, smooth)
    del by_turn, blocks_a_turn
    smooth /= np.maximum(amplitude, 1e-30)
    smooth *= 1j  # sine: its fundamental lags by 90 degrees
    # the edges tell the turns roughly, the fundamental the rest: their errors would be the speed's
    finer = track.turns + _unwrapped(np.angle(smooth), trusted) / (2 * np.pi)
    finer_s = _turn_duration_s(finer, trusted, track.block_s)
    mark = _Mark(
        smooth.astype(np.complex64),
        amplitude,
        purity,
        clear,
        jitter2,
        angle_rad2,
    )
    return mark, np.where(trusted, 60.0 / finer_s, np.nan)


def _pulses_mark(track: Track, turn_s: NDArray[np.float64]) -> _Mark:
    """Return the mark of a pulse reference: the edges themselves."""
    n = track.turns.size
    # as many marks as turns are in a block
    angle_rad2 = _mark_variance(track) * np.minimum(turn_s, 60.0) / track.block_s
    return _Mark(
        np.ones(n, np.complex64),
        np.full(n, np.nan),
        np.ones(n, np.float32),
        np.ones(n, bool),
        np.zeros(n, np.float32),
        angle_rad2.astype(np.float32),
    )


def _unwrapped(angle: NDArray[np.float64], trusted: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return angles without jumps of a turn, each trusted stretch on its own."""
    out = np.zeros(angle.size)
    for start, stop in spells(trusted):
        out[start:stop] = np.unwrap(angle[start:stop])
    return out


def _fundamental_variance(
    by_turn: NDArray[np.complex128],
    blocks: NDArray[np.float64],
    smooth: NDArray[np.complex128],
) -> NDArray[np.float32]:
    """Return what the noise of the nut's fundamental is worth in a block, rad².

    From second differences of its size over blocks so far apart that they share no samples: white noise of
    variance s² gives 6 s², and a change that goes on evenly gives nothing. Noise is as large across the vector as
    along it, where no error of the edges comes in.

    Parameters
    ----------
    by_turn, blocks : ndarray, shape (n,)
        The fundamental averaged over whole turns, and how many blocks a turn is.
    smooth : ndarray, shape (n,), complex
        The fundamental, smoother.
    """
    n = by_turn.size
    out = np.empty(n, np.float32)
    for part in pieces(n):
        i = np.arange(part.start, part.stop)
        wanted = np.ceil(2 * blocks[part]).astype(int) + 1
        apart = np.minimum(wanted, np.minimum(i, n - 1 - i))
        second = by_turn[i - apart] - 2 * by_turn[i] + by_turn[i + apart]
        size = np.maximum(np.abs(smooth[part]), 1e-30)
        along = (second * np.conj(smooth[part])).real / size**2
        enough = apart == wanted
        out[part] = np.where(enough, along**2 / 6.0 / share_of_mean(blocks[part]), 0.0)
    return out


def _mark_variance(track: Track) -> NDArray[np.float64]:
    """Return the variance of a single mark's angle at each block, rad²; 0 where nothing is known."""
    at, variance = track.edge_noise.T
    if at.size == 0:
        return np.zeros(track.turns.size)
    middle = (np.arange(track.turns.size) + 0.5) * track.block
    return np.interp(middle, at, variance)


def spells(state: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return (k, 2): first and one past the last index of each stretch in which `state` holds."""
    edges = np.diff(np.concatenate([[False], state, [False]]).astype(np.int8))
    return np.stack([np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)], axis=1)


def _without_short_spells(state: NDArray[np.bool_], shortest: int) -> NDArray[np.bool_]:
    out = state.copy()
    for start, stop in spells(state):
        if stop - start < shortest:
            out[start:stop] = False
    return out


def _impossible(
    turns: NDArray[np.float64], trusted: NDArray[np.bool_], block_s: float
) -> NDArray[np.bool_]:
    """Return the blocks whose speed no rotor could have, given the others.

    Stretches between jumps of the speed are pieces; of all chains of pieces that a rotor could follow, the
    one with the most turns is kept. Where a mark is missed in every second or third turn, the marks that are
    left look regular, at a fraction of the speed.
    """
    out = np.zeros(turns.size, bool)
    pieces = _pieces(turns, trusted, block_s)
    if len(pieces) < 2:
        return out
    kept = _heaviest_chain(pieces, block_s)
    edge = round(0.02 / block_s)  # edges were smoothed over this long across the jump
    ways = [(0, 0), *((p[0], p[1]) for p in pieces), (turns.size, turns.size)]
    for i, (start, stop, _, _) in enumerate(pieces):
        if i not in kept:
            before, after = (
                ways[i][1],
                ways[i + 2][0],
            )  # the way to and from it, where there is no gap
            low = before if start - before <= 4 * edge else start
            high = after if after - stop <= 4 * edge else stop
            out[max(min(low, start - edge), 0) : max(high, stop + edge)] = True
    return out


Piece = tuple[int, int, float, float]
"""First block, one past the last, speed at the start and at the end, turns/s."""


def _pieces(turns: NDArray[np.float64], trusted: NDArray[np.bool_], block_s: float) -> list[Piece]:
    found: list[Piece] = []
    for start, stop in spells(trusted).tolist():
        rate = np.diff(turns[start:stop]) / block_s
        reach = 3
        if rate.size < 4 * reach:
            continue
        rate = np.maximum(rate, 1e-6)
        change = np.abs(np.log(rate[reach:] / rate[:-reach]))
        # at low speed a run-up changes the speed by any share; a jump is one at speed only
        jumps = np.flatnonzero((change > JUMP) & (rate[:-reach] > 150.0) & (rate[reach:] > 150.0))
        # a jump is seen over some blocks, as edges are smoothed: its way belongs to neither side
        first, last = _clusters(jumps, 2 * reach)
        for a, b in zip([0, *(last + reach)], [*first, rate.size], strict=True):
            if b - a > 2 * reach:
                ends = np.median(rate[a : a + reach]), np.median(rate[b - reach : b])
                found.append((start + a, start + b, float(ends[0]), float(ends[1])))
    return found


def _clusters(at: NDArray[np.intp], near: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return first and last of each group of places that are no further apart than `near`."""
    if at.size == 0:
        return at, at
    apart = np.flatnonzero(np.diff(at) > near)
    return at[np.r_[0, apart + 1]], at[np.r_[apart, at.size - 1]]


def _heaviest_chain(pieces: list[Piece], block_s: float) -> set[int]:
    """Return the pieces of the chain with the most turns that a rotor could follow."""
    pieces = pieces[:2000]
    most = [0.5 * (a + b) * (stop - start) for start, stop, a, b in pieces]
    weight, back = list(most), [-1] * len(pieces)
    for i, (start, _, speed, _) in enumerate(pieces):
        for j in range(max(0, i - 60), i):
            gap_s = (start - pieces[j][1]) * block_s
            last = pieces[j][3]
            slow = min(speed, last) < 150.0
            possible = slow or abs(np.log(speed / last)) < JUMP / 2 + FASTEST_CHANGE * max(
                gap_s, 0.0
            )
            if possible and weight[j] + most[i] > weight[i]:
                weight[i], back[i] = weight[j] + most[i], j
    at = int(np.argmax(weight))
    kept = set()
    while at >= 0:
        kept.add(at)
        at = back[at]
    return kept


def _turn_duration_s(
    turns: NDArray[np.float64], trusted: NDArray[np.bool_], block_s: float
) -> NDArray[np.float64]:
    """Return the duration of a turn at each block, from the turn count some blocks either side."""
    out = np.full(turns.size, np.inf)
    for start, stop in spells(trusted):
        count = turns[start:stop]
        n = count.size
        i = np.arange(n)
        # two turns on either side, at least 5 ms: short against any change of speed
        rough = np.maximum((count[-1] - count[0]) / max(n - 1, 1), 1e-9)
        local = np.maximum(np.gradient(count), 0.2 * rough) if n > 1 else np.full(n, rough)
        reach = np.clip(np.ceil(2.0 / local), 4, 160).astype(int)
        reach = np.minimum(reach, np.maximum(1, np.minimum(i, n - 1 - i)))
        low, high = np.maximum(i - reach, 0), np.minimum(i + reach, n - 1)
        rate = (count[high] - count[low]) / np.maximum(high - low, 1) / block_s
        out[start:stop] = 1.0 / np.maximum(rate, 1e-6)
    return out


def running_mean(values: Array, reach: NDArray[np.intp]) -> Array:
    """Return the mean over ``[i - reach, i + reach]``, cut at the ends."""
    kind = np.complex128 if np.iscomplexobj(values) else np.float64
    total = np.zeros(values.size + 1, kind)
    np.cumsum(values, out=total[1:])
    out = np.empty(values.size, kind)
    for part in pieces(values.size):
        i, mine = np.arange(part.start, part.stop), reach[part]
        low = np.maximum(i - mine, 0)
        high = np.minimum(i + mine + 1, values.size)
        out[part] = (total[high] - total[low]) / (high - low)
    return out


def _hum_locked(
    speed_rpm: NDArray[np.float64], amplitude: NDArray[np.float64], trusted: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return where the edges follow the mains: its frequency, at an amplitude the nut cannot have.

    A magnet's voltage grows with speed; at a mains frequency it must be near the amplitude at high
    speed scaled down (within 2.5 times), else it is hum.
    """
    out = np.zeros(speed_rpm.size, bool)
    if not trusted.any():
        return out
    top = np.nanmax(np.where(trusted, speed_rpm, np.nan))
    fast = trusted & (speed_rpm > 0.5 * top)
    slope = np.median(amplitude[fast] / speed_rpm[fast])
    with np.errstate(invalid="ignore"):
        for mains_hz in _MAINS_HZ:
            near = trusted & (np.abs(speed_rpm / (60 * mains_hz) - 1) < 0.05)
            if top > 3 * 60 * mains_hz:
                out |= near & (amplitude > 2.5 * slope * speed_rpm)
    return out
