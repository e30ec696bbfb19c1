"""A plane: where material may come off, how, and how much is left to take."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import BadInput
from .geometry import Cutter

ANGLE_STEP_DEG = 5.0


@dataclass(frozen=True)
class Plane:
    """An axial place with its cutter, limits and history.

    Attributes
    ----------
    name : str
    cutter : Cutter
    max_depth_mm : float
        Deepest single cut.
    budget_mg : float
        Material that may come off this plane in all.
    used_mg : float
        What came off already.
    allowed_deg : tuple of (float, float)
        Sectors, from-to against rotation, in which cuts may lie; the whole turn when empty.
    corner_at_deg : float
        Angle of one corner from the mark.
    stated : frozenset of str
        Which of these the shop gave; others are our defaults and the advice says so.
    """

    name: str
    cutter: Cutter
    max_depth_mm: float
    budget_mg: float
    used_mg: float = 0.0
    allowed_deg: tuple[tuple[float, float], ...] = ()
    corner_at_deg: float = 0.0
    stated: frozenset[str] = field(default_factory=frozenset)

    def angles(self) -> NDArray[np.float64]:
        """Return the angles at which a cut may lie, degrees, ascending, every 5 degrees."""
        every = np.arange(0.0, 360.0, ANGLE_STEP_DEG)
        if not self.allowed_deg:
            return every
        inside = np.zeros(every.size, bool)
        for start, stop in self.allowed_deg:
            whole = abs(stop - start) >= 360.0  # 0 to 360 is all of it, not the mark alone
            inside |= whole | ((every - start) % 360.0 <= (stop - start) % 360.0 + 1e-9)
        if not inside.any():
            raise BadInput(
                f'Plane "{self.name}": no angle is allowed.', remedy="Widen the allowed sectors."
            )
        return every[inside]

    def corner_offset_deg(self, angle_deg: float) -> float:
        """Return the angle from the nearest corner of a hexagon; 0 for other cutters."""
        if self.cutter.kind != "hex_flat":
            return 0.0
        return (angle_deg - self.corner_at_deg + 30.0) % 60.0 - 30.0

    def cap_gmm(self, angle_deg: float = 0.0) -> float:
        """Return the most one cut may take off at that angle, g·mm, by depth and what is left."""
        offset = self.corner_offset_deg(angle_deg)
        by_depth = self.cutter.largest_unbalance(offset, self.max_depth_mm)
        return min(by_depth, self.left_gmm)

    @property
    def left_mg(self) -> float:
        """Material still allowed, mg."""
        return max(0.0, self.budget_mg - self.used_mg)

    @property
    def left_gmm(self) -> float:
        """Material still allowed, as unbalance near the surface, g·mm."""
        return self.left_mg * 1e-3 * 0.97 * self.cutter.radius_mm
