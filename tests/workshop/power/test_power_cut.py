"""Power is cut at any write of a day: nothing acknowledged is lost or doubled."""

import copy
import random
import shutil

import pytest
from workshop.power.a_day import DAY, EVERY_STEP, checked, morning
from workshop.power.power import KILLED, LOST, NAMED, Disk, run, shim


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    return shim(tmp_path_factory.mktemp("shim"))


@pytest.fixture(scope="module")
def day(library, tmp_path_factory):
    """Every call of a whole day, and the disk it began with."""
    folder = tmp_path_factory.mktemp("day")
    morning(folder / "root")
    disk = Disk(folder / "root")
    calls = run(DAY, library, folder / "root", folder / "journal")
    every = [line for c in calls if c.op == "K" for line in c.data.decode().split()]
    assert every == EVERY_STEP
    assert sum(c.op == "S" for c in calls) > 60 and sum(c.op == "W" for c in calls) > 300
    return disk, calls


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
