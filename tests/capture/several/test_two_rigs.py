"""Several rigs of one program: two spins at once, sample by sample; one piece on one rig."""

import ctypes
import os
import signal
import threading
import time

import numpy as np
import pytest
from capture.several.fake_digitiser import emitted, on_the_path, rig_text
from conftest import there

from heavyspot import BadInput, LedgerFault, NotThere, Workshop, open_recording
from heavyspot.sim.cartridge import SIZES
from heavyspot.sources.devices.slow import SlowValue
from heavyspot.sources.sound_card import load_rig_file, open_live
from heavyspot.workshop.bench.benches import benches_of
from heavyspot.workshop.bench.capture import Capture
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.taking.disk_first import About

A, B = "rig A", "rig/B: north"


@pytest.fixture
def rigs(tmp_path, monkeypatch):
    on_the_path(tmp_path / "drivers", monkeypatch)
    return [rig_of(tmp_path, A, 1), rig_of(tmp_path, B, 2)]


def rig_of(folder, name, seed, **settings):
    path = folder / f"{seed}.toml"
    path.write_text(rig_text(name, seed, **settings))
    return load_rig_file(path)


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    add_model(made, demo_model(SIZES["Larch 52"]))
    for n in (1, 2, 3):
        add_piece(made, f"P-{n}", "Larch 52")
    yield made
    made.close()


@pytest.fixture
def benches(shop, rigs):
    made = benches_of(shop, rigs)
    yield made
    made.close()


def ended(*benches, most_s=90):
    until = time.monotonic() + most_s
    while any(b.capture or b.reading for b in benches):
        assert time.monotonic() < until
        time.sleep(0.02)


def archived(shop, serial):
    (run,) = cartridge_story(shop, serial).runs
    path = shop.book.archive.open(run.entry.recording)
    return np.concatenate([b.data for b in open_recording(path).blocks()]), run


class Hog:
    """Holds the interpreter's lock for 0.4 s at a time, as one long call in C does: nobody else runs meanwhile."""

    def __enter__(self):
        self.on = True
        self.thread = threading.Thread(target=self.hold)
        self.thread.start()
        return self

    def hold(self):
        holding = ctypes.PyDLL(None)  # unlike CDLL it keeps the lock
        while self.on:
            holding.usleep(400_000)
            time.sleep(0.1)

    def __exit__(self, *_):
        self.on = False
        self.thread.join()


@pytest.mark.slow
def test_two_spins_at_once_lose_no_sample_while_pages_are_slow(benches, shop):
    first, second = benches.put_on(A, "P-1"), benches.put_on(B, "P-2")
    with Hog():
        one, two = first.spin("P-1", operator="Ines"), second.spin("P-2", operator="Jon")
        until = time.monotonic() + 60
        while not (one.sampled and two.sampled):
            assert time.monotonic() < until
            time.sleep(0.02)
        assert benches.spinning() == ["P-1", "P-2"]  # at once
        assert first.question("P-1") == second.question("P-2") == "spinning"
        ended(first, second)
    assert first.problem("P-1") == second.problem("P-2") == ""
    for serial, seed, by, rig in (("P-1", 1, "Ines", A), ("P-2", 2, "Jon", B)):
        samples, run = archived(shop, serial)
        assert run.entry.by == by and run.entry.rig == rig
        np.testing.assert_array_equal(samples, emitted(seed))


@pytest.mark.slow
def test_the_same_in_this_process_does_lose_some(rigs, tmp_path):
    """What the processes are for: without them the device's buffer runs over."""
    capture = Capture(open_live(rigs[0]), tmp_path / "capture", About("P-1"))
    with Hog():
        capture.start()
        capture.join()
    assert capture.snapshot.lost_samples > 0


def test_a_piece_is_on_one_rig_at_a_time(benches):
    first = benches.put_on(A, "P-1")
    first.set_ups.say("P-1", "guard")
    assert benches.of("P-1") is first and benches.rig_of("P-1") == A
    second = benches.put_on(B, "P-1")
    assert benches.of("P-1") is second and first.on_it == ""
    assert not first.set_ups.said_of("P-1")  # the guard of the other rig is not this one's
    second.spin("P-1")
    with pytest.raises(LedgerFault, match=r"P-1 spins on rig/B: north: .* one rig at a time"):
        benches.put_on(A, "P-1")
    with pytest.raises(LedgerFault, match="P-1 spins on rig/B: north"):
        benches.put_on(B, "P-2")
    with pytest.raises(LedgerFault, match="not on this rig any more"):
        first.spin("P-1")
    second.stop()
    ended(first, second)
    assert benches.rig_of("P-1") == B


def test_a_piece_on_no_rig_is_not_spun(benches):
    with pytest.raises(NotThere, match="P-3 is on no rig"):
        benches.of("P-3").spin("P-3")
    with pytest.raises(NotThere, match=r"No rig .* Rigs here: rig A, rig/B: north"):
        benches.put_on("rig C", "P-3")
    with pytest.raises(NotThere, match="no piece"):
        benches.put_on(A, "P-9")
    with pytest.raises(BadInput, match="several rigs"):
        benches.at("")


def test_what_is_on_the_rigs_outlives_a_restart(benches, shop, rigs):
    benches.put_on(A, "P-1")
    benches.put_on(B, "P-2")
    again = benches_of(shop, rigs)
    assert (again.rig_of("P-1"), again.rig_of("P-2"), again.rig_of("P-3")) == (A, B, "")
    for torn in ("", "[]", '{"rig C": "P-1", "rig A": "gone"}', '{"rig A": null}'):
        (shop.folder / "on-rigs.json").write_text(torn)
        assert benches_of(shop, rigs).of("P-1").rig is None


def test_a_rig_named_twice_and_one_device_twice_are_refused(shop, rigs, tmp_path):
    again = rig_of(tmp_path, "Rig a", 3)
    with pytest.raises(BadInput, match='called "Rig a"'):
        benches_of(shop, [*rigs, again])
    same = rig_of(tmp_path, "rig C", 1)
    with pytest.raises(BadInput, match='"rig C" and "rig A" capture from one device'):
        benches_of(shop, [*rigs, same])


@pytest.mark.slow
def test_a_capture_whose_process_is_killed_keeps_what_was_written_and_the_other_goes_on(
    benches, shop
):
    first, second = benches.put_on(A, "P-1"), benches.put_on(B, "P-2")
    one, two = first.spin("P-1"), second.spin("P-2")
    until = time.monotonic() + 60
    while min(one.sampled, two.sampled) < 51_200 * 4:
        assert time.monotonic() < until and first.capture is one
        time.sleep(0.02)
    os.kill(there(one.pid), signal.SIGKILL)
    ended(first, second)
    assert "own process ended" in first.problem("P-1") and second.problem("P-2") == ""
    samples, _ = archived(shop, "P-1")
    assert len(samples) >= 51_200 * 3.7
    np.testing.assert_array_equal(samples, emitted(1)[: len(samples)])
    np.testing.assert_array_equal(archived(shop, "P-2")[0], emitted(2))


def test_a_device_that_is_not_there_is_said_and_leaves_nothing(shop, tmp_path, monkeypatch):
    on_the_path(tmp_path / "drivers", monkeypatch)
    gone = tmp_path / "gone"
    gone.touch()
    benches = benches_of(shop, [rig_of(tmp_path, A, 1, gone=gone), rig_of(tmp_path, B, 2)])
    bench = benches.put_on(A, "P-1")
    bench.spin("P-1")
    ended(bench)
    assert "digitiser is not there" in bench.problem("P-1")
    assert not list(bench.folder.glob("*.wav")) and bench.question("P-1") == "prepare"


class Oil:
    """Instruments beside a rig: the temperature is measured, the pressure's is silent."""

    def __init__(self):
        self.asked = []

    def now(self, quantity):
        self.asked.append(quantity)
        return SlowValue(71.5, time.monotonic()) if quantity == "oil temperature" else None

    def stop(self):
        pass


@pytest.mark.slow
def test_oil_is_what_is_measured_when_it_begins_else_what_was_typed(benches, shop):
    bench = benches.put_on(A, "P-1")
    bench.slow = Oil()
    capture = bench.spin("P-1", oil=(40.0, 300.0))
    until = time.monotonic() + 60
    while capture.sampled < 51_200:
        assert time.monotonic() < until
        time.sleep(0.02)
    bench.stop()
    ended(bench)
    (run,) = cartridge_story(shop, "P-1").runs
    oil = run.conditions.recording.oil
    assert (oil.temperature_c, oil.pressure_kpa) == (71.5, 300.0)
