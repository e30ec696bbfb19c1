"""What a cut takes off: volume and centre radius against depth for the usual cuts, and back.

Depth is measured radially (or axially for the back face) from the surface at the middle of the
cut. All lengths mm, volumes mm³. A cut's unbalance is mass times the radius of its centre of mass.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from ..quantities.checks import not_negative, positive
from ..quantities.errors import BadInput
from ..quantities.said import Said

DENSITY_G_CM3 = {
    # source beside each; check against the maker's data
    "steel": 7.85,  # low-alloy steel, from memory
    "inconel 713c": 7.91,  # from memory
    "titanium 6al-4v": 4.43,  # glossary of a titanium trader
    "titanium aluminide": 3.97,  # 48-2-2, from memory; 3.9 to 4.2 with the alloy
    "aluminium 2618": 2.76,  # from memory
    "aluminium c355": 2.71,  # from memory
}
"""Densities by material, g/cm³."""


def density_of(material: str, stated: float | None = None) -> float:
    """Return a material's density, g/cm³: the stated one, else the list's.

    Raises
    ------
    ValueError
        Nothing is stated and the material is not on the list.
    """
    if stated is not None:
        return stated
    if material.lower() not in DENSITY_G_CM3:
        raise ValueError(
            f"material {material!r} is not known ({', '.join(DENSITY_G_CM3)}); give density_g_cm3"
        )
    return DENSITY_G_CM3[material.lower()]


Kind = Literal["flat", "hex_flat", "ball", "drill", "scallop"]
KINDS: tuple[Kind, ...] = ("flat", "hex_flat", "ball", "drill", "scallop")


@dataclass(frozen=True)
class Cutter:
    """A cut's shape on a plane.

    Attributes
    ----------
    kind : str
        ``flat``: ground flat on a round of `radius_mm`, `width_mm` along the shaft.
        ``hex_flat``: the same on a hexagon whose corners lie at `radius_mm`; the cut is centred on a corner
        or turned from it by the angle given.
        ``ball``: ball-nose notch plunged radially into a round of `radius_mm`, `tool_mm` ball diameter.
        ``drill``: hole drilled radially, `tool_mm` diameter, `tip_deg` point angle.
        ``scallop``: on a back face at mean radius `radius_mm`, `width_mm` radially, by a wheel or
        cutter of `tool_mm` diameter that sinks axially.
    radius_mm : float
        Outer radius of the plane, or mean radius for a scallop.
    density_g_cm3 : float
    """

    kind: Kind
    radius_mm: float
    density_g_cm3: float
    width_mm: float = 5.0
    tool_mm: float = 6.0
    tip_deg: float = 118.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise BadInput(
                Said("refusal.cutter_is", {"kind": repr(self.kind)}),
                remedy=Said("remedy.known", {"known": ", ".join(KINDS)}),
            )
        for name in ("radius_mm", "density_g_cm3", "width_mm", "tool_mm"):
            positive(name, getattr(self, name))
        if not 30 <= self.tip_deg <= 180:
            raise BadInput(
                Said("refusal.tip_deg_is", {"tip_deg": self.tip_deg}),
                remedy=Said("remedy.give_to_degrees"),
            )

    @property
    def deepest_mm(self) -> float:
        """The depth at which the shape stops making sense."""
        if self.kind == "hex_flat":
            return 0.5 * self.radius_mm
        if self.kind == "scallop":
            return 0.5 * self.tool_mm
        if self.kind == "ball":
            return min(0.5 * self.tool_mm, self.radius_mm)
        return self.radius_mm

    def removed(self, depth_mm: float, corner_offset_deg: float = 0.0) -> Removed:
        """Return what a cut of that depth takes off.

        Parameters
        ----------
        depth_mm : float
            0 to `deepest_mm`.
        corner_offset_deg : float
            ``hex_flat`` only: angle of the cut from the nearest corner, -30 to 30.
        """
        depth = not_negative("depth_mm", depth_mm)
        if depth > self.deepest_mm * (1 + 1e-9):
            raise BadInput(
                Said("refusal.a_depth_of_mm_is", {"depth": depth, "deepest_mm": self.deepest_mm}),
                remedy=Said("remedy.spread_the_removal_over_more"),
            )
        if depth == 0:
            return Removed(0.0, self.radius_mm, self.density_g_cm3)
        if self.kind == "flat":
            area, radius = segment(self.radius_mm, depth)
            volume = area * self.width_mm
        elif self.kind == "hex_flat":
            area, radius = hexagon_segment(self.radius_mm, depth, corner_offset_deg)
            volume = area * self.width_mm
        elif self.kind == "ball":
            volume, radius = ball_notch(self.radius_mm, 0.5 * self.tool_mm, depth)
        elif self.kind == "drill":
            volume, inward = drilled_hole(self.tool_mm, depth, self.tip_deg)
            radius = self.radius_mm - inward
        else:
            area, _ = segment(0.5 * self.tool_mm, depth)
            volume, radius = area * self.width_mm, self.radius_mm
        return Removed(volume, radius, self.density_g_cm3)

    def depth_for(self, unbalance_gmm: float, corner_offset_deg: float = 0.0) -> float:
        """Return the depth, mm, that takes off that unbalance; raises `BadInput` when too deep."""
        wanted = not_negative("unbalance_gmm", unbalance_gmm)
        most = self.largest_unbalance(corner_offset_deg)
        if wanted > most * (1 + 1e-9):
            raise BadInput(
                Said("refusal.g_mm_is_more_than", {"wanted": wanted, "most": most}),
                remedy=Said("remedy.spread_the_removal_over_more"),
            )
        grid = _unbalances(self, corner_offset_deg, self.deepest_mm)
        return _inverse(
            lambda d: self.removed(d, corner_offset_deg).unbalance_gmm,
            wanted,
            self.deepest_mm,
            grid,
        )

    def depth_for_mass(self, mass_mg: float, corner_offset_deg: float = 0.0) -> float:
        """Return the depth, mm, that takes off that mass."""
        wanted = not_negative("mass_mg", mass_mg)
        if wanted > self.removed(self.deepest_mm, corner_offset_deg).mass_mg:
            raise BadInput(
                Said("refusal.mg_is_more_than_one", {"wanted": wanted}),
                remedy=Said("remedy.use_more_cuts"),
            )
        grid = [self.removed(d, corner_offset_deg).mass_mg for d in _depths(self.deepest_mm)]
        return _inverse(
            lambda d: self.removed(d, corner_offset_deg).mass_mg, wanted, self.deepest_mm, grid
        )

    def largest_unbalance(
        self, corner_offset_deg: float = 0.0, depth_mm: float | None = None
    ) -> float:
        """Return the largest unbalance one cut takes off up to `depth_mm`, g·mm.

        Unbalance first grows with depth; near the axis the centre radius falls faster, and deeper
        is not more.
        """
        deepest = self.deepest_mm if depth_mm is None else min(depth_mm, self.deepest_mm)
        return max(_unbalances(self, corner_offset_deg, deepest))


def _depths(deepest_mm: float) -> list[float]:
    """Return the depths at which a cut is looked at before it is solved for, 0 to the deepest."""
    return [min(i * deepest_mm / 40, deepest_mm) for i in range(41)]


@lru_cache(maxsize=4096)
def _unbalances(cutter: Cutter, corner_offset_deg: float, deepest_mm: float) -> tuple[float, ...]:
    """Return the unbalance at `_depths`; kept, because every candidate of an advice asks for the same few."""
    return tuple(cutter.removed(d, corner_offset_deg).unbalance_gmm for d in _depths(deepest_mm))


@dataclass(frozen=True)
class Removed:
    """What a cut takes off."""

    volume_mm3: float
    radius_mm: float
    density_g_cm3: float

    @property
    def mass_mg(self) -> float:
        """Mass, mg (1 mm³ of 1 g/cm³ is 1 mg)."""
        return self.volume_mm3 * self.density_g_cm3

    @property
    def unbalance_gmm(self) -> float:
        """Mass times radius, g·mm."""
        return self.mass_mg * 1e-3 * self.radius_mm


def segment(radius: float, depth: float) -> tuple[float, float]:
    """Return area and centroid radius of a circular segment of that height.

    ``A = R² acos(1 - h/R) - (R - h) sqrt(2 R h - h²)``; centroid ``chord³ / (12 A)``.
    """
    inner = radius - depth
    chord = 2 * math.sqrt(max(2 * radius * depth - depth * depth, 0.0))
    area = radius * radius * math.acos(max(-1.0, inner / radius)) - inner * chord / 2
    if area <= 1e-9 * radius * radius:  # thin: A = 2/3 chord h, centroid 2/5 h below the crown
        return 2 / 3 * chord * depth, radius - 0.4 * depth
    return area, chord**3 / (12 * area)


def hexagon_segment(corner_radius: float, depth: float, offset_deg: float) -> tuple[float, float]:
    """Return area and centroid distance (along the cut) of a hexagon cut square to a direction.

    Parameters
    ----------
    offset_deg : float
        Direction of the cut from a corner; the depth starts at the outermost point there.
    """
    corners = corner_radius * np.exp(1j * (np.arange(6) * np.pi / 3 - math.radians(offset_deg)))
    level = float(corners.real.max()) - depth
    polygon: list[complex] = []
    for a, b in zip(corners, np.roll(corners, -1), strict=True):
        if a.real >= level:
            polygon.append(complex(a))
        if (a.real >= level) != (b.real >= level):
            polygon.append(complex(a + (b - a) * (level - a.real) / (b.real - a.real)))
    area = first = 0.0
    for p, q in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        cross = p.real * q.imag - q.real * p.imag
        area += cross / 2
        first += (p.real + q.real) * cross / 6
    return area, first / area if area > 0 else corner_radius


def drilled_hole(drill: float, depth: float, tip_deg: float) -> tuple[float, float]:
    """Return volume and depth of the centre of mass of a hole; `depth` is that of the point.

    A cone of the tip's angle, then a cylinder; the surface is taken as flat across the hole.
    """
    tip = 0.5 * drill / math.tan(math.radians(tip_deg) / 2)
    if depth <= tip:
        radius = 0.5 * drill * depth / tip
        return math.pi * radius**2 * depth / 3, depth / 4
    straight = depth - tip
    cylinder = math.pi * (0.5 * drill) ** 2 * straight
    cone = math.pi * (0.5 * drill) ** 2 * tip / 3
    return cylinder + cone, (cylinder * straight / 2 + cone * (straight + tip / 4)) / (
        cylinder + cone
    )


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


def ball_notch(radius: float, ball: float, depth: float) -> tuple[float, float]:
    """Return volume and centre radius of a ball of radius `ball` sunk `depth` into a round.

    Exact but for the quadrature: each slice across the shaft is the lens of two circles, in closed
    form; the slices are summed by Gauss-Legendre in ``z = a sin t``, which is smooth at the ends.
    """
    distance = radius + ball - depth
    # the ball's slice at z is a circle of radius sqrt(ball² - z²); it touches while that >= ball - depth
    reach = math.sqrt(max(ball**2 - (ball - depth) ** 2, 0.0))
    t = 0.5 * np.pi * _NODES
    z = reach * np.sin(t)
    slice_radius = np.sqrt(np.maximum(ball**2 - z**2, 0.0))
    area = np.empty(z.size)
    moment = np.empty(z.size)
    for i, r in enumerate(slice_radius):
        area[i], moment[i] = _lens(radius, float(r), distance)
    weight = _WEIGHTS * 0.5 * np.pi * reach * np.cos(t)
    volume = float((area * weight).sum())
    return volume, float((moment * weight).sum()) / volume if volume > 0 else radius


def _lens(big: float, small: float, distance: float) -> tuple[float, float]:
    """Return area and first moment (from the big circle's centre) of two circles' overlap."""
    x = (distance**2 + big**2 - small**2) / (2 * distance)
    half2 = big**2 - x**2
    if half2 <= 0:
        return 0.0, 0.0
    half = math.sqrt(half2)
    big_area = big**2 * math.atan2(half, x) - x * half
    to_small = distance - x
    small_area = small**2 * math.atan2(half, to_small) - to_small * half
    cap = 2 / 3 * half**3
    return big_area + small_area, cap + (distance * small_area - cap)


def _inverse(
    function: Callable[[float], float], wanted: float, deepest: float, grid: Sequence[float]
) -> float:
    """Return the smallest depth at which the rising function reaches `wanted`; its values at `_depths` are given.

    False position with the stalled end halved (Illinois; Dowell & Jarratt, BIT 11, 1971): a cut is a smooth
    function of its depth, and an advice asks for hundreds of depths.
    """
    if wanted == 0:
        return 0.0
    depths = _depths(deepest)
    # the first step that reaches it, so that the rising branch is taken
    first = next((i for i, value in enumerate(grid) if value >= wanted), 0)
    if first == 0:  # no step does: it is the top itself, between two steps
        return depths[max(range(41), key=lambda i: grid[i])]
    low, high = depths[first - 1], depths[first]
    below, above = grid[first - 1] - wanted, grid[first] - wanted
    for _ in range(60):
        if above <= 0 or high - low <= 1e-14 * deepest:
            return high
        depth = high - above * (high - low) / (above - below)
        over = function(depth) - wanted
        if abs(over) <= 1e-11 * wanted:
            return depth
        if over < 0:
            low, below, above = depth, over, 0.5 * above
        else:
            high, above, below = depth, over, 0.5 * below
    return 0.5 * (low + high)
