"""Cut volumes: closed forms, handbook numbers, brute numeric integration, and back again."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.balance.geometry import (
    DENSITY_G_CM3,
    KINDS,
    Cutter,
    ball_notch,
    drilled_hole,
    hexagon_segment,
    segment,
)
from heavyspot.balance.plane import Plane
from heavyspot.quantities.errors import BadInput


def test_flat_on_a_round(case):
    # Source: circular-segment formulas (case geo_segment)
    c = case("geo_segment")
    i, e = c["inputs"], c["expected"]
    area, radius = segment(i["R"], i["h"])
    assert area == pytest.approx(e["area"], rel=1e-4)
    assert radius == pytest.approx(e["centroid_radius"], rel=1e-5)
    removed = Cutter("flat", i["R"], i["rho_g_cm3"], i["width"]).removed(i["h"])
    assert removed.mass_mg == pytest.approx(1e3 * e["mass_g"], rel=1e-4)
    assert removed.unbalance_gmm == pytest.approx(e["unbalance_gmm"], rel=1e-4)


def test_drilled_hole(case):
    # Source: closed form (case drill): 3 mm of full diameter, then the cone
    c = case("drill")
    i, e = c["inputs"], c["expected"]
    tip = 0.5 * i["drill_mm"] / math.tan(math.radians(i["tip_deg"] / 2))
    volume, _ = drilled_hole(i["drill_mm"], i["full_depth_mm"] + tip, i["tip_deg"])
    assert volume == pytest.approx(e["volume_mm3"], rel=1e-12)
    cone, at = drilled_hole(i["drill_mm"], tip, i["tip_deg"])
    assert cone == pytest.approx(e["tip_volume_mm3"], rel=1e-12)
    assert at == pytest.approx(tip / 4, rel=1e-12)  # centroid of a cone from its base


def test_ball_on_a_plane_is_a_spherical_cap(case):
    # Source: V = pi h² (3 R - h) / 3 (case geo_cap); a huge round is a plane
    c = case("geo_cap")
    i, e = c["inputs"], c["expected"]
    volume, _ = ball_notch(1e5, i["R"], i["h"])
    assert volume == pytest.approx(e["V"], rel=1e-4)


def test_ball_notch_against_numeric_integration():
    big, ball, depth = 6.0, 3.0, 1.2
    x = np.linspace(big - depth, big, 401)
    y = np.linspace(-3, 3, 401)
    z = np.linspace(-3, 3, 201)
    X, Y, Z = np.meshgrid(x, y, z, indexing="ij")
    inside = (big**2 > X**2 + Y**2) & ((X - big - ball + depth) ** 2 + Y**2 + Z**2 < ball**2)
    cell = (x[1] - x[0]) * (y[1] - y[0]) * (z[1] - z[0])
    volume, radius = ball_notch(big, ball, depth)
    assert volume == pytest.approx(inside.sum() * cell, rel=5e-3)
    assert radius == pytest.approx(X[inside].mean(), rel=1e-3)


@pytest.mark.parametrize("offset", [-30, -12, 0, 7, 30])
def test_hexagon_against_numeric_integration(offset):
    corner, depth = 6.0, 0.8
    corners = corner * np.exp(1j * (np.arange(6) * np.pi / 3 - math.radians(offset)))
    g = np.linspace(-6, 6, 2401)
    X, Y = np.meshgrid(g, g)
    apothem = corner * math.cos(math.pi / 6)
    inside = np.ones(X.shape, bool)
    for k in range(6):
        normal = np.exp(1j * (k * np.pi / 3 + np.pi / 6 - math.radians(offset)))
        inside &= X * normal.real + Y * normal.imag <= apothem
    inside &= corners.real.max() - depth <= X
    area, centre = hexagon_segment(corner, depth, offset)
    assert area == pytest.approx(inside.sum() * (g[1] - g[0]) ** 2, rel=2e-2)
    assert centre == pytest.approx(X[inside].mean(), rel=5e-3)


def test_on_a_flat_a_hexagon_gives_the_textbook_trapezoid():
    # square to a flat: two 60-degree corners, area = h (side + h / sqrt 3)
    area, _ = hexagon_segment(6.0, 0.5, 30.0)
    assert area == pytest.approx(0.5 * (6.0 + 0.5 / math.sqrt(3)), rel=1e-9)


def test_densities(case):
    # Sources: see the case; Ti and Friswell's steel were seen, the rest are from memory
    e = case("geo_densities")["expected"]
    assert DENSITY_G_CM3["titanium 6al-4v"] == e["Ti6Al4V"]
    assert DENSITY_G_CM3["steel"] == e["steel_low_alloy"]
    assert DENSITY_G_CM3["inconel 713c"] == e["Inconel_713C"]


@settings(max_examples=60)
@given(
    kind=st.sampled_from(KINDS),
    share=st.floats(0.02, 0.6),
    radius=st.floats(3, 20),
    offset=st.floats(-30, 30),
)
def test_depth_is_the_inverse(kind, share, radius, offset):
    cutter = Cutter(kind, radius, 7.85, 0.8 * radius, 0.5 * radius)
    depth = share * min(cutter.deepest_mm, 0.3 * radius)
    removed = cutter.removed(depth, offset)
    assert cutter.depth_for(removed.unbalance_gmm, offset) == pytest.approx(depth, rel=1e-6)
    assert cutter.depth_for_mass(removed.mass_mg, offset) == pytest.approx(depth, rel=1e-6)
    assert 0 < removed.radius_mm <= radius + 1e-9
    deeper = cutter.removed(depth * 1.05, offset)
    assert deeper.mass_mg > removed.mass_mg


def test_too_deep_and_impossible_are_refused():
    cutter = Cutter("flat", 5, 7.85, 5)
    with pytest.raises(BadInput, match="more than this cut allows"):
        cutter.removed(6)
    with pytest.raises(BadInput, match="more than one such cut"):
        cutter.depth_for(1e3)
    with pytest.raises(BadInput, match="not be negative"):
        cutter.removed(-0.1)
    with pytest.raises(BadInput, match="cutter is"):
        Cutter("laser", 5, 7.85)  # type: ignore[arg-type]  # what is not a cutter is refused
    with pytest.raises(BadInput, match="radius_mm"):
        Cutter("flat", 0, 7.85)


@pytest.mark.parametrize("sector", [(0.0, 360.0), (-180.0, 180.0), (90.0, 450.0), (10.0, 380.0)])
def test_a_sector_of_a_whole_turn_allows_every_angle(sector):
    """From 0 to 360 was taken as from 0 to 0: every cut went to the mark."""
    body = Plane("nut", Cutter("flat", 6.0, 7.85), 0.9, 900.0, allowed_deg=(sector,))
    assert body.angles().size == 72


def test_a_sector_over_the_mark_is_that_sector():
    body = Plane("nut", Cutter("flat", 6.0, 7.85), 0.9, 900.0, allowed_deg=((350.0, 10.0),))
    assert body.angles().tolist() == [0.0, 5.0, 10.0, 350.0, 355.0]
