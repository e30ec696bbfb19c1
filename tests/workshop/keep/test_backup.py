"""Backups: consistent while the shop writes, incremental, proved by reading back; restores into an empty folder."""

import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time

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
            with sqlite3.connect(tmp_path / "copy/ledger.sqlite") as c:
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
    recording = next((tmp_path / "copy").rglob("*.flac"))
    recording.write_bytes(recording.read_bytes()[:-1] + b"x")
    with pytest.raises(LedgerFault, match=r"not as the ledger|damaged"):
        restore(tmp_path / "copy", tmp_path / "newer")


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
