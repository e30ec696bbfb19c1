"""A full disk, a database that goes and comes back, two writers: clear words, nothing lost or doubled."""

import contextlib
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from ledger.postgres import control, server
from workshop.station.two_houses import recording, spun

from heavyspot.quantities.errors import BadInput, LedgerAway, LedgerFault
from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.grinding import ground_as_advised
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.editing import amend_job, amend_piece
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.model.models import add_model, find_model
from heavyspot.workshop.shop import Workshop, find_piece

FULL = """
import resource, signal, sys
import heavyspot
from pathlib import Path
from heavyspot.quantities.errors import LedgerFault
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.job.documents import attach
from workshop.station.two_houses import recording, spun

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
shop = Workshop(sys.argv[1])
takes = recording(1)
said = []
room = max(p.stat().st_size for p in Path(sys.argv[1]).glob("ledger.sqlite*")) + 60_000
resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))
for n in range(400):
    try:
        heavyspot.add_piece(shop, f"F-{n}", "Larch 52")
        print("piece", n, flush=True)
        heavyspot.spin(shop, f"F-{n}", takes)
        print("run", n, flush=True)
    except LedgerFault as fault:
        print("refused", fault, flush=True)
        said.append(n)
        if len(said) == 3:
            break
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
heavyspot.add_piece(shop, "after", "Larch 52")
print("room again", flush=True)
"""


@pytest.mark.slow
def test_a_full_disk_is_said_and_loses_nothing(tmp_path):
    shop = Workshop(tmp_path / "data")
    furnish(shop)
    shop.close()
    tests = str(Path(__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path / "data")],
        capture_output=True, text=True, env={**os.environ, "PYTHONPATH": tests}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    lines = done.stdout.splitlines()
    assert lines[-1] == "room again" and any("cannot be" in line for line in lines)
    shop = Workshop(tmp_path / "data")
    for line in lines:
        what, _, n = line.partition(" ")
        if what in ("piece", "run"):
            assert len(cartridge_story(shop, f"F-{n}").runs) >= (what == "run")
    assert list(shop.book.check_chain()) == [] and list(check_recordings(shop)) == []
    shop.close()


def test_a_database_that_goes_and_comes_back(tmp_path):
    with server() as url, contextlib.ExitStack() as stack:
        folder = url.split("host=")[1]
        (tmp_path / "shop.toml").write_text(f'ledger_url = "{url}"\n')
        app = create_app(tmp_path)
        furnish(app.state.shop)
        client = stack.enter_context(TestClient(app, base_url="http://127.0.0.1"))
        body = {"serial": "P-1", "model": "Larch 52"}
        assert client.post("/api/v1/pieces", json=body).status_code == 201
        control(folder, "stop -m immediate")
        for answer in (
            client.get("/api/v1/pieces/P-1"),
            client.post("/api/v1/pieces", json=body | {"serial": "P-2"}),
        ):
            assert (
                answer.status_code == 503 and "cannot be read or written" in answer.json()["detail"]
            )
        assert "cannot be read or written" in client.get("/").text
        with pytest.raises(LedgerAway):
            spin(app.state.shop, "P-1", recording(1))
        control(folder, "start")
        assert client.get("/api/v1/pieces/P-1").json()["runs"] == []
        assert client.post("/api/v1/pieces", json=body | {"serial": "P-2"}).status_code == 201
        spin(app.state.shop, "P-1", recording(1))
        assert list(app.state.shop.book.check_chain()) == []


@pytest.fixture(params=["SQLite", "PostgreSQL"])
def two(request, tmp_path):
    """The same ledger, opened twice."""
    with server() if request.param == "PostgreSQL" else contextlib.nullcontext("") as url:
        if url:
            (tmp_path / "shop.toml").write_text(f'ledger_url = "{url}"\n')
        made = Workshop(tmp_path), Workshop(tmp_path)
        furnish(made[0])
        yield made
        for shop in made:
            shop.close()


def at_once(*calls):
    """Call at the same moment; returns what each gave or raised."""
    gate = threading.Barrier(len(calls))
    out: list[Any] = [None] * len(calls)

    def run(k, call):
        gate.wait()
        try:
            out[k] = call()
        except (LedgerFault, BadInput) as fault:
            out[k] = fault

    threads = [threading.Thread(target=run, args=item) for item in enumerate(calls)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    return out


@pytest.mark.slow
def test_two_at_once_make_one_cut_one_serial_and_runs_in_a_row(two):
    one, other = two
    spun(one, "T-1", 3)
    if not cartridge_story(one, "T-1").asked:
        pytest.fail("this seed is to be over its limit")
    for _ in range(4):
        at_once(*[lambda s=s: ground_as_advised(s, "T-1") for s in (one, other, one, other)])
    made = cartridge_story(one, "T-1").made
    assert len(made) == len({c.plane for c in made}) == len(cartridge_story(one, "T-1").asked)
    for n in range(6):
        told = at_once(*[lambda s=s, n=n: add_piece(s, f"S-{n}", "Larch 52") for s in two])
        assert sum(isinstance(t, LedgerFault) for t in told) == 1
    recording(4)
    told = at_once(*[lambda s=s: spin(s, "T-1", recording(4)).number for s in two])
    runs = [r.number for r in cartridge_story(one, "T-1").runs]
    assert runs == list(range(1, 1 + len(runs))) and len(runs) == 1 + sum(
        isinstance(t, int) for t in told
    )
    assert list(one.book.check_chain()) == []


def test_a_form_that_was_looked_at_before_somebody_else_changed_it_is_refused(two):
    one, other = two
    add_piece(one, "T-2", "Larch 52", customer="A", invoice="1")
    job = find_piece(one, "T-2").job_id
    amend_job(one, job, {"customer": "B"}, by="Ida", why="x", seen="")
    with pytest.raises(LedgerFault, match="Ida has changed this meanwhile"):
        amend_job(other, job, {"customer": "C"}, by="Jon", why="y", seen="")
    now = other.book.jobs.amendments(job)[-1].id
    amend_job(other, job, {"customer": "C"}, by="Jon", why="y", seen=now)
    told = at_once(
        *[lambda s=s, k=k: amend_piece(s, "T-2", {"position": k}, by=k, why="z", seen="")
          for s, k in zip(two, ("front", "rear"), strict=True)]
    )  # fmt: skip
    assert sum(isinstance(t, LedgerFault) for t in told) == 1
    version = one.book.models.newest("Larch 52").id
    content = one.book.models.newest("Larch 52").content
    add_model(one, {**content, "test_speed_rpm": 140_000}, by="Ida", seen=version)
    with pytest.raises(LedgerFault, match="Ida has changed"):
        add_model(other, {**content, "test_speed_rpm": 130_000}, by="Jon", seen=version)
    assert find_model(one, "Larch 52").test_speed_rpm == 140_000
