"""What lies between the housing and the samples, beside the sensitivity: known deviations, which are corrected.

GUM (JCGM 100:2008) 3.2.4: a recognized deviation is corrected, not added to the scatter. At 150,000 rpm a delay of
10 microseconds between the channels turns the angle by 9 degrees.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..quantities.checks import positive
from ..quantities.errors import BadInput
from .curve import Curve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Pickup:
    """What the pickup does to the moment of the mark.

    Attributes
    ----------
    delay_s : float
        By which the mark shows late.
    high_pass_hz : float
        Corner of an AC-coupled input (first order), which shows a magnet's wave early; 0: none.
    """

    delay_s: float = 0.0
    high_pass_hz: float = 0.0

    def lag_rad(self, frequency_hz: FloatArray) -> FloatArray:
        """Return how much later than it passed the mark shows, rad of a turn."""
        late = 2 * np.pi * self.delay_s * frequency_hz
        with np.errstate(divide="ignore"):
            early = np.arctan(self.high_pass_hz / np.maximum(frequency_hz, 1e-9))
        return np.asarray(late - early)


@dataclass(frozen=True)
class Chain:
    """What a vibration channel does to a line of the housing's vibration.

    Attributes
    ----------
    gain : float
        Reading over true value at the frequency of the calibration.
    delay_s : float
        By which the channel is late.
    mounted_hz, damping : float
        Resonance of the mounted accelerometer, 0 when not known, and its damping ratio.
    response : tuple of (Hz, gain, degrees)
        Of the sensor's own certificate, relative to its sensitivity, lags positive; straight lines between,
        constant beyond. Frequencies ascend.
    """

    gain: float = 1.0
    delay_s: float = 0.0
    mounted_hz: float = 0.0
    damping: float = 0.02
    response: tuple[tuple[float, float, float], ...] = ()

    def __post_init__(self) -> None:
        positive("gain", self.gain)
        hz = [r[0] for r in self.response]
        if any(b <= a for a, b in itertools.pairwise(hz)):
            raise BadInput("The response's frequencies do not ascend.", remedy="Sort the points.")

    def at(self, frequency_hz: FloatArray) -> NDArray[np.complex128]:
        """Return reading over true vector at each frequency; a lag is a positive angle, as on the rotor.

        The mounted accelerometer is a mass on a spring: ``1 / (1 - r² + 2 j z r)``, ``r`` the share of its
        resonance (ISO 5348, mechanical mounting of accelerometers).
        """
        f = np.asarray(frequency_hz, float)
        out = np.full(f.shape, self.gain, complex) * np.exp(2j * np.pi * self.delay_s * f)
        if self.mounted_hz > 0:
            r = f / self.mounted_hz
            out *= np.conj(1.0 / (1.0 - r**2 + 2j * self.damping * r))
        if self.response:
            hz, gain, degrees = np.array(self.response).T
            out *= np.interp(f, hz, gain) * np.exp(1j * np.deg2rad(np.interp(f, hz, degrees)))
        return np.asarray(out)


def corrected(curve: Curve, chains: tuple[Chain, ...], pickup: Pickup) -> Curve:
    """Return a curve as the housing moved, from what its channels showed.

    Parameters
    ----------
    chains : tuple of Chain
        One for each channel.

    The amplitudes at other orders are corrected at their own frequencies; the overall level by the gain alone, for
    nobody knows at which frequencies it lies.
    """
    hz = curve.speed_rpm / 60.0
    once = np.stack([c.at(hz) for c in chains]) * np.exp(-1j * pickup.lag_rad(hz))
    size = np.abs(once)
    other = {
        name: getattr(curve, name) / np.abs(np.stack([c.at(order * hz) for c in chains]))
        for name, order in (("half", 0.5), ("twice", 2.0), ("thrice", 3.0))
    }
    gains = np.array([c.gain for c in chains])[:, None]
    return replace(
        curve,
        vector=curve.vector / once,
        noise=curve.noise / size,
        overall_rms=curve.overall_rms / gains,
        **other,
    )
