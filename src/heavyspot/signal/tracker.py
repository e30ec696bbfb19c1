"""The streaming order tracker: samples in, block vectors out; the same in any chunking.

Every internal boundary (blocks of about 2.5 ms, level windows of 8 blocks, frames of windows)
lies at an absolute sample number, every judgement of the reference looks a fixed number of edges
ahead, and vibration waits in a buffer until the turn angle over it is known. So neither the size
of the chunks nor that of the frames can change a result by more than rounding.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..quantities.arrays import Array, Growing
from ..quantities.checks import positive
from ..quantities.errors import BadInput
from .demodulate import ORDERS, BlockJoiner, block_vectors
from .mark.reference import EdgeFinder, ReferenceSettings
from .mark.turns import SMOOTH_S, EdgeCounts, TurnClock

BLOCK_S = 2.5e-3
WINDOW_BLOCKS = 8
GROUP_BLOCKS = 4
_REFERENCE_RATE_HZ = 51_200.0
_AXES = (0, 0, 0, 0, 0, 1, 1, 1, 1)
"""Along which axis the blocks of each array of a `Track` lie, from `turns` to `extremes`."""

NEAR = 0.03
"""A sample is near an extreme that is within this share of the whole swing of it."""

_STRETCH_RATE_HZ = 12_800.0
"""Rate of the inner sums: above twice the fastest rig (300,000 rpm) with its image."""


@dataclass(frozen=True)
class Track:
    """What the tracker found, block by block.

    Attributes
    ----------
    sample_rate_hz : float
    block : int
        Samples in one block.
    magnetic : bool
        Whether the reference is a magnetised nut's near-sinusoid.
    pulses_per_turn : int
    turns : ndarray, shape (n,), float64
        Turn count at the middle of each block; rough (edge by edge): see `reference`.
    trusted : ndarray, shape (n,), bool
        False where the reference could not be followed.
    reference : ndarray, shape (n,), complex64
        Vector of the phase channel's fundamental in the rough angle; ones for a pulse reference.
    reference_mean, reference_power : ndarray, shape (n,), float32
        Mean and mean square of the phase channel.
    vectors : ndarray, shape (channels, n, 4), complex64
        ``2/N sum x exp(-j order theta)`` for the orders `ORDERS`, in the channel's unit.
    mean, power : ndarray, shape (channels, n), float32
        Mean and mean square of each channel.
    extremes : ndarray, shape (channels, n // 4, 4), float32
        Of each group of four blocks: highest, lowest, and the shares of samples near each of them.
    reference_extremes : ndarray, shape (n // 8, 2)
        Lowest and highest value of the phase channel in each window of eight blocks.
    counts : EdgeCounts
    uneven : ndarray, shape (k,)
        Samples at which marks came at uneven intervals, before any repair.
    edge_noise : ndarray, shape (m, 2)
        Where, samples, and the variance of a single mark's angle there, rad².
    """

    sample_rate_hz: float
    block: int
    magnetic: bool
    pulses_per_turn: int
    turns: NDArray[np.float64]
    trusted: NDArray[np.bool_]
    reference: NDArray[np.complex64]
    reference_mean: NDArray[np.float32]
    reference_power: NDArray[np.float32]
    vectors: NDArray[np.complex64]
    mean: NDArray[np.float32]
    power: NDArray[np.float32]
    extremes: NDArray[np.float32]
    reference_extremes: NDArray[np.float64]
    counts: EdgeCounts
    uneven: NDArray[np.float64]
    edge_noise: NDArray[np.float64]

    @property
    def block_s(self) -> float:
        """Duration of one block, s."""
        return self.block / self.sample_rate_hz

    def since(self, block: int) -> Track:
        """Return the track from that block on (a multiple of four): for looking while it grows."""
        start = max(0, block // GROUP_BLOCKS * GROUP_BLOCKS)
        return replace(
            self,
            turns=self.turns[start:],
            trusted=self.trusted[start:],
            reference=self.reference[start:],
            reference_mean=self.reference_mean[start:],
            reference_power=self.reference_power[start:],
            vectors=self.vectors[:, start:],
            mean=self.mean[:, start:],
            power=self.power[:, start:],
            extremes=self.extremes[:, start // GROUP_BLOCKS :],
            reference_extremes=self.reference_extremes[start // WINDOW_BLOCKS :],
        )

    @property
    def time_s(self) -> Array:
        """Time of each block's middle, s from the first sample; shape (n,)."""
        return (np.arange(self.turns.size) + 0.5) * self.block_s


class Tracker:
    """Follow the once-per-turn vector of one or more channels through any speed history.

    Parameters
    ----------
    sample_rate_hz : float
        > 0, Hz.
    phase_channel : int
        Column of the phase reference.
    vibration_channels : tuple of int
        Columns to follow.
    reference : ReferenceSettings
    lowest_speed_rpm : float
        Slowest speed still followed; sets how long vibration may wait for its angle.
    frame_windows : int
        Level windows (20 ms) worked on at a time: 1 for the least delay, many for the least cost.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(51200) / 51200
    >>> x = np.stack([0.3 * np.cos(2*np.pi*100*t - 1.0), np.sin(2*np.pi*100*t)], axis=1)
    >>> tracker = Tracker(sample_rate_hz=51200, phase_channel=1, vibration_channels=(0,))
    >>> tracker.feed(x)
    >>> track = tracker.finish()
    >>> bool(track.trusted[300])
    True
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        phase_channel: int,
        vibration_channels: tuple[int, ...],
        reference: ReferenceSettings | None = None,
        lowest_speed_rpm: float = 600.0,
        frame_windows: int = 128,
    ) -> None:
        self.sample_rate_hz = positive("sample_rate_hz", sample_rate_hz)
        self.reference = reference or ReferenceSettings()
        if not vibration_channels or phase_channel in vibration_channels:
            raise BadInput(
                "The tracker needs at least one vibration channel beside the phase channel.",
                remedy="Name the vibration channels.",
            )
        self.phase_channel = phase_channel
        self.vibration_channels = tuple(vibration_channels)
        self._stretch = 4
        while sample_rate_hz / self._stretch > 1.4 * _STRETCH_RATE_HZ:
            self._stretch *= 2
        self._stretches = max(1, round(sample_rate_hz * BLOCK_S / self._stretch))
        self.block = self._stretches * self._stretch
        self.window = self.block * WINDOW_BLOCKS
        self.frame = self.window * frame_windows
        magnetic = self.reference.kind == "magnetic"
        self._thin = 1
        while magnetic and sample_rate_hz / self._thin > 1.5 * _REFERENCE_RATE_HZ:
            self._thin *= 2
        self._edges = EdgeFinder(self.reference, window=self.window // self._thin)
        self._clock = TurnClock(
            edges_per_turn=self.reference.pulses_per_turn,
            longest_turn=60.0 / lowest_speed_rpm * sample_rate_hz,
            smooth=SMOOTH_S * sample_rate_hz,
        )
        # an edge is known after six more, all no longer than the slowest turn
        self._patience = int(12 * 60.0 / lowest_speed_rpm * sample_rate_hz)
        self._loose: list[NDArray[np.float32]] = []
        self._loose_size = 0
        self._phase_wait: list[NDArray[np.float32]] = []
        self._vibration_wait: list[NDArray[np.float32]] = []
        self._waiting = 0  # samples in the waiting buffers
        self._fed = 0  # samples framed so far
        self._out = [Growing(axis) for axis in _AXES]
        self._join_reference, self._join_vectors = BlockJoiner(), BlockJoiner()

    def feed(self, data: Array) -> None:
        """Take the next samples.

        Parameters
        ----------
        data : ndarray, shape (n, channels), any n
            Samples in each channel's own unit, finite.
        """
        if data.ndim != 2:
            raise BadInput(f"samples have {data.ndim} dimensions.", remedy="Give (n, channels).")
        self._loose.append(np.asarray(data, dtype=np.float32))
        self._loose_size += data.shape[0]
        if self._loose_size < self.frame:
            return
        joined = self._loose[0] if len(self._loose) == 1 else np.concatenate(self._loose)
        n_frames = joined.shape[0] // self.frame
        for i in range(n_frames):
            self._take(joined[i * self.frame : (i + 1) * self.frame])
        rest = joined[n_frames * self.frame :]
        self._loose, self._loose_size = [rest], rest.shape[0]

    def finish(self) -> Track:
        """Work off what waits and return the track; an incomplete last window is dropped."""
        if self._loose_size:
            joined = np.concatenate(self._loose)
            whole = joined.shape[0] // self.window * self.window
            if whole:
                self._take(joined[:whole])
            self._loose, self._loose_size = [], 0
        self._clock.add(np.empty(0), final=True)
        self._work_off(final=True)
        reference, vectors = self._join_reference.end(), self._join_vectors.end()
        if reference is not None and vectors is not None:
            self._out[2].add(reference[:, 0])
            self._out[5].add(vectors)
        return self._track()

    def so_far(self) -> Track:
        """Return the track of what was worked off until now; feeding may go on."""
        return self._track()

    def _take(self, frame: NDArray[np.float32]) -> None:
        n = frame.shape[0]
        phase = frame[:, self.phase_channel]
        if self._thin > 1:
            phase = _mean_of_neighbours(phase, self._thin)
        else:
            phase = np.ascontiguousarray(phase)
        if self.reference.edge == "falling":
            phase = -phase
        edges = self._edges.edges(phase)
        self._clock.add(edges * self._thin + (self._thin - 1) / 2)
        self._phase_wait.append(phase)
        columns = np.ascontiguousarray(frame[:, list(self.vibration_channels)].T)
        self._vibration_wait.append(columns)
        self._waiting += n
        self._fed += n
        self._work_off(final=False)

    def _work_off(self, *, final: bool) -> None:
        begin = self._fed - self._waiting
        until = max(self._clock.known_until, float(self._fed - self._patience))
        if final:
            until = float(self._fed)
        span = GROUP_BLOCKS * self.block
        n = int(min(max(until - begin, 0), self._waiting)) // span * span
        if n == 0:
            return
        phase = _joined(self._phase_wait, axis=0)
        vibration = _joined(self._vibration_wait, axis=1)
        self._reduce(begin, phase[: n // self._thin], vibration[:, :n])
        self._phase_wait = [phase[n // self._thin :]]
        self._vibration_wait = [vibration[:, n:]]
        self._waiting -= n
        self._clock.forget_before(begin + n)

    def _reduce(
        self, begin: int, phase: NDArray[np.float32], vibration: NDArray[np.float32]
    ) -> None:
        n_blocks = vibration.shape[1] // self.block
        edges = begin - 0.5 + self.block * np.arange(n_blocks + 1.0)
        turns, good = self._clock.turns_at(edges)
        trusted = good[:-1] & good[1:]
        if not trusted.all():  # a jump across a fault must not smear into the blocks beside it
            turns = np.where(good, turns, 0.0)
        parts = [
            block_vectors(
                np.ascontiguousarray(channel),
                stretch=self._stretch,
                stretches_per_block=self._stretches,
                group=GROUP_BLOCKS,
                turns=turns,
            )
            for channel in vibration
        ]
        shaped = vibration.reshape(vibration.shape[0], n_blocks, self.block)
        phase_blocks = phase.reshape(n_blocks, -1)
        if self.reference.kind == "magnetic":
            fundamental = block_vectors(
                phase,
                stretch=self._stretch // self._thin,
                stretches_per_block=self._stretches,
                group=GROUP_BLOCKS,
                turns=turns,
                orders=(1.0,),
            )
        else:
            fundamental = np.full((3, n_blocks, 1), 1 / 3, np.complex64)
        found: tuple[Array, ...] = (
            0.5 * (turns[:-1] + turns[1:]),
            trusted,
            self._join_reference.add(fundamental)[:, 0],
            _block_mean(phase_blocks),
            _block_power(phase_blocks),
            self._join_vectors.add(np.stack(parts)),
            _block_mean(shaped),
            _block_power(shaped),
            _extremes(vibration, GROUP_BLOCKS * self.block),
        )
        for kept, new in zip(self._out, found, strict=True):
            kept.add(new)

    def _track(self) -> Track:
        if not len(self._out[0]):
            n = len(self.vibration_channels)
            empty = [np.empty((0,) if axis == 0 else (n, 0), np.float32) for axis in _AXES]
            empty[2] = np.empty(0, np.complex64)
            empty[5] = np.empty((n, 0, len(ORDERS)), np.complex64)
            empty[8] = np.empty((n, 0, 4), np.float32)
            return self._as_track(empty)
        arrays = [kept.so_far() for kept in self._out]
        n = arrays[2].shape[0]  # while feeding, the smooth blocks are one behind
        arrays = [
            a[:n] if axis == 0 else a if i == 8 else a[:, :n]
            for i, (a, axis) in enumerate(zip(arrays, _AXES, strict=True))
        ]
        trusted = arrays[1].copy()
        trusted[1:-1] &= arrays[1][:-2] & arrays[1][2:]  # a smooth block needs both neighbours
        arrays[1] = trusted
        return self._as_track(arrays)

    def _as_track(self, arrays: list[Array]) -> Track:
        turns, trusted, reference, ref_mean, ref_power, vectors, mean, power, extremes = arrays
        return Track(
            sample_rate_hz=self.sample_rate_hz,
            block=self.block,
            magnetic=self.reference.kind == "magnetic",
            pulses_per_turn=self.reference.pulses_per_turn,
            turns=turns,
            trusted=trusted.astype(bool),
            reference=reference,
            reference_mean=ref_mean,
            reference_power=ref_power,
            vectors=vectors,
            mean=mean,
            power=power,
            extremes=extremes,
            reference_extremes=self._edges.extremes,
            counts=self._clock.counts,
            uneven=self._clock.uneven,
            edge_noise=self._clock.edge_noise,
        )


def _joined(parts: list[NDArray[np.float32]], *, axis: int) -> NDArray[np.float32]:
    return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=axis)


def _mean_of_neighbours(x: NDArray[np.float32], n: int) -> NDArray[np.float32]:
    """Return the mean of every `n` samples: a short low-pass before thinning out."""
    out = x[0::n].astype(np.float32)
    for i in range(1, n):
        out += x[i::n]
    out *= np.float32(1.0 / n)
    return out


def _extremes(channels: NDArray[np.float32], span: int) -> NDArray[np.float32]:
    """Return highest, lowest and the shares of samples near each: two passes, nothing is sorted."""
    shaped = channels.reshape(channels.shape[0], -1, span)
    high, low = shaped.max(axis=2), shaped.min(axis=2)
    near = np.float32(NEAR) * (high - low)
    above = (shaped >= (high - near)[:, :, None]).view(np.int8).sum(axis=2, dtype=np.int32)
    below = (shaped <= (low + near)[:, :, None]).view(np.int8).sum(axis=2, dtype=np.int32)
    return np.stack([high, low, above / span, below / span], axis=2).astype(np.float32)


def _block_mean(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    n = blocks.shape[-1]
    return np.matmul(blocks, np.full(n, 1.0 / n, np.float32))


def _block_power(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.einsum("...i,...i->...", blocks, blocks) * np.float32(1.0 / blocks.shape[-1])
