"""A simulated recording says how it was made, is the same again, and passes for no other rig's."""

import json

import numpy as np
import pytest

from heavyspot import Workshop, add_model, add_piece, open_recording, spin
from heavyspot.quantities.errors import BadInput
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.demo.simulate import Asked, simulate, simulated

HEAVY = Asked(unit=4, peak_g=1.2)


def samples(recording):
    return np.concatenate([b.data for b in recording.blocks()])


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_what_is_written_is_what_is_read_and_says_how_it_was_made(tmp_path, suffix):
    asked = Asked(unit=4, seed=7, faults=("hum",), cuts=("nut@75=0.10mm",), run_up_s=1.0)
    made = simulate(tmp_path / f"a{suffix}", asked)
    back = open_recording(tmp_path / f"a{suffix}")
    assert np.array_equal(samples(back), samples(made)) and back.notes == ()
    said = json.loads((tmp_path / "a.json").read_text())["simulated"]
    assert said == {
        "model": "Larch 52",
        "unit": 4,
        "seed": 7,
        "faults": ["hum"],
        "cuts": ["nut@75=0.10mm"],
    }
    again = simulate(tmp_path / f"b{suffix}", asked)
    assert np.array_equal(samples(again), samples(made))


def test_a_cut_is_felt_as_it_is_written():
    """A flat of 0.10 mm on 6 mm is 0.041 g·mm (circular segment, by hand); both spellings are one cut."""
    h, r, width, density = 0.10, 6.0, 6.0, 7.85e-3
    half = np.arccos(1 - h / r)
    moment = 2 / 3 * (r * np.sin(half)) ** 3 * width * density
    by_depth = simulated(Asked(unit=4, run_up_s=1.0, cuts=("nut@75=0.10mm",)))
    by_amount = simulated(Asked(unit=4, run_up_s=1.0, cuts=(f"nut@75={moment:.6f}",)))
    assert np.abs(samples(by_depth) - samples(by_amount)).max() <= 2 * 2.0**-23
    assert not np.array_equal(samples(by_depth), samples(simulated(Asked(unit=4, run_up_s=1.0))))
    assert make_cartridge("Larch 52", 4).ground("nut", 75, moment).unbalance[-1][
        1
    ] == pytest.approx(-moment * np.exp(1j * np.deg2rad(75)))


@pytest.mark.parametrize(
    ("asked", "match"),
    [
        (Asked(model="Beech 1"), 'no model "Beech 1"'),
        (Asked(faults=("gremlin",)), 'no fault "gremlin"'),
        (Asked(cuts=("nut 125",)), "is no cut"),
        (Asked(cuts=("ear@125=1.0",)), 'no plane "ear"'),
        (Asked(bits=8), "8 bits"),
        (Asked(sample_rate_hz=10.0), "cannot be simulated"),
        (Asked(run_up_s=1e9), "cannot be simulated"),
    ],
)
def test_what_cannot_be_simulated_is_said(tmp_path, asked, match):
    with pytest.raises(BadInput, match=match):
        simulate(tmp_path / "a.wav", asked)
    assert not list(tmp_path.iterdir())


def test_it_passes_for_no_measurement_of_another_rig(tmp_path):
    simulate(tmp_path / "a.wav", HEAVY)
    with Workshop(tmp_path / "data") as shop:
        add_model(shop, demo_model(SIZES["Larch 52"]))
        add_piece(shop, "S1", "Larch 52")
        with pytest.raises(BadInput, match="simulated; it is none of High 1"):
            spin(shop, "S1", tmp_path / "a.wav", rig="High 1")
        assert spin(shop, "S1", tmp_path / "a.wav").verdict == "fail"
