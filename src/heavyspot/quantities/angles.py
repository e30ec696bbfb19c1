"""Angles on the rotor, and the clock.

The one convention, everywhere: angles are on the rotor, degrees in [0, 360), from the mark, seen
from the compressor nut, **increasing against rotation**. A signal ``a cos(theta - phi)``, with
``theta`` the turn angle since the mark passed, has the vector ``a exp(j phi)``: the phase lag
``phi`` reads directly as an angle on the rotor, because the point that far behind the mark passes
that much later.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import BadInput

Rotation = Literal["clockwise", "counterclockwise"]
ROTATIONS: tuple[Rotation, ...] = ("clockwise", "counterclockwise")


def rotation_from(value: object) -> Rotation:
    """Return `value` as a direction of rotation seen from the nut, or raise `BadInput`."""
    for known in ROTATIONS:
        if value == known:
            return known
    raise BadInput(
        f"rotation is {value!r}.",
        remedy='Give "clockwise" or "counterclockwise", seen from the compressor nut.',
    )


def wrap_deg(angle_deg: float) -> float:
    """Return the angle in [0, 360).

    >>> wrap_deg(-30.0), wrap_deg(360.0)
    (330.0, 0.0)
    """
    wrapped = float(angle_deg) % 360.0
    return 0.0 if wrapped >= 360.0 else wrapped


def difference_deg(a_deg: float, b_deg: float) -> float:
    """Return ``a - b`` in (-180, 180].

    >>> difference_deg(10.0, 350.0)
    20.0
    """
    d = (float(a_deg) - float(b_deg)) % 360.0
    return d - 360.0 if d > 180.0 else d


def phasor(amount: ArrayLike, angle_deg: ArrayLike) -> NDArray[np.complex128]:
    """Return ``amount * exp(j angle)``; arrays broadcast."""
    return np.asarray(amount, dtype=float) * np.exp(1j * np.deg2rad(np.asarray(angle_deg, float)))


def angle_of(vector: ArrayLike) -> NDArray[np.float64]:
    """Return the angle of complex vectors, degrees in [0, 360)."""
    degrees = np.rad2deg(np.angle(np.asarray(vector))) % 360.0
    return np.asarray(np.where(degrees >= 360.0, 0.0, degrees), dtype=np.float64)


def clock_hour(angle_deg: float, rotation: Rotation) -> float:
    """Return the hour in (0, 12] of a rotor angle, the mark held at 12 o'clock, seen from the nut.

    Angles grow against rotation, so on a clockwise rotor 30 degrees is 11 o'clock.

    >>> clock_hour(30.0, "clockwise"), clock_hour(30.0, "counterclockwise")
    (11.0, 1.0)
    """
    turn = -angle_deg if rotation == "clockwise" else angle_deg
    hour = (turn / 30.0) % 12.0
    return 12.0 if hour == 0 else hour


def clock_text(angle_deg: float, rotation: Rotation) -> str:
    """Return the clock hour as ``h:mm`` to the nearest five minutes (2.5 degrees).

    >>> clock_text(0.0, "clockwise"), clock_text(255.0, "clockwise")
    ('12:00', '3:30')
    """
    five = round(clock_hour(angle_deg, rotation) * 12) % 144
    hour, minutes = divmod(five * 5, 60)
    return f"{hour or 12}:{minutes:02d}"


def angle_from_clock(hour: float, rotation: Rotation) -> float:
    """Return the rotor angle of a clock hour, the mark at 12 (inverse of `clock_hour`).

    >>> angle_from_clock(11.0, "clockwise")
    30.0
    """
    return wrap_deg(-30.0 * hour if rotation == "clockwise" else 30.0 * hour)


def other_way(rotation: Rotation) -> Rotation:
    """Return the direction as it is seen from the other end of the shaft.

    >>> other_way("clockwise")
    'counterclockwise'
    """
    return "counterclockwise" if rotation == "clockwise" else "clockwise"
