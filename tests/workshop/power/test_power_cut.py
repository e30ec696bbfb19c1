"""Power is cut, or the disk is full or refuses, at any write of a day: nothing acknowledged is lost or doubled."""

import copy
import errno
import random
import shutil

import pytest
from ledger.old_ledger import make_old
from workshop.power.power import KILLED, LOST, NAMED, Disk, run, shim

from heavyspot.ledger.exchange.upgrade import upgrade_ledger
from heavyspot.ledger.store.schema import HEAD, connected, version_of
from heavyspot.quantities.errors import LedgerFault
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.backup import restore
from heavyspot.workshop.keep.ledger_state import check_ends, check_index
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.keep.upgrading import upgrade
from heavyspot.workshop.shop import Workshop

DAY = """
import os, sys
from pathlib import Path
import heavyspot
from heavyspot.quantities.errors import HeavyspotError
from heavyspot.sources.loose_table import open_table
from heavyspot.web.app import create_app
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.keep.backup import back_up
from heavyspot.workshop.keep.retention import hand_recordings_over
from heavyspot.workshop.keep.upgrading import upgrade
from heavyspot.workshop.old_book.bring import bring_in
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.station.station import exchange, join
from workshop.station.two_houses import CutLine, recording

root = Path(sys.argv[1])
mark = os.open(os.environ["POWER_MARK"], os.O_WRONLY)

def step(name, do):
    try:
        done = do()
    except (HeavyspotError, OSError):
        return None  # said to the person; the day goes on
    os.write(mark, (name + "\\n").encode())
    return done

shop = None
while shop is None:
    shop = step("open", lambda: Workshop(root / "data"))
def brought():
    told = bring_in(shop, open_table(root / "old.csv"), rejects=root / "rejects.csv")
    assert told.taken + told.known == 5
def handed_on():
    app = create_app(root / "main")
    line = CutLine(app, add_station(app.state.shop, "East"))
    join(root / "data", line, "http://main", line.client.headers["X-Station-Key"])
    exchange(shop, line)
    app.state.shop.close()
step("piece", lambda: heavyspot.add_piece(shop, "D-1", "Larch 52", customer="Tidal Works"))
step("run", lambda: heavyspot.spin(shop, "D-1", recording(1)))
step("cut", lambda: heavyspot.ground(shop, "D-1", "nut", 30.0, mass_mg=5.0))
step("sheet", lambda: issue_sheet(shop, "D-1", root / "last.pdf"))
step("old", brought)
step("backup", lambda: back_up(shop, root / "copy"))
step("note", lambda: tell(shop, "D-1", "note", "as agreed"))
step("forward", handed_on)
step("over", lambda: hand_recordings_over(shop))
step("upgrade", lambda: upgrade(root / "before"))
step("again", lambda: back_up(shop, root / "copy"))
shop.close()
"""

KINDS = {"piece": "written", "run": "run", "cut": "cut", "sheet": "sheet", "note": "note"}


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    return shim(tmp_path_factory.mktemp("shim"))


def morning(root):
    """A shop as it stands before the day, an older ledger beside it."""
    root.mkdir()
    shop = Workshop(root / "data")
    furnish(shop)
    shop.close()
    (root / "store").mkdir()
    (root / "data/shop.toml").write_text(f'recordings_url = "file://{root / "store"}"\n')
    (root / "old.csv").write_text(
        "Serial;Customer\n" + "".join(f"O-{n};Tidal Works\n" for n in range(5))
    )
    (root / "before").mkdir()
    make_old(f"sqlite:///{root / 'before/ledger.sqlite'}", "0012")


@pytest.fixture(scope="module")
def day(library, tmp_path_factory):
    """Every call of a whole day, and the disk it began with."""
    folder = tmp_path_factory.mktemp("day")
    morning(folder / "root")
    disk = Disk(folder / "root")
    calls = run(DAY, library, folder / "root", folder / "journal")
    every = [line for c in calls if c.op == "K" for line in c.data.decode().split()]
    after = ["old", "backup", "note", "forward", "over", "upgrade", "again"]
    assert every == ["open", "piece", "run", "cut", "sheet", *after]
    assert sum(c.op == "S" for c in calls) > 60 and sum(c.op == "W" for c in calls) > 300
    return disk, calls


def checked(root, marks, where):
    """The shop opens, is whole, has all that was acknowledged, once; the backup and the older ledger are good."""
    toml = root / "data/shop.toml"
    toml.write_text(
        f'recordings_url = "file://{root / "store"}"\n'
    )  # where the rest of the disk lies now
    shop = Workshop(root / "data")
    try:
        assert list(shop.book.check_chain()) == [], where
        assert list(check_recordings(shop)) == [], where
        assert list(check_index(shop)) == [], where
        assert list(check_ends(shop, [])) == [], where
        serials = {p.serial for p in shop.book.jobs.pieces()}
        kinds = [e.kind for e in whole_story(shop, "D-1")] if "D-1" in serials else []
        for what, kind in KINDS.items():
            assert kinds.count(kind) <= 1, (where, what)
            assert what not in marks or kinds.count(kind) == 1, (where, what)
        old = sum(s.startswith("O-") for s in serials)
        assert old in (0, 5) and ("old" not in marks or old == 5), where
    finally:
        shop.close()
    if "backup" in marks:
        told = restore(root / "copy", root / "restored")
        assert not told.damaged, where
        restored = Workshop(root / "restored")
        there = {p.serial for p in restored.book.jobs.pieces()}
        assert "piece" not in marks or "D-1" in there, where
        restored.close()
    url = f"sqlite:///{root / 'before/ledger.sqlite'}"
    engine = connected(url)
    assert version_of(engine) in ("0012", HEAD), where
    engine.dispose()
    assert "upgrade" not in marks or upgrade_ledger(url, None) is None, where
    upgrade(root / "before")
    if "forward" in marks:
        main = Workshop(root / "main")
        assert list(main.book.check_chain()) == [] and list(check_recordings(main)) == [], where
        there = {p.serial for p in main.book.jobs.pieces()}
        assert "piece" not in marks or "D-1" in there, where
        main.close()


def cut(day, tmp_path, chosen, ways):
    """Check what a cut leaves at those of the calls that change it; returns how many states were looked at."""
    disk0, calls = day
    disk = Disk.__new__(Disk)
    disk.__dict__ = copy.deepcopy(disk0.__dict__)
    looked = 0
    for n, call in enumerate(calls):
        if not disk.does(call) or not chosen(n):
            continue
        for how in ways:
            root = tmp_path / "cut"
            shutil.rmtree(root, ignore_errors=True)
            root.mkdir()
            disk.after(how, root)
            checked(root, disk.marks, (n, call.op, call.path, how))
            looked += 1
    return looked


def test_power_is_cut_at_some_writes(day, tmp_path):
    rng = random.Random(7)
    picked = {n for n in range(len(day[1])) if rng.random() < 0.03}
    assert cut(day, tmp_path, picked.__contains__, [LOST]) >= 3


@pytest.mark.prove
def test_power_is_cut_at_every_write(day, tmp_path):
    assert cut(day, tmp_path, lambda _: True, [LOST, NAMED, KILLED]) > 200


def faulted(library, folder, at, number, *, stays):
    morning(folder / "root")
    how = {"POWER_FAIL_AT": str(at), "POWER_ERRNO": str(number)} | (
        {"POWER_STAYS": "1"} if stays else {}
    )
    calls = run(DAY, library, folder / "root", folder / "journal", **how)
    marks = [line for c in calls if c.op == "K" for line in c.data.decode().split()]
    try:
        checked(folder / "root", marks, (at, number))
    except LedgerFault as fault:
        raise AssertionError((at, number, str(fault))) from fault
    return marks


@pytest.mark.parametrize("at", [40, 170, 420])
def test_the_disk_refuses_one_write(library, tmp_path, at):
    faulted(library, tmp_path, at, errno.EIO, stays=False)


CARELESS = """
import os, sys
from pathlib import Path
root = Path(sys.argv[1])
mark = os.open(os.environ["POWER_MARK"], os.O_WRONLY)
(root / "kept").write_bytes(b"old")
with open(root / "kept", "rb+") as f: os.fsync(f.fileno())
d = os.open(root, os.O_RDONLY); os.fsync(d)
(root / "new.part").write_bytes(b"new")            # neither synced,
os.rename(root / "new.part", root / "kept")        # nor its folder
os.write(mark, b"said\\n")
"""


def test_what_is_not_synced_is_lost(library, tmp_path):
    """The disk of these tests would show a careless program."""
    (tmp_path / "root").mkdir()
    disk = Disk(tmp_path / "root")
    for call in run(CARELESS, library, tmp_path / "root", tmp_path / "journal"):
        disk.does(call)
    assert disk.marks == ["said"]
    for how, left in ((LOST, b"old"), (NAMED, b""), (KILLED, b"new")):
        (tmp_path / how).mkdir()
        disk.after(how, tmp_path / how)
        assert (tmp_path / how / "kept").read_bytes() == left


@pytest.mark.prove
@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC])
def test_the_disk_refuses_or_is_full_at_every_write(day, library, tmp_path, number):
    writes = sum(c.op != "K" for c in day[1])
    for at in range(1, writes + 1, 5):
        folder = tmp_path / str(at)
        folder.mkdir()
        faulted(library, folder, at, number, stays=False)
        shutil.rmtree(folder)
