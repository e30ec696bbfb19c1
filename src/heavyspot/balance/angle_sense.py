"""How a rig by others counts angles: which way, and where its zero is, told by moving something by a known angle.

Ours grow against rotation from the mark. A rig shows ``a = s phi + z`` of our angle ``phi``: ``s`` is 1 where it
counts against rotation too and -1 where it counts with it, ``z`` wherever its zero is. Turning something by a known
angle turns what is shown by ``s`` times that angle, whatever ``z``: that settles ``s`` (closed form). A wrong
``s`` mirrors every angle, and no cut made by it can come right; a wrong ``z`` turns response and vector alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..quantities.angles import difference_deg
from ..quantities.errors import BadInput

Sense = Literal["against", "with"]

ALIKE = 0.9
"""Two sets of vectors below this are not the same shape turned: something else changed too (ours)."""

SURE = 3.0
"""Standard uncertainties that the right sense may be off; twice as many part it from the wrong one."""


@dataclass(frozen=True)
class SenseFound:
    """What a check says of a rig's angles.

    Attributes
    ----------
    sense : "against" or "with"
        Rotation: the way in which its angles grow.
    turned_deg : float
        By how much what it showed turned.
    expected_deg : float
        By how much it was to turn, counted that way.
    uncertainty_deg : float
        Standard uncertainty of the difference.
    """

    sense: Sense
    turned_deg: float
    expected_deg: float
    uncertainty_deg: float


def as_ours(angle_deg: ArrayLike, sense: Sense, zero_deg: float = 0.0) -> NDArray[np.float64]:
    """Return angles against rotation from the mark.

    Parameters
    ----------
    angle_deg : array_like
        As the rig counts.
    zero_deg : float
        Our angle of its zero.

    >>> as_ours([30.0, 350.0], "with", 10.0).tolist()
    [340.0, 20.0]
    """
    sign = 1.0 if sense == "against" else -1.0
    return np.asarray((zero_deg + sign * np.asarray(angle_deg, float)) % 360.0)


def sense_from_moved_mark(
    before: ArrayLike, after: ArrayLike, moved_deg: float, *, uncertainty_deg: float
) -> SenseFound:
    """Return which way a rig counts, from two runs of one piece between which only the mark was moved.

    Parameters
    ----------
    before, after : array_like, shape (n,), complex
        What it showed at the same speeds, by its own angles.
    moved_deg : float
        By how much the mark was moved on the rotor, against rotation: the piece's angles from it become
        smaller by as much.
    uncertainty_deg : float
        Standard uncertainty of the turn: placing of the mark, and how well two runs repeat.

    Raises
    ------
    BadInput
        The mark was moved by too little, or by about half a turn; or the second run is not the first one turned.
    """
    return _sense(before, after, -moved_deg, uncertainty_deg)


def sense_from_two_cuts(
    runs: ArrayLike, removed: tuple[complex, complex], *, uncertainty_deg: float
) -> SenseFound:
    """Return which way a rig counts, from two trial cuts in one plane at known places, one after the other.

    Each cut's effect is the same response times the cut, so that they differ by the angle between the cuts.

    Parameters
    ----------
    runs : array_like, shape (3, n), complex
        As found, after the first and after the second cut, at the same speeds, by the rig's own angles.
    removed : (complex, complex)
        ``amount * exp(j angle)`` of each cut, g·mm, by our angles.
    uncertainty_deg : float
        Standard uncertainty of the angle between the effects: of the cuts' places, and of the runs.

    Raises
    ------
    BadInput
        The cuts are too near each other or opposite; or their effects are not alike.
    """
    v = np.asarray(runs, complex)
    if v.ndim != 2 or v.shape[0] != 3 or 0 in removed:
        raise BadInput("Two trial cuts need three runs.", remedy="Spin before, between and after.")
    angle = float(np.rad2deg(np.angle(removed[1] / removed[0])))
    return _sense(v[0] - v[1], v[1] - v[2], angle, uncertainty_deg)


def _sense(one: ArrayLike, two: ArrayLike, turn_deg: float, uncertainty_deg: float) -> SenseFound:
    a, b = np.atleast_1d(np.asarray(one, complex)), np.atleast_1d(np.asarray(two, complex))
    if a.shape != b.shape or not a.size:
        raise BadInput("The runs have not the same speeds.", remedy="Give the same speeds in each.")
    apart = abs(difference_deg(turn_deg, -turn_deg))
    if apart < 2 * SURE * uncertainty_deg:
        raise BadInput(
            f"{abs(difference_deg(turn_deg, 0.0)):.0f} degrees do not tell one way from the other.",
            remedy="Turn by about 90 degrees; neither by little nor by half a turn.",
        )
    _refuse_unlike(a, b, "The second run is not the first one turned: something else changed too.")
    seen = float(np.rad2deg(np.angle((np.conj(a) * b).sum())))
    for sense, expected in (("against", turn_deg), ("with", -turn_deg)):
        if abs(difference_deg(seen, expected)) <= SURE * uncertainty_deg:
            return SenseFound(sense, seen, difference_deg(expected, 0.0), uncertainty_deg)  # type: ignore[arg-type]  # one of two words
    raise BadInput(
        f"What the rig shows turned by {seen:.0f} degrees; {abs(turn_deg):.0f} either way were to be seen.",
        remedy="Repeat the check: the mark or the cut was not where it is said to be, or the pickup moved.",
    )


def _refuse_unlike(a: NDArray[np.complex128], b: NDArray[np.complex128], message: str) -> None:
    norms = float(np.sqrt((np.abs(a) ** 2).sum() * (np.abs(b) ** 2).sum()))
    if not norms > 0 or abs((np.conj(a) * b).sum()) < ALIKE * norms:
        raise BadInput(
            message, remedy="Repeat the check with the same piece, warm, and nothing else changed."
        )
