"""Angles on the rotor: the sign of a lag, the ends of the circle, the hours of a clock."""

import cmath
import math

import numpy as np
import pytest

from heavyspot.quantities.angles import (
    angle_from_clock,
    angle_of,
    clock_hour,
    clock_text,
    difference_deg,
    phasor,
    rotation_from,
    wrap_deg,
)
from heavyspot.quantities.errors import BadInput


def test_a_phasor_lies_on_its_own_side_of_the_circle():
    """Right-angled triangles 3, 4, 5 and 5, 12, 13: no rotation and no mirror keeps all of them."""
    four_thirds = math.degrees(math.atan2(4, 3))
    assert phasor(5, four_thirds) == pytest.approx(3 + 4j)
    assert phasor(13, -math.degrees(math.atan2(12, 5))) == pytest.approx(5 - 12j)
    assert phasor([1, 2], [90.0, 180.0]) == pytest.approx(np.array([1j, -2]))
    assert phasor(2, [0.0, 90.0]) == pytest.approx(np.array([2, 2j]))


def test_a_lag_reads_as_its_angle():
    """``a cos(theta - phi)``, demodulated by sums over one turn as its definition says, is the phasor of phi."""
    n, amount, lag = 360, 0.7, 75.0
    theta = [math.tau * k / n for k in range(n)]
    signal = [amount * math.cos(t - math.radians(lag)) for t in theta]
    in_phase = 2 / n * sum(x * math.cos(t) for x, t in zip(signal, theta, strict=True))
    behind = 2 / n * sum(x * math.sin(t) for x, t in zip(signal, theta, strict=True))
    assert phasor(amount, lag) == pytest.approx(complex(in_phase, behind))
    assert angle_of(complex(in_phase, behind)) == pytest.approx(lag)


def test_angle_of_is_the_phase_in_one_turn():
    vectors = [1 + 1j, -1 + 1j, -1 - 1j, 1 - 1j, 3]
    assert angle_of(vectors) == pytest.approx([45, 135, 225, 315, 0])
    assert angle_of(np.array(vectors, np.complex64)).dtype == np.float64
    # so little below zero that the remainder rounds to a whole turn
    assert angle_of(cmath.rect(1.0, -1e-17)) == 0.0


@pytest.mark.parametrize(
    ("angle", "wrapped"), [(-30, 330), (0, 0), (359.5, 359.5), (360, 0), (725, 5), (-1e-15, 0)]
)
def test_wrapping(angle, wrapped):
    assert wrap_deg(angle) == wrapped


@pytest.mark.parametrize(
    ("a", "b", "between"),
    [(10, 350, 20), (350, 10, -20), (180, 0, 180), (0, 180, 180), (181, 0, -179), (90, 90, 0)],
)
def test_differences_take_the_short_way(a, b, between):
    assert difference_deg(a, b) == between


def test_hours_of_the_clock():
    """Twelve hours of 30 degrees; angles grow against rotation, seen from the nut."""
    for hour in range(1, 12):
        assert clock_hour(30.0 * hour, "counterclockwise") == hour
        assert clock_hour(360.0 - 30.0 * hour, "clockwise") == hour
        assert angle_from_clock(hour, "counterclockwise") == 30.0 * hour
        assert angle_from_clock(hour, "clockwise") == 360.0 - 30.0 * hour
    for rotation in ("clockwise", "counterclockwise"):
        assert clock_hour(0.0, rotation) == clock_hour(360.0, rotation) == 12.0
        assert angle_from_clock(12, rotation) == 0.0


def test_the_clock_is_said_to_five_minutes():
    """One degree is two minutes of the hour hand."""
    said = {
        0: "12:00",
        1.2: "12:00",
        1.3: "12:05",
        15: "12:30",
        45: "1:30",
        359: "12:00",
        357.5: "11:55",
    }
    for angle, text in said.items():
        assert clock_text(angle, "counterclockwise") == text
        assert clock_text(-angle, "clockwise") == text


def test_a_rotation_is_one_of_two_words():
    assert [rotation_from(w) for w in ("clockwise", "counterclockwise")] == [
        "clockwise",
        "counterclockwise",
    ]
    for other in ("Clockwise", "cw", "", None, 1):
        with pytest.raises(BadInput, match=r"^rotation is") as refused:
            rotation_from(other)
        assert "counterclockwise" in refused.value.remedy
