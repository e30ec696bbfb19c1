"""What was sampled is offered, with its serial, until the ledger has it; what is damaged is set aside and named."""

import errno
import time
from pathlib import Path

import pytest

from heavyspot.quantities import durable
from heavyspot.quantities.errors import LedgerAway, LedgerFault, SourceLost
from heavyspot.workshop.bench.bench import Bench
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import demo_source
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.rotor.kept import rotor_story
from heavyspot.workshop.rotor.models import add_rotor


def bench_of(shop):
    def source(serial):
        return demo_source(shop, serial, pace=40.0)

    return Bench(shop, source, source)


def spun(bench, serial):
    bench.spin(serial, operator="Ines", oil=(68.0, None))
    waited(bench)


def waited(bench):
    until = time.monotonic() + 30
    while bench.capture or bench.reading:
        assert time.monotonic() < until
        time.sleep(0.02)


def refuse(*_, **__):
    raise LedgerAway("The ledger cannot be written (database is locked).", remedy="Try again.")


def runs_of(shop, serial):
    return cartridge_story(shop, serial).runs


@pytest.fixture
def bench(shop):
    for n in (1, 2):
        add_piece(shop, f"B-{n}", "Larch 52")
    return bench_of(shop)


@pytest.mark.parametrize(
    "fault",
    [
        LedgerAway("The ledger cannot be written.", remedy="x"),
        LedgerFault("x.flac cannot be written (No space left on device).", remedy="Make room."),
        OSError(errno.EMFILE, "Too many open files"),
        MemoryError(),
    ],
)
def test_a_spin_that_cannot_be_kept_is_offered_with_its_serial_and_operator(
    bench, shop, monkeypatch, fault
):
    with monkeypatch.context() as m:

        def raising(*_, **__):
            raise fault

        m.setattr("heavyspot.workshop.bench.left_behind.spin", raising)
        spun(bench, "B-1")
        assert bench.problem("B-1") and bench.question("B-1") == "rescue"
        assert bench.problem("B-2") == ""
    assert bench.question("B-2") == "prepare" and runs_of(shop, "B-1") == ()
    again = bench_of(shop)  # the program is started anew
    assert again.question("B-1") == "rescue"
    again.rescue("B-1", keep=True)
    (run,) = runs_of(shop, "B-1")
    assert run.entry.by == "Ines"
    assert run.entry.conditions["recording"]["oil"]["temperature_c"] == 68.0
    assert again.question("B-1") != "rescue" and not list(again.folder.glob("*.wav"))


def test_what_the_ledger_has_is_not_taken_twice(bench, shop, monkeypatch):
    """Killed after the ledger had the run and before its samples were removed."""
    with monkeypatch.context() as m:
        m.setattr("heavyspot.workshop.bench.left_behind.remove_capture", lambda _: None)
        spun(bench, "B-1")
    assert len(runs_of(shop, "B-1")) == 1 and list(bench.folder.glob("*.wav"))
    again = bench_of(shop)
    again.rescue("B-1", keep=True)
    assert len(runs_of(shop, "B-1")) == 1 and not list(bench.folder.glob("*.wav"))


def test_a_rotor_s_measurement_is_offered_too(shop):
    serial = "R-1"
    add_rotor(shop, serial, "Larch 52 shaft and wheel")
    bench = bench_of(shop)
    with pytest.MonkeyPatch.context() as m:
        m.setattr("heavyspot.workshop.bench.left_behind.measure_signals", refuse)
        spun(bench, serial)
    assert bench_of(shop).rescued(serial)
    bench.rescue(serial, keep=True)
    assert len(rotor_story(shop, serial).readings) == 1 and not bench.rescued(serial)


@pytest.mark.parametrize("torn", [".wav", ".json", ".about"])
def test_what_a_power_cut_tore_is_set_aside_and_named(bench, shop, monkeypatch, torn):
    with monkeypatch.context() as m:
        m.setattr("heavyspot.workshop.bench.left_behind.spin", refuse)
        spun(bench, "B-1")
    (left,) = bench.folder.glob("*.wav")
    left.with_suffix(torn).write_bytes(b"")
    again = bench_of(shop)
    assert left.name in again.problem() and "damaged" in again.problem()
    assert torn == ".about" or "B-1" in again.problem()
    for serial in ("B-1", "B-2"):
        assert again.question(serial) == "prepare"
    aside = left.parent / "damaged"
    assert {p.suffix for p in aside.iterdir()} == {".wav", ".json", ".about"}
    assert left.name in bench_of(shop).problem()  # named until a person has seen to it


def test_samples_torn_while_the_program_ran_are_set_aside_when_they_are_read(
    bench, shop, monkeypatch
):
    with monkeypatch.context() as m:
        m.setattr("heavyspot.workshop.bench.left_behind.spin", refuse)
        spun(bench, "B-1")
    (left,) = bench.folder.glob("*.wav")
    left.write_bytes(b"")
    bench.rescue("B-1", keep=True)
    assert "B-1" in bench.problem("B-1") and left.name in bench.problem("B-1")
    assert bench.question("B-1") == "prepare" and (left.parent / "damaged" / left.name).exists()


def test_a_rig_that_delivers_nothing_leaves_nothing(bench, shop):
    class Silent:
        def __init__(self, like):
            self.describe = like.describe

        def open(self):
            raise SourceLost("The interface is not there.", remedy="Plug it in.")

        def blocks(self):
            yield from ()

        def close(self):
            pass

    quiet = Bench(shop, lambda s: Silent(demo_source(shop, s)), lambda s: demo_source(shop, s))
    spun(quiet, "B-1")
    assert "not there" in quiet.problem("B-1") and quiet.question("B-1") == "prepare"


def test_a_full_disk_at_the_start_of_a_spin_is_said_and_blocks_nothing(bench, monkeypatch):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as m:
        m.setattr("heavyspot.workshop.taking.disk_first.write_text", full)
        with pytest.raises(LedgerFault, match="No space left"):
            bench.spin("B-1")
    spun(bench, "B-2")
    assert len(runs_of(bench.shop, "B-2")) == 1


def test_samples_are_on_the_disk_before_they_are_read(bench, shop, monkeypatch):
    """A power cut drops what was not synced; the size at the last sync is what would be left."""
    synced: dict[str, int] = {}
    sync = durable.sync_file

    def noted(path: Path) -> None:
        sync(path)
        synced[path.name] = path.stat().st_size

    monkeypatch.setattr("heavyspot.workshop.taking.disk_first.sync_file", noted)
    monkeypatch.setattr("heavyspot.workshop.bench.left_behind.spin", refuse)
    spun(bench, "B-1")
    (left,) = bench.folder.glob("*.wav")
    assert synced[left.name] == left.stat().st_size
