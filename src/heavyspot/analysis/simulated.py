"""A spin without a rig, for trying things out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..sources.recording import Recording
from ..workshop.demo.simulate import Asked, simulated
from ..workshop.demo.simulate import simulate as write


def simulate(
    path: str | Path | None = None,
    *,
    model: str = "Larch 52",
    unit: int = 1,
    seed: int = 1,
    peak_g: float | None = None,
    faults: Sequence[str] = (),
    cuts: Sequence[str] = (),
    sample_rate_hz: float = 51_200.0,
    run_up_s: float = 8.0,
    bits: int = 24,
) -> Recording:
    """Return the recording of a simulated spin, and write it where a path is given, with its sidecar.

    It is no measurement: what is read from it says so.

    Parameters
    ----------
    path : str or Path, optional
        A file that is not there yet: .wav, .flac, .csv or .uff.
    model : str
        Larch 38, Larch 52, Alder 64 or Oak 90.
    unit : int
        Which unit of the model: its own unbalance and stiffness.
    seed : int
        Which spin of it: scatter and noise.
    peak_g : float, optional
        Its highest vibration before any cut, g.
    faults : sequence of str
        What is wrong with it or the rig, such as ``whirl``.
    cuts : sequence of str
        Made before the spin: ``nut@125=0.31mm``, or ``nut@125=9.4`` (g·mm).
    sample_rate_hz, run_up_s, bits
        Samples a second; seconds to test speed; 16 or 24.

    Raises
    ------
    BadInput
        The model, a fault or a cut is not known, or the file is there already.

    Examples
    --------
    >>> simulate(run_up_s=1.0, sample_rate_hz=25_600).duration_s
    2.1
    """
    asked = Asked(
        model, unit, seed, peak_g, tuple(faults), tuple(cuts), sample_rate_hz, run_up_s, bits
    )
    return simulated(asked) if path is None else write(path, asked)
