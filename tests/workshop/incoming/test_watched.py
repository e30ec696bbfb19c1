"""A watched folder: a finished file is taken once, a bad one is set aside and named, none is ever lost."""

import json
import shutil

import numpy as np
import pytest
import soundfile

from heavyspot import Workshop, add_model, add_piece
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.sources.sound_card import RigFile
from heavyspot.workshop.cartridge import received
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.incoming.watched import ASIDE, TAKEN, WatchedFolder, Watchers

SPIN = SpinSettings(run_up_s=4.0, hold_s=0.4, coast_s=1.5)
CHANNELS = [
    {"name": "housing", "quantity": "acceleration", "unit": "V", "full_scale": 10.0,
     "sensitivity": {"value": 100.0, "unit": "mV/g"}, "clock": 3},
    {"name": "pickup", "quantity": "phase", "unit": "V", "full_scale": 10.0, "clock": 12},
]  # fmt: skip
RIG = RigFile.model_validate(
    {"name": "High 1", "sample_rate_hz": 51_200, "rotation": "clockwise", "channel": CHANNELS}
)


class Clock:
    """Seconds that a test lets go by."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


class Room:
    """A shop with two pieces, and a folder that is watched."""

    def __init__(self, folder):
        self.data, self.watch, self.clock = folder / "data", folder / "in", Clock()
        self.watch.mkdir(exist_ok=True)
        self.shop = Workshop(self.data)
        self.anew()

    def anew(self):
        """The program is started again."""
        self.folder = WatchedFolder(self.shop, RIG, self.watch, clock=self.clock)

    def after(self, seconds):
        self.clock.now += seconds
        return {x.name: x for x in self.folder.look()}

    def finished(self):
        """Look, let a file settle, and look again."""
        self.after(0.0)
        return self.after(16.0)

    def runs(self, serial):
        return [r.entry for r in cartridge_story(self.shop, serial).runs]

    def lie(self, where=""):
        return sorted(p.name for p in (self.watch / where).iterdir() if p.is_file())


@pytest.fixture(scope="module")
def spun():
    """Samples of a spin, shape (n, 2), as shares of full scale."""
    made = simulated_recording(make_cartridge("Larch 52", 4, peak_g=1.2), 1, SPIN)
    return np.concatenate([b.data for b in made.blocks()])


@pytest.fixture
def room(tmp_path):
    made = Room(tmp_path)
    add_model(made.shop, demo_model(SIZES["Larch 52"]))
    for serial in ("L52-1", "L52-2", "A_1"):
        add_piece(made.shop, serial, "Larch 52")
    yield made
    made.shop.close()


def wav(path, samples, rate=51_200):
    path.parent.mkdir(exist_ok=True)
    soundfile.write(path, samples, rate, subtype="PCM_24")
    return path


def test_a_finished_file_is_taken_once_with_the_rigs_facts(room, spun):
    path = wav(room.watch / "L52-1.wav", spun)
    assert room.after(0.0)["L52-1.wav"].state == "settling"
    assert room.after(4.0)["L52-1.wav"].state == "settling"
    assert room.runs("L52-1") == []
    look = room.after(2.0)["L52-1.wav"]
    assert (look.state, look.serial, look.words) == ("taken", "L52-1", "Run 1 of L52-1.")
    (run,) = room.runs("L52-1")
    assert run.rig == "High 1" and run.verdict == "fail"
    assert not path.exists() and room.lie(TAKEN) == ["L52-1.wav"]
    assert room.finished() == {}


def test_a_file_that_still_grows_is_left_alone(room, spun):
    for share in (0.2, 0.5, 0.8, 1.0):
        wav(room.watch / "L52-1.wav", spun[: int(share * len(spun))])
        assert room.after(4.0)["L52-1.wav"].state == "settling"
    assert room.after(6.0)["L52-1.wav"].state == "taken"
    assert len(room.runs("L52-1")) == 1


def test_the_same_bytes_are_taken_once_whatever_they_are_called_and_over_a_restart(room, spun):
    wav(room.watch / "L52-1.wav", spun)
    room.finished()
    shutil.copy(room.watch / TAKEN / "L52-1.wav", room.watch / "L52-1_copy.wav")
    room.anew()
    assert room.finished()["L52-1_copy.wav"].state == "again"
    assert len(room.runs("L52-1")) == 1
    assert room.lie(TAKEN) == ["L52-1.wav", "L52-1_copy.wav"]


@pytest.mark.parametrize("cut", ["spin", "_tell", "move"])
def test_a_power_cut_between_any_two_steps_takes_it_once(room, spun, monkeypatch, cut):
    """Cut before the run is written, before it is told, and before the file is moved."""

    class Cut(BaseException):
        pass

    def gone(*_, **__):
        raise Cut

    wav(room.watch / "L52-1.wav", spun)
    with monkeypatch.context() as m:
        if cut == "move":
            m.setattr(WatchedFolder, "_move", gone)
        else:
            m.setattr(received, cut, gone)
            m.setattr("shutil.rmtree", lambda *_, **__: None)  # a cut cleans nothing up
        with pytest.raises(Cut):
            room.finished()
    room.anew()
    assert room.finished()["L52-1.wav"].state == ("taken" if cut == "spin" else "again")
    assert len(room.runs("L52-1")) == 1 and room.lie(TAKEN) == ["L52-1.wav"]


def test_a_bad_file_is_set_aside_with_the_reason_and_never_lost(room, spun):
    content = wav(room.watch / "L52-1.wav", spun).read_bytes()[:90_000]
    (room.watch / "L52-1.wav").write_bytes(content)
    assert room.finished()["L52-1.wav"].state == "settling"  # a recorder may pause
    room.after(20.0)
    look = room.after(30.0)["L52-1.wav"]
    assert look.state == "bad" and "cut short" in look.words
    assert room.lie() == [] and room.lie(ASIDE) == ["L52-1.wav", "L52-1.wav.why.txt"]
    assert (room.watch / ASIDE / "L52-1.wav").read_bytes() == content
    assert "cut short" in (room.watch / ASIDE / "L52-1.wav.why.txt").read_text()
    assert room.runs("L52-1") == []
    (room.watch / "L52-1.wav").write_bytes(content)  # another one of the same name
    for seconds in (0.0, 16.0, 20.0, 30.0):
        room.after(seconds)
    assert (room.watch / ASIDE / "L52-1 (2).wav").read_bytes() == content


def test_a_file_of_no_piece_waits_until_the_piece_is_there(room, spun):
    wav(room.watch / "L52-9_morning.wav", spun)
    look = room.finished()["L52-9_morning.wav"]
    assert look.state == "waits" and "names no piece" in look.words
    add_piece(room.shop, "L52-9", "Larch 52")
    assert room.after(30.0)["L52-9_morning.wav"].state == "taken"


@pytest.mark.parametrize(
    ("name", "serial"),
    [("L52-1.wav", "L52-1"), ("L52-1_001.wav", "L52-1"), ("L52-2/spin 4.wav", "L52-2"), ("A_1.wav", "A_1"),
     ("A_1_x.wav", "A_1")],
)  # fmt: skip
def test_whose_a_file_is_stands_in_its_name_or_its_folders(room, spun, name, serial):
    wav(room.watch / name, spun)
    (look,) = room.finished().values()
    assert (look.state, look.serial) == ("taken", serial)


@pytest.mark.parametrize(
    "name", ["L52-10.wav", "L52-1-2.wav", "L52.wav", "A_2.wav", "L52-3/L52-1.wav"]
)
def test_a_serial_is_never_guessed_from_the_begin_of_another(room, spun, name):
    wav(room.watch / name, spun)
    (look,) = room.finished().values()
    assert look.state == "waits"


def test_a_name_that_could_be_of_two_pieces_waits(room, spun):
    add_piece(room.shop, "A", "Larch 52")
    wav(room.watch / "A_1.wav", spun)
    (look,) = room.finished().values()
    assert look.state == "waits" and "A or A_1" in look.words


def test_a_sidecar_of_its_own_goes_before_the_rigs_facts_and_moves_along(room, spun):
    path = wav(room.watch / "L52-1.wav", spun)
    content = {"version": 1, "rig": "High 7", "rotation": "clockwise", "channels": CHANNELS}
    path.with_suffix(".json").write_text(json.dumps(content))
    assert room.finished()["L52-1.wav"].state == "taken"
    assert room.runs("L52-1")[0].rig == "High 7"
    assert room.lie(TAKEN) == ["L52-1.json", "L52-1.wav"] and room.lie() == []


def text(path, spun, names, order):
    rows = np.column_stack([np.arange(len(spun)) / 51_200, 10 * spun[:, order]])
    np.savetxt(
        path, rows, delimiter=",", fmt="%.9g", header=",".join(["time [s]", *names]), comments=""
    )


def test_channels_in_another_order_are_found_by_their_names(room, spun):
    text(room.watch / "L52-1.csv", spun / 10, ["Pickup", "Housing"], [1, 0])
    assert room.finished()["L52-1.csv"].state == "taken"
    (run,) = room.runs("L52-1")
    assert run.verdict == "fail" and run.worst_ratio == pytest.approx(2.4, abs=0.1)


@pytest.mark.parametrize(
    ("names", "factor"),
    [(["housing", "pickup"], 0.1), (["housing [V]", "pickup [V]"], 1.0), (["housing [g]", "pickup [V]"], 10.0)],
)  # fmt: skip
def test_numbers_in_a_unit_are_not_scaled_again(room, spun, names, factor):
    """Shares of full scale, volts and g of one spin are one verdict: a rig's full scale is of shares alone."""
    scaled = spun * [factor, factor if factor < 1 else 1.0]
    text(room.watch / "L52-1.csv", scaled, names, [0, 1])
    assert room.finished()["L52-1.csv"].state == "taken"
    assert room.runs("L52-1")[0].worst_ratio == pytest.approx(2.4, abs=0.1)


def test_channels_of_other_names_are_a_question(room, spun):
    text(room.watch / "L52-1.csv", spun, ["left", "right"], [0, 1])
    room.finished(), room.after(20.0)
    look = room.after(40.0)["L52-1.csv"]
    assert look.state == "bad" and "left, right; High 1 has housing, pickup" in look.words


def test_another_rate_than_the_rigs_is_refused(room, spun):
    wav(room.watch / "L52-1.wav", spun, rate=48_000)
    room.finished(), room.after(20.0)
    assert "48000 samples a second; High 1 has 51200" in room.after(40.0)["L52-1.wav"].words


def test_a_file_that_grows_after_it_was_taken_is_named(room, spun):
    wav(room.watch / "L52-1.wav", spun)
    room.finished()
    with (room.watch / TAKEN / "L52-1.wav").open("ab") as file:
        file.write(b"more")
    (look,) = room.after(1.0).values()
    assert look.state == "bad" and "may be half a spin" in look.words
    assert room.after(1.0) == {}  # said once


def test_a_full_disk_loses_nothing_and_is_tried_again(room, spun, monkeypatch):
    wav(room.watch / "L52-1.wav", spun)

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as m:
        m.setattr("shutil.copyfileobj", full)
        look = room.finished()["L52-1.wav"]
        assert (
            look.state == "waits" and "No space left" in look.words and room.lie() == ["L52-1.wav"]
        )
    assert room.after(60.0)["L52-1.wav"].state == "taken"


def test_a_folder_that_is_away_is_named_and_the_rounds_go_on(room, spun):
    said = []
    watchers = Watchers([room.folder], lambda serial, words: said.append((serial, words)))
    room.watch.rename(room.watch.with_name("away"))
    watchers.round()
    assert "cannot be read" in watchers.faults["High 1"]
    room.watch.with_name("away").rename(room.watch)
    wav(room.watch / "L52-9.wav", spun)
    watchers.round()
    room.clock.now += 20
    watchers.round()
    room.clock.now += 20
    watchers.round()
    assert watchers.faults == {} and said == []  # of no piece: at no bench
    assert watchers.newest["High 1"][0].state == "waits"


def test_a_bad_file_is_told_once_at_its_piece_and_listed_for_good(room, spun):
    said = []
    content = wav(room.watch / "L52-1.wav", spun).read_bytes()[:90_000]
    (room.watch / "L52-1.wav").write_bytes(content)
    watchers = Watchers([room.folder], lambda serial, words: said.append((serial, words)))
    for seconds in (0, 6, 14, 45, 10, 10):
        room.clock.now += seconds
        watchers.round()
    ((serial, words),) = said
    assert serial == "L52-1" and words.startswith("L52-1.wav is cut short")
    (listed,) = watchers.newest["High 1"]
    assert listed.state == "bad" and "cut short" in listed.words


def test_what_is_no_recording_or_is_being_written_is_passed_over(room):
    for name in ("L52-1.wav.part", ".L52-1.wav", "~L52-1.wav", "notes.docx"):
        (room.watch / name).write_bytes(b"x" * 100)
    assert room.finished() == {}
