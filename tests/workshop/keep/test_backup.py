"""Backups: consistent while the shop writes, incremental, proved by reading back; restores into an empty folder."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing

import pytest
from conftest import there

from heavyspot.quantities.errors import LedgerFault
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep.backup import back_up, last_backup, restore
from heavyspot.workshop.keep.retention import check_recordings, little_room
from heavyspot.workshop.shop import Workshop

QUICK = SpinSettings(run_up_s=3.0, coast_s=1.0, sample_rate_hz=25_600.0)


def spun(shop, serial, seed):
    add_piece(shop, serial, "Larch 52")
    spin(shop, serial, simulated_recording(make_cartridge("Larch 52", seed), seed, QUICK))


def test_a_backup_is_proved_and_renewed_by_what_is_new(shop, tmp_path):
    spun(shop, "B-1", 1)
    first = back_up(shop, tmp_path / "copy")
    assert first.recordings == first.copied == 1 and (first.entries, first.head) == shop.book.head()
    spun(shop, "B-2", 2)
    again = back_up(shop, tmp_path / "copy")
    assert (again.recordings, again.copied) == (2, 1)
    assert last_backup(tmp_path / "copy")["head"] == again.head == shop.book.head()[1]
    told = restore(tmp_path / "copy", tmp_path / "new")
    assert told.head == again.head
    back = Workshop(tmp_path / "new")
    assert [p.serial for p in back.book.jobs.pieces()][-2:] == ["B-1", "B-2"]
    assert list(back.book.check_chain()) == [] and list(check_recordings(back)) == []
    assert (
        cartridge_story(back, "B-2").runs[0].result.verdict
        == cartridge_story(shop, "B-2").runs[0].result.verdict
    )
    back.close()


def test_a_backup_of_a_shop_at_work_is_one_moment(shop, tmp_path):
    stop = threading.Event()

    def work():
        n = 0
        while not stop.is_set():
            add_piece(shop, f"busy-{n}", "Larch 52")
            n += 1

    worker = threading.Thread(target=work)
    worker.start()
    try:
        for _ in range(5):
            back_up(shop, tmp_path / "copy")
            with closing(sqlite3.connect(tmp_path / "copy/ledger.sqlite")) as c:
                pieces, links = (c.execute(f"select count(*) from {t}").fetchone()[0]
                                 for t in ("pieces", "chain where of_table = 'pieces'"))  # fmt: skip
            assert pieces == links
    finally:
        stop.set()
        worker.join()


def test_damage_is_found_and_the_old_backup_stays(shop, tmp_path):
    spun(shop, "D-1", 3)
    good = back_up(shop, tmp_path / "copy")
    with sqlite3.connect(shop.book.folder / "ledger.sqlite") as c:
        c.execute("update pieces set serial = 'X' where serial = 'D-1'")
    with pytest.raises(LedgerFault, match="was changed"):
        back_up(shop, tmp_path / "copy")
    assert last_backup(tmp_path / "copy")["head"] == good.head
    restore(tmp_path / "copy", tmp_path / "new")


@pytest.mark.parametrize("how", ["missing", "empty", "bits", "unreadable"])
def test_one_damaged_recording_costs_itself_alone(shop, tmp_path, how):
    for n in (1, 2, 3):
        spun(shop, f"O-{n}", n)
    names = [cartridge_story(shop, f"O-{n}").runs[0].entry.recording for n in (1, 2, 3)]
    spoil(shop.book.folder / names[1], how)
    assert [d.name for d in check_recordings(shop)] == [names[1]]
    for copied in (2, 0):  # the second time too: what was said of it the first time stays true
        told = back_up(shop, tmp_path / "copy")
        assert (told.recordings, told.copied) == (2, copied)
        assert [d.name for d in told.damaged] == [names[1]]
        assert [d["name"] for d in last_backup(tmp_path / "copy")["damaged"]] == [names[1]]
    told = restore(tmp_path / "copy", tmp_path / "new")
    assert (told.recordings, told.copied) == (2, 2)
    assert [d.name for d in told.damaged] == [names[1]]
    back = Workshop(tmp_path / "new")
    assert [d.name for d in check_recordings(back)] == [names[1]]
    assert list(back.book.check_chain()) == [] and len(cartridge_story(back, "O-2").runs) == 1
    back.close()


def test_a_recording_the_backup_lost_is_copied_anew_and_one_the_shop_lost_stays_in_it(
    shop, tmp_path
):
    for n in (1, 2):
        spun(shop, f"N-{n}", n)
    back_up(shop, tmp_path / "copy")
    one, two = (cartridge_story(shop, f"N-{n}").runs[0].entry.recording for n in (1, 2))
    spoil(tmp_path / "copy" / one, "empty")
    spoil(shop.book.folder / two, "empty")
    told = back_up(shop, tmp_path / "copy")
    assert (told.recordings, told.copied, told.damaged) == (2, 1, ())
    assert restore(tmp_path / "copy", tmp_path / "new").damaged == ()


@pytest.mark.posix
def test_what_is_said_to_be_backed_up_is_on_the_disk(shop, tmp_path, monkeypatch):
    """A power cut after the word *whole* drops what was not synced: nothing of the backup may be that."""
    spun(shop, "P-1", 1)
    synced: set[int] = set()
    fsync = os.fsync

    def noted(descriptor):
        fsync(descriptor)
        synced.add(os.fstat(descriptor).st_ino)

    monkeypatch.setattr(os, "fsync", noted)
    back_up(shop, tmp_path / "deep/copy")
    for path in (tmp_path, *(tmp_path / "deep").rglob("*")):
        assert path.stat().st_ino in synced, f"{path} is not on the disk yet"


def spoil(path, how):
    if how == "missing":
        path.unlink()
    elif how == "empty":
        path.write_bytes(b"")
    elif how == "bits":
        path.write_bytes(path.read_bytes()[:-1] + b"x")
    else:  # as a bad sector: it stands there, and cannot be read
        path.unlink()
        path.mkdir()


def test_bad_places_are_refused(shop, tmp_path):
    with pytest.raises(LedgerFault, match="data folder itself"):
        back_up(shop, shop.book.folder / "backup")
    with pytest.raises(LedgerFault, match="no backup"):
        restore(tmp_path, tmp_path / "new")
    back_up(shop, tmp_path / "copy")
    with pytest.raises(LedgerFault, match="already"):
        restore(tmp_path / "copy", shop.book.folder)
    (tmp_path / "file").write_text("x")
    with pytest.raises(LedgerFault, match="not finished"):
        back_up(shop, tmp_path / "file/sub")


KILLED = """
import sys
from heavyspot.workshop.keep.backup import back_up
from heavyspot.workshop.shop import Workshop
shop = Workshop(sys.argv[1])
print("ready", flush=True)
while True:
    back_up(shop, sys.argv[2])
"""


@pytest.mark.slow
def test_killed_at_any_moment_the_last_good_backup_restores(shop, tmp_path):
    for n in range(3):
        spun(shop, f"K-{n}", 10 + n)
    good = back_up(shop, tmp_path / "copy")
    for k in range(6):
        child = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(shop.book.folder), str(tmp_path / "copy")],
            stdout=subprocess.PIPE,
        )
        there(child.stdout).readline()
        time.sleep(0.013 * (k + 1))
        child.send_signal(signal.SIGKILL)
        child.wait()
        there(child.stdout).close()
        told = restore(tmp_path / "copy", tmp_path / f"new-{k}")
        assert told.head == good.head and told.recordings == 3


def test_a_full_disk_is_said_before_the_spin(shop, monkeypatch):
    assert little_room(shop.book.folder) == ""
    usage = shutil.disk_usage(shop.book.folder)._replace(free=300_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    assert "300 MB" in little_room(shop.book.folder)
