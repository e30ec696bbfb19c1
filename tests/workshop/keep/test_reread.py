"""Archived recordings read anew: the same by any number of workers, once each whoever dies, beside the old."""

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from conftest import there
from sqlalchemy import select
from typer.testing import CliRunner
from workshop.keep.fatal import fatal
from workshop.station.two_houses import QUICK, spun

from heavyspot.cli.main import app
from heavyspot.ledger.store.archive import beside_of
from heavyspot.ledger.store.entries import add_entries, transaction
from heavyspot.ledger.store.identity import new_id
from heavyspot.ledger.store.tables import runs
from heavyspot.quantities.errors import BadInput, LedgerFault, NotThere, SourceLost
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.one_run import archived
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep import reread as reread_module
from heavyspot.workshop.keep import workers
from heavyspot.workshop.keep.reread import Result, Settings, begin_reread, call_back, go_on
from heavyspot.workshop.keep.workers import gang
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.shop import Workshop, find_piece


def many(shop, count):
    """Give the first piece's run to many more runs of one archive: the same bytes, each an entry of its own."""
    spun(shop, "M-0", 1)
    mine = runs.c.piece_id == find_piece(shop, "M-0").id
    with transaction(shop.book._engine) as c:
        row = dict(c.execute(select(runs).where(mine)).mappings().one())
        copies = [row | {"id": new_id(), "number": n} for n in range(2, count + 1)]
        add_entries(c, runs, copies)
    return count


def told(shop, reread_id):
    rows = shop.book.rereads.results(reread_id)
    return [
        (r.run_id, r.verdict, r.worst_ratio, json.dumps(r.content, sort_keys=True)) for r in rows
    ]


def test_nothing_changed_gives_the_same_verdicts(shop):
    for n in range(4):
        spun(shop, f"S-{n}", n)
    made = begin_reread(shop, Settings(), by="Ida")
    done = go_on(shop, made, workers=1)
    assert (done.done, done.total, done.unreadable) == (4, 4, 0)
    for r in shop.book.rereads.results(made):
        assert r.verdict == r.was and r.worst_ratio == pytest.approx(r.was_ratio, rel=1e-6)
    assert call_back(shop, made) == [] and list(shop.book.check_chain()) == []


@pytest.mark.slow
def test_a_sensor_found_wrong_names_the_pieces_to_call_back(shop, tmp_path):
    for n in range(12):
        spun(shop, f"C-{n}", n)
    passed = {p.serial: p.worst_ratio for p in shop.book.jobs.pieces() if p.verdict == "pass"}
    assert passed  # some of the simulated units leave within the limit as they come
    serial = max(passed, key=passed.__getitem__)
    sheet = issue_sheet(shop, serial, tmp_path / "s.pdf").number
    gain = (
        1.25 / passed[serial]
    )  # the sensor read too little: this one is well over the limit in truth
    before = shop.book.cartridges.runs(find_piece(shop, serial).id)
    made = begin_reread(shop, Settings(gain=gain), by="Ida")
    go_on(shop, made, workers=2)
    rows = {r.result.serial: r for r in call_back(shop, made)}
    assert rows[serial].sheet == sheet and rows[serial].result.verdict == "fail"
    assert rows[serial].result.worst_ratio == pytest.approx(gain * passed[serial], rel=1e-6)
    assert set(rows) <= set(passed)
    assert (
        shop.book.cartridges.runs(find_piece(shop, serial).id) == before
    )  # never over the old ones
    stricter = begin_reread(shop, Settings(limit_g=0.01))
    go_on(shop, stricter, workers=1)
    assert {r.result.serial for r in call_back(shop, stricter)} == set(passed)
    looser = begin_reread(shop, Settings(limit_g=50.0))
    go_on(shop, looser, workers=1)
    assert call_back(shop, looser) == []


def test_a_selection_by_rig_model_and_day(shop):
    spun(shop, "A-0", 1)
    add_piece(shop, "A-1", "Larch 38")
    spin(shop, "A-1", simulated_recording(make_cartridge("Larch 38", 2), 2, QUICK), rig="High 2")
    for settings, wanted in (
        (Settings(model="Larch 38"), ["A-1"]), (Settings(rig="High 2"), ["A-1"]), (Settings(), ["A-0", "A-1"]),
        (Settings(since="2020-01-01", until="2999-01-01"), ["A-0", "A-1"]),
    ):  # fmt: skip
        made = begin_reread(shop, settings)
        go_on(shop, made, workers=1)
        assert [r.serial for r in shop.book.rereads.results(made)] == wanted
    for settings in (
        Settings(rig="none"),
        Settings(until="2001-01-01"),
        Settings(gain=0.0),
        Settings(since="soon"),
    ):
        with pytest.raises(BadInput):
            begin_reread(shop, settings)
    with pytest.raises(NotThere, match="no reread"):
        go_on(shop, "x")


@pytest.mark.slow
def test_any_number_of_workers_gives_the_same(shop):
    many(shop, 90)
    one = begin_reread(shop, Settings(gain=1.1))
    go_on(shop, one, workers=1)
    two = begin_reread(shop, Settings(gain=1.1))
    go_on(shop, two, workers=2)
    assert told(shop, one) == told(shop, two) and len(told(shop, one)) == 90


def test_results_that_come_fast_are_written_down_together(shop, monkeypatch):
    """Each writing waits for the disk: one for 64 results was a limit from about twenty workers on."""
    many(shop, 130)
    written, add = [], shop.book.rereads.add

    def at_once(tasks):
        return [Result(t.run_id, "pass", 0.7, {}) for t in tasks]

    def counted(ready):
        written.append(len(ready))
        add(ready)

    monkeypatch.setattr(reread_module, "read_chunk", at_once)
    monkeypatch.setattr(shop.book.rereads, "add", counted)
    made = begin_reread(shop, Settings())
    assert go_on(shop, made, workers=1).done == 130
    assert written == [130]
    monkeypatch.setattr(reread_module, "WRITTEN_S", 0.0)
    again = begin_reread(shop, Settings())
    go_on(shop, again, workers=1)
    assert len(written) > 4  # slow ones do not wait for each other
    assert list(shop.book.check_chain()) == []


def test_stopped_it_goes_on_where_it_was(shop, monkeypatch):
    monkeypatch.setattr(reread_module, "WRITTEN", 10)
    monkeypatch.setattr(reread_module, "CHUNK", 5)
    many(shop, 60)
    made = begin_reread(shop, Settings())
    seen = []
    first = go_on(
        shop, made, workers=1, progress=lambda *p: seen.append(p), stop=lambda: len(seen) > 2
    )
    assert first.stopped and 0 < first.done < 60
    done = go_on(shop, made, workers=1)
    assert done.done == 60 and not done.stopped
    ids = [r[0] for r in told(shop, made)]
    assert len(ids) == len(set(ids)) == 60


def test_what_cannot_be_read_is_a_result_of_its_own(shop):
    for n in range(3):
        spun(shop, f"U-{n}", n)
    one, two = (
        shop.book.cartridges.runs(find_piece(shop, f"U-{n}").id)[0].recording for n in (0, 1)
    )
    (shop.book.folder / one).unlink()
    (shop.book.folder / two).write_bytes(b"torn")
    made = begin_reread(shop, Settings())
    assert go_on(shop, made, workers=2).unreadable == 2
    whys = [r.content.get("why", "") for r in shop.book.rereads.results(made)]
    assert "missing" in whys[0] and "changed" in whys[1] and whys[2] == ""


def test_one_item_that_kills_its_workers_costs_only_itself():
    chunks = [list(range(at, at + 5)) for at in range(0, 40, 5)]
    out = [
        r
        for results in gang(fatal, chunks, lambda item: ("died", item), workers=2)
        for r in results
    ]
    assert sorted(r for r in out if isinstance(r, int)) == [2 * n for n in range(40) if n != 13]
    assert [r for r in out if not isinstance(r, int)] == [("died", 13)]


def crew_of(parent):
    """Processes a pool has started: children that were spawned, as Linux lists them."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            of = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
            if of == parent and b"spawn_main" in (entry / "cmdline").read_bytes():
                found.append(int(entry.name))
        except (OSError, ValueError, IndexError):
            continue
    return found


@pytest.mark.slow
def test_a_worker_killed_ten_times_reads_each_recording_once(shop):
    many(shop, 300)
    made = begin_reread(shop, Settings())
    ended = threading.Event()
    killed: list[int] = []

    def killer():
        while not ended.wait(0.25) and len(killed) < 10:
            workers = crew_of(os.getpid())
            if workers:
                try:
                    os.kill(workers[0], signal.SIGKILL)
                    killed.append(workers[0])
                except ProcessLookupError:
                    pass

    thread = threading.Thread(target=killer)
    thread.start()
    done = go_on(shop, made, workers=2)
    ended.set()
    thread.join()
    assert done.done == done.total == 300 and len(killed) >= 3
    rows = told(shop, made)
    assert len({r[0] for r in rows}) == 300 and len({r[1:] for r in rows}) == 1
    assert list(shop.book.check_chain()) == []


KILLED = """
import sys
from heavyspot.workshop.keep import reread
from heavyspot.workshop.shop import Workshop
reread.WRITTEN = 8
shop = Workshop(sys.argv[1])
reread.go_on(shop, sys.argv[2], workers=1, progress=lambda done, total: print(done, flush=True))
"""


@pytest.mark.slow
def test_killed_itself_it_goes_on(shop):
    many(shop, 120)
    made = begin_reread(shop, Settings())
    for _ in range(3):
        child = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(shop.book.folder), made],
            stdout=subprocess.PIPE,
            text=True,
        )
        said = [int(there(child.stdout).readline()) for _ in range(2)][-1]
        os.kill(child.pid, signal.SIGKILL)
        child.wait()
        there(child.stdout).close()
        assert shop.book.rereads.done(made) >= said
    done = go_on(shop, made, workers=1)
    assert done.done == 120 and len({r[0] for r in told(shop, made)}) == 120


@pytest.mark.slow
def test_a_dask_cluster_does_the_same(shop, monkeypatch):
    from distributed import LocalCluster

    many(shop, 60)
    one = begin_reread(shop, Settings(gain=1.1))
    go_on(shop, one, workers=1)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        two = begin_reread(shop, Settings(gain=1.1))
        go_on(shop, two, scheduler=cluster.scheduler_address)
    assert told(shop, one) == told(shop, two)
    monkeypatch.setattr(workers, "ANSWER_S", 0.5)
    with pytest.raises(SourceLost, match="does not answer"):
        list(gang(fatal, [[1]], lambda i: i, scheduler="tcp://127.0.0.1:1"))


def test_on_the_command_line(shop):
    for n in range(3):
        spun(shop, f"L-{n}", n)
    folder = shop.book.folder

    def run(*words):
        return CliRunner().invoke(app, ["--data", str(folder), "reread", *words])

    made = run("begin", "--limit", "0.01", "--workers", "1", "--by", "Ida")
    assert made.exit_code == 0 and "3 of 3 recordings read anew" in made.output
    (row,) = json.loads(run("list", "--json").output)
    assert row["by"] == "Ida" and row["done"] == 3
    passed = sum(p.verdict == "pass" for p in Workshop(folder).book.jobs.pieces())
    listed = run("call-back", row["id"], "--csv", str(folder / "back.csv"))
    assert f"{passed} pieces to call back" in listed.output
    assert (folder / "back.csv").read_text().startswith("serial,customer,invoice")


@pytest.mark.parametrize("there", [True, False])
def test_a_recording_whose_description_was_changed_is_not_read(shop, there):
    """The direction of rotation stands beside the samples: changed, every angle would be another one."""
    spun(shop, "B-1")
    entry = cartridge_story(shop, "B-1").runs[0].entry
    beside = shop.folder / beside_of(entry.recording)
    said = json.loads(beside.read_text())
    turned = "counterclockwise" if said["rotation"] == "clockwise" else "clockwise"
    if there:
        beside.write_text(json.dumps(said | {"rotation": turned}))
    else:
        beside.unlink()
    with pytest.raises(LedgerFault, match="was changed" if there else "is missing"):
        archived(shop, entry.recording)
    done = go_on(shop, begin_reread(shop, Settings(), by="Ida"), workers=1)
    assert (done.done, done.unreadable) == (1, 1)


def test_a_changed_recording_is_not_looked_at_closer(shop):
    spun(shop, "B-1")
    name = cartridge_story(shop, "B-1").runs[0].entry.recording
    archived(shop, name)
    path = shop.folder / name
    path.write_bytes(path.read_bytes()[:-1] + b"\0\0")
    with pytest.raises(LedgerFault, match="was changed after it was written"):
        archived(shop, name)
    with pytest.raises(LedgerFault, match="No run names"):
        archived(shop, "recordings/2026/01/none.flac")
