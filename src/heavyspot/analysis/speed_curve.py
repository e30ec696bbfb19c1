"""What one sensor showed over speed in one pass: the once-per-turn vector and what goes with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..quantities.arrays import Array
from ..quantities.content import ByContent
from ..signal.curve import Curve
from .frames import Framed, table_html

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Real = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class SpeedCurve(ByContent, Framed):
    """One sensor's curve, each array of shape (n,); iterable as (speed_rpm, amplitude, angle_deg).

    Attributes
    ----------
    sensor : str
    direction : "up" or "down"
    speed_rpm : ndarray
        Ascending.
    vector : ndarray, complex128
        Once-per-turn vector, g zero-to-peak; its angle is on the rotor, from the mark, against rotation.
    amplitude : ndarray
        Its amplitude, g.
    angle_deg : ndarray
        Its angle, degrees in [0, 360); nan where angles are not known.
    noise : ndarray
        Standard uncertainty of the amplitude, g.
    overall, twice, thrice, half : ndarray
        Rms of the whole band; amplitudes at 2, 3 and 1/2 times the turning frequency, g.
    time_s : ndarray
        When each speed was reached; nan in a table.
    simulated : bool
        Whether it is no measurement.
    """

    _index = "speed_rpm"

    sensor: str
    direction: str
    speed_rpm: Real
    vector: NDArray[np.complex128]
    amplitude: Real
    angle_deg: Real
    noise: Real
    overall: Real
    twice: Real
    thrice: Real
    half: Real
    time_s: Real
    simulated: bool = False

    @property
    def highest(self) -> float:
        """The highest amplitude, g."""
        return float(self.amplitude.max())

    @property
    def highest_at_rpm(self) -> float:
        """The speed of the highest amplitude, rpm."""
        return float(self.speed_rpm[int(self.amplitude.argmax())])

    def __len__(self) -> int:
        return self.speed_rpm.size

    def __iter__(self) -> Any:
        return iter(
            zip(
                self.speed_rpm.tolist(),
                self.amplitude.tolist(),
                self.angle_deg.tolist(),
                strict=True,
            )
        )

    def columns(self) -> Mapping[str, Array]:
        """Return the columns of a frame."""
        return {
            "speed_rpm": self.speed_rpm, "amplitude_g": self.amplitude, "angle_deg": self.angle_deg,
            "noise_g": self.noise, "overall_g": self.overall, "twice_g": self.twice, "thrice_g": self.thrice,
            "half_g": self.half, "time_s": self.time_s,
        }  # fmt: skip

    def plot(self, ax: Axes | None = None, **line: Any) -> Axes:
        """Draw amplitude over speed; returns the axes.

        Parameters
        ----------
        ax : matplotlib Axes, optional
            To draw on; a new one otherwise.
        **line
            As `Axes.plot` takes them.

        Raises
        ------
        NotInstalled
            matplotlib is not there (``heavyspot[plot]``).
        """
        from .pictures import draw_curve

        return draw_curve(self, ax, line)

    def __repr__(self) -> str:
        made_up = ", simulated" if self.simulated else ""
        return (
            f"<{self.sensor or 'curve'} {self.direction}: {len(self)} speeds to {self.speed_rpm[-1]:,.0f} rpm, "
            f"highest {self.highest:.3g} g at {self.highest_at_rpm:,.0f} rpm{made_up}>"
        )

    def _repr_html_(self) -> str:
        from html import escape

        return f"<p>{escape(repr(self)[1:-1])}</p>{table_html(self.columns())}"


def curve_of(curve: Curve, place: int, sensor: str, *, simulated: bool = False) -> SpeedCurve:
    """Return what one channel of a curve showed."""
    return SpeedCurve(
        sensor, curve.direction, curve.speed_rpm, curve.vector[place], curve.amplitude[place],
        curve.angle_deg(place), curve.noise[place], curve.overall_rms[place], curve.twice[place],
        curve.thrice[place], curve.half[place], curve.time_s, simulated,
    )  # fmt: skip
