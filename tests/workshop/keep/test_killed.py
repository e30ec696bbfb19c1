"""Killed at any moment of a day's work: all that was said is there once, and the chain is whole."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from conftest import there
from workshop.station.two_houses import CutLine

from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.backup import back_up
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.station.station import exchange

DAY = """
import sys
import heavyspot
from pathlib import Path
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.sources.loose_table import open_table
from heavyspot.web.app import create_app
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.keep.backup import back_up
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.old_book.bring import bring_in
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.station import exchange, join
from workshop.station.two_houses import CutLine

data, first = Path(sys.argv[1]), int(sys.argv[2])
shop = Workshop(data)
app = create_app(data.parent / "main")  # the main house dies in the same moment
line = CutLine(app, add_station(app.state.shop, "East"))
join(data, line, "http://main", line.client.headers["X-Station-Key"])
quick = SpinSettings(run_up_s=1.5, hold_s=0.2, coast_s=0.5, sample_rate_hz=12_800.0)
recordings = [simulated_recording(make_cartridge("Larch 52", s), s, quick) for s in (1, 2)]
print("ready", flush=True)
for n in range(first, first + 1000):
    serial = f"D-{n}"
    heavyspot.add_piece(shop, serial, "Larch 52", customer="Tidal Works")
    print("piece", serial, flush=True)
    heavyspot.spin(shop, serial, recordings[n % 2])
    print("run", serial, flush=True)
    heavyspot.ground(shop, serial, "nut", 30.0, mass_mg=5.0)
    print("cut", serial, flush=True)
    tell(shop, serial, "note", "as agreed")
    print("note", serial, flush=True)
    issue_sheet(shop, serial, data / "last.pdf")
    print("sheet", serial, flush=True)
    if n % 3 == 0:
        back_up(shop, data.parent / "copy")
        print("backup", serial, flush=True)
    if n % 2:
        exchange(shop, line)
        print("forward", serial, flush=True)
    table = data.parent / "old.csv"
    table.write_text("Serial;Customer\\n" + "".join(f"O-{n}-{k};Tidal Works\\n" for k in range(50)))
    bring_in(shop, open_table(table), rejects=data.parent / "rejects.csv")
    print("old", serial, flush=True)
"""


TESTS = Path(__file__).parents[2]


def a_day(data, first, seconds):
    """Work until killed; return what was said, as {serial: [what, ...]}."""
    child = subprocess.Popen(
        [sys.executable, "-c", DAY, str(data), str(first)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(TESTS)},
    )
    assert there(child.stdout).readline() == "ready\n"
    time.sleep(seconds)
    os.kill(child.pid, signal.SIGKILL)
    said: dict[str, list[str]] = {}
    for line in there(child.stdout).read().splitlines():
        what, _, serial = line.partition(" ")
        if serial:
            said.setdefault(serial, []).append(what)
    there(child.stdout).close()
    child.wait()
    return said


def killed(shop, times, seed):
    """Kill so many days at random moments; every time all that was said must be there, once."""
    data = shop.book.folder
    rng = random.Random(seed)
    everything: dict[str, list[str]] = {}
    for k in range(times):
        shop.close()
        everything |= a_day(data, 1000 * k, rng.uniform(0.0, 1.2))
        shop = Workshop(data)
        assert list(shop.book.check_chain()) == []
        assert list(check_recordings(shop)) == []
        main = Workshop(data.parent / "main")
        assert list(main.book.check_chain()) == []
        assert list(check_recordings(main)) == []
        main.close()
    names = {"written": "piece"}
    for serial, said in everything.items():
        kinds = [names.get(e.kind, e.kind) for e in whole_story(shop, serial)]
        for what in ("piece", "run", "cut", "note", "sheet"):
            assert kinds.count(what) <= 1  # nothing doubled
            assert what not in said or kinds.count(what) == 1  # nothing lost
        assert [r.serial for r in shop.book.search.find(serial).rows][:1]
        if "old" in said:
            old = shop.book.search.find(f"O{serial[1:]}-").rows
            assert len(old) == 50 and all(len(shop.book.old_book.of_piece(r.id)) == 1 for r in old)
    forwarded(shop, everything)
    told = back_up(shop, data.parent / "copy")
    assert told.head == shop.book.head()[1]
    return len(everything)


def forwarded(shop, everything):
    """What was handed on is in the main house once; the rest arrives with the next exchange, once."""
    app = create_app(shop.book.folder.parent / "main")
    main = app.state.shop
    for serial, said in everything.items():
        if "forward" in said:
            assert [r.number for r in cartridge_story(main, serial).runs] == [1]
    exchange(shop, CutLine(app, add_station(main, "East")))
    for piece in shop.book.jobs.pieces():
        ours, theirs = (
            [(e.kind, e.at, e.text) for e in whole_story(s, piece.serial)] for s in (shop, main)
        )
        assert ours == theirs
    assert list(main.book.check_chain()) == []
    main.close()


@pytest.mark.slow
def test_killed_a_few_times(shop):
    assert killed(shop, 5, seed=1) > 0


@pytest.mark.prove
def test_killed_two_hundred_times(shop):
    assert killed(shop, 200, seed=2) > 100
