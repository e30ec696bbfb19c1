"""One program spins on a data folder at a time; the others see where, and offer no rescue of a running spin."""

import json
import subprocess
import sys
import time

import pytest
from conftest import there
from workshop.bench.test_left_behind import bench_of, runs_of, waited

from heavyspot.quantities.errors import LedgerFault
from heavyspot.workshop.bench.bench import Bench
from heavyspot.workshop.bench.live_store import LiveStore
from heavyspot.workshop.demo.rigs import demo_source
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.shop import Workshop


@pytest.fixture
def two(shop):
    """Two servers on one data folder; the first spins as slowly as the real rig."""
    for n in (1, 2):
        add_piece(shop, f"L-{n}", "Larch 52")
    other = Workshop(shop.folder)

    def slow(serial):
        return demo_source(shop, serial, pace=1.0)

    yield Bench(shop, slow, slow), bench_of(other)
    other.close()


def sampled(capture, seconds):
    until = time.monotonic() + 60
    while capture.sampled < seconds * capture.description.sample_rate_hz:
        assert time.monotonic() < until
        time.sleep(0.02)


def test_a_second_server_sees_the_spin_and_offers_no_rescue(two):
    one, other = two
    capture = one.spin("L-1")
    try:
        sampled(capture, 0.1)
        assert list(one.folder.glob("*.wav"))
        assert other.question("L-1") == "spinning" and other.spins("L-1")
        assert other.rescued("L-1") == [] and other.question("L-2") == "prepare"
        for act in (
            lambda: other.spin("L-2"),
            lambda: other.rescue("L-1", keep=False),
            lambda: other.rescue("L-1", keep=True),
            lambda: other.listen("L-2"),
            other.stop,
        ):
            with pytest.raises(LedgerFault, match=r"L-1 .*spin.* at .*process"):
                act()
        assert runs_of(other.shop, "L-1") == ()
        add_piece(other.shop, "L-3", "Larch 52")  # the ledger itself is open to both
        sampled(capture, 5.0)
    finally:
        one.close()
    waited(one)
    assert len(runs_of(other.shop, "L-1")) == 1
    other.spin("L-2")  # free again
    waited(other)
    assert len(runs_of(one.shop, "L-2")) == 1


HOLDS = """
import sys, time
from pathlib import Path
from heavyspot.workshop.bench.live_store import LiveStore
store = LiveStore(Path(sys.argv[1]))
store.take("L-1")
print("held", flush=True)
time.sleep(60)
"""


@pytest.mark.posix
def test_a_program_that_was_killed_holds_nothing(tmp_path):
    child = subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    there(child.stdout).readline()
    store = LiveStore(tmp_path)
    assert there(store.elsewhere()).serial == "L-1"
    with pytest.raises(LedgerFault, match=f"process {child.pid}"):
        store.take("L-2")
    child.kill()
    child.wait()
    there(child.stdout).close()
    assert store.elsewhere() is None
    store.take("L-2")
    store.release("L-2")


def test_on_another_machine_the_beat_tells(tmp_path, monkeypatch):
    """Over a share a lock may not reach: who beats lives, who stood still long enough is gone."""
    now = [100.0]
    monkeypatch.setattr("heavyspot.workshop.bench.live_store.time.monotonic", lambda: now[0])
    monkeypatch.setattr("heavyspot.workshop.bench.live_store.time.sleep", lambda s: None)
    store = LiveStore(tmp_path)
    said = {"host": "shop-two", "name": "shop-two, process 7", "serial": "L-9", "beat": 1}

    def beat(n):
        (tmp_path / "owner.json").write_text(json.dumps(said | {"beat": n}))

    for n in range(5):
        beat(n)
        now[0] += 8
        assert there(store.elsewhere()).serial == "L-9"
    with pytest.raises(LedgerFault, match="shop-two, process 7"):
        store.take("L-1")
    now[0] += 11
    assert store.elsewhere() is None
    store.take("L-1")
    store.release("L-1")


@pytest.mark.parametrize("torn", [b"", b"[]", b"{", b'{"host": 3}'])
def test_a_torn_owner_file_stops_nobody(tmp_path, torn):
    (tmp_path / "owner.json").write_bytes(torn)
    store = LiveStore(tmp_path)
    assert store.elsewhere() is None
    store.take("L-1")
    store.release("L-1")
