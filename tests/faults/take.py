"""What a rig's channels deliver in one spin, with the truth beside it, before it becomes a recording."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.sources.recording import Channel, from_array

FULL_SCALE_V = 10.0
SENSITIVITY_V_PER_G = 0.1


@dataclass(frozen=True)
class Take:
    """One spin.

    Attributes
    ----------
    rate_hz : float
        True sample rate.
    speed_rpm, theta : ndarray, shape (n,)
        True speed; angle turned, rad: the mark passes at whole turns.
    housing_g, pickup_v : ndarray, shape (n,)
    vector : callable
        Speed, rpm -> true once-per-turn vector, g; its angle is the lag behind the mark.
    kind : "magnetic" or "pulse"
        What the pickup is.
    duty : float
        Of a pulse pickup: share of the turn at the upper level.
    test_speed_rpm : float
    declared : dict
        What the recording says where it is not the truth: ``kind``, ``rate_hz``, ``swapped``.
    """

    rate_hz: float
    speed_rpm: np.ndarray
    theta: np.ndarray
    housing_g: np.ndarray
    pickup_v: np.ndarray
    vector: Callable[[np.ndarray], np.ndarray]
    kind: str
    duty: float
    test_speed_rpm: float
    declared: dict = field(default_factory=dict)

    @property
    def time_s(self):
        return np.arange(self.theta.size) / self.rate_hz

    @property
    def share(self):
        """Speed as a share of test speed."""
        return self.speed_rpm / self.test_speed_rpm

    def peak_g(self):
        """Return the highest true vibration over the range of the limit."""
        return float(np.abs(self.vector(np.linspace(0.15, 1.0, 600) * self.test_speed_rpm)).max())

    def as_recording(self):
        """Return it as the program would be handed it."""
        volts = [self.housing_g * SENSITIVITY_V_PER_G, self.pickup_v]
        if self.declared.get("swapped"):
            volts.reverse()
        top = 1.0 - 2.0**-23
        data = np.clip(np.stack(volts, axis=1) / FULL_SCALE_V, -1.0, top).astype(np.float32)
        reference = ReferenceSettings(kind=self.declared.get("kind", self.kind))
        channels = (
            Channel("housing", "acceleration", "V", FULL_SCALE_V, (100.0, "mV/g")),
            Channel("pickup", "phase", "V", FULL_SCALE_V, reference=reference),
        )
        rate = self.declared.get("rate_hz", self.rate_hz)
        return from_array(
            data, channels=channels, sample_rate_hz=rate, rotation="clockwise", rig="rig"
        )
