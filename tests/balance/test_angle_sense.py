"""Which way a rig counts: closed form, mirror and turn."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from heavyspot import BadInput
from heavyspot.balance.angle_sense import (
    as_ours,
    sense_from_moved_mark,
    sense_from_two_cuts,
)
from heavyspot.quantities.angles import phasor

TRUE = phasor([0.1, 0.3, 0.6, 0.4], [20.0, 50.0, 110.0, 170.0])
RESPONSE = phasor([0.02, 0.05, 0.11, 0.07], [15.0, 40.0, 100.0, 160.0])
senses = st.sampled_from(["against", "with"])
angles = st.floats(0, 360)


def shown(vectors, sense, zero_deg):
    """Return what a rig shows of true vectors: the inverse of `as_ours`, written out on complex numbers."""
    turned = np.asarray(vectors) * np.exp(-1j * np.deg2rad(zero_deg))
    return turned if sense == "against" else np.conj(turned)


def moved(vectors, by_deg):
    """Return the vectors from a mark that was moved against rotation."""
    return np.asarray(vectors) * np.exp(-1j * np.deg2rad(by_deg))


def test_closed_form_of_a_mark_moved_by_90_degrees():
    # by hand: a rig that counts with rotation from 0 shows 360 - 20; the mark moved by 90 leaves 360 - (20 - 90)
    before, after = phasor([1.0], [340.0]), phasor([1.0], [70.0])
    found = sense_from_moved_mark(before, after, 90.0, uncertainty_deg=4.0)
    assert found.sense == "with"
    assert found.turned_deg == pytest.approx(90.0)
    same = sense_from_moved_mark(
        phasor([1.0], [20.0]), phasor([1.0], [290.0]), 90.0, uncertainty_deg=4.0
    )
    assert same.sense == "against"


@given(sense=senses, zero=angles, by=st.floats(-179, 179))
def test_any_mirror_and_any_zero_are_found(sense, zero, by):
    assume(30 <= abs(by) <= 150)
    before, after = shown(TRUE, sense, zero), shown(moved(TRUE, by), sense, zero)
    assert sense_from_moved_mark(before, after, by, uncertainty_deg=5.0).sense == sense
    # the mirrored rig shows the mirrored turn
    other = sense_from_moved_mark(np.conj(before), np.conj(after), by, uncertainty_deg=5.0)
    assert other.sense != sense


@given(sense=senses, zero=angles, first=angles, by=st.floats(30, 150), turn=angles)
def test_two_cuts_tell_it_too_wherever_the_piece_s_own_unbalance_is(sense, zero, first, by, turn):
    cuts = complex(phasor(2.0, first)), complex(phasor(3.0, first + by))
    v0 = TRUE * np.exp(1j * np.deg2rad(turn))
    runs = [v0, v0 - RESPONSE * cuts[0], v0 - RESPONSE * (cuts[0] + cuts[1])]
    told = sense_from_two_cuts([shown(v, sense, zero) for v in runs], cuts, uncertainty_deg=5.0)
    assert told.sense == sense


@given(sense=senses, zero=angles, angle=angles)
def test_what_a_rig_shows_becomes_ours(sense, zero, angle):
    read = np.rad2deg(np.angle(shown(phasor([1.0], [angle]), sense, zero)))
    off = as_ours(read, sense, zero) - angle
    assert abs((off[0] + 180) % 360 - 180) < 1e-6


@pytest.mark.parametrize("by", [0.0, 5.0, 178.0, 180.0, -175.0, 360.0])
def test_a_turn_that_looks_alike_both_ways_is_refused(by):
    with pytest.raises(BadInput, match="do not tell one way"):
        sense_from_moved_mark(TRUE, moved(TRUE, by), by, uncertainty_deg=4.0)


def test_what_is_neither_way_is_refused():
    with pytest.raises(BadInput, match="either way were to be seen"):
        sense_from_moved_mark(TRUE, moved(TRUE, 200.0), 90.0, uncertainty_deg=4.0)
    with pytest.raises(BadInput, match="something else changed"):
        sense_from_moved_mark(TRUE, TRUE[::-1] * [1, -1, 1, -1], 90.0, uncertainty_deg=4.0)
    with pytest.raises(BadInput, match="same speeds"):
        sense_from_moved_mark(TRUE, TRUE[:2], 90.0, uncertainty_deg=4.0)
    with pytest.raises(BadInput, match="three runs"):
        sense_from_two_cuts([TRUE, TRUE], (1 + 0j, 1j), uncertainty_deg=4.0)
