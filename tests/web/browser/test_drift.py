"""What is told of a drifted picture: a moved panel, never the grain of letters."""

import io

import numpy as np
from conftest import there
from PIL import Image
from web.browser.drift import look_at


def shot(change=None, *, high=800):
    grey = np.full((high, 1280), 240, np.uint8)
    grey[100:400, 200:700] = 30  # a dark panel
    if change:
        change(grey)
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "PNG")
    return out.getvalue()


def drift_of(tmp_path, change=None, **more):
    look_at("s", shot(), keep=True, kept=tmp_path / "kept", told=tmp_path / "told")
    return look_at(
        "s", shot(change, **more), keep=False, kept=tmp_path / "kept", told=tmp_path / "told"
    )


def test_the_same_state_has_not_drifted(tmp_path):
    assert drift_of(tmp_path).share == 0 and not (tmp_path / "told").exists()


def test_the_grain_of_letters_is_no_drift(tmp_path):
    def grain(grey):
        noise = np.random.default_rng(1).integers(-15, 15, grey.shape)
        grey[:] = np.clip(grey.astype(int) + noise, 0, 255)

    assert not drift_of(tmp_path, grain).told


def test_a_panel_that_moved_is_told_by_name(tmp_path):
    def move(grey):
        grey[:] = np.roll(grey, 200, axis=1)

    assert drift_of(tmp_path, move).told
    assert "s: " in (tmp_path / "told/s.txt").read_text()


def test_a_page_of_another_length_and_a_new_state_are_told(tmp_path):
    assert there(drift_of(tmp_path, high=1200)).why
    new = look_at("new", shot(), keep=False, kept=tmp_path / "kept", told=tmp_path / "told")
    assert there(new).why == "none is kept"


def test_what_is_in_order_again_is_told_no_more(tmp_path):
    drift_of(tmp_path, lambda grey: grey.fill(0))
    assert (tmp_path / "told/s.txt").exists()
    look_at("s", shot(), keep=False, kept=tmp_path / "kept", told=tmp_path / "told")
    assert not (tmp_path / "told/s.txt").exists()
