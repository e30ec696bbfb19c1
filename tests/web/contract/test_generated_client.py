"""A client that a generator makes of our description passes a whole job: from the order to the signed sheet.

The generator is openapi-python-client, a development tool; the client goes into a folder of the test and is no part
of the program: whoever wants one makes it of the description of the server that is there.
"""

import contextlib
import importlib
import io
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
import uvicorn

import heavyspot
from heavyspot.web.app import create_app

CONFIG = """
post_hooks: []
content_type_overrides:
  application/pdf: application/octet-stream
  text/csv: application/octet-stream
  image/svg+xml: application/octet-stream
"""

PASSWORD = "warm oil, cold hands"
QUICK: Any = {"run_up_s": 3.0, "sample_rate_hz": 25_600.0}
MOST_RUNS = 6


@contextlib.contextmanager
def served(app):
    """Serve on this computer at a port of its own; gives its address."""
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error", lifespan="on"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(20)


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    data = tmp_path_factory.mktemp("made") / "data"
    first = create_app(data, demo=True)
    for name, role in (("Ona", "owner"), ("Tess", "technician")):
        first.state.people.set_user(name, role, PASSWORD)
    key = first.state.people.make_key_of("Tess", "the press", "write", 9)
    first.state.shop.close()
    with served(create_app(data, accounts=True)) as url:
        yield url, key


@pytest.fixture(scope="module")
def made(address, tmp_path_factory):
    """Make the client of what this server gives out, and import it; a warning of the generator fails."""
    import httpx

    url, key = address
    folder = tmp_path_factory.mktemp("client")
    given = httpx.get(f"{url}/api/v1/openapi.json", headers={"Authorization": f"Bearer {key}"})
    (folder / "openapi.json").write_bytes(given.content)
    (folder / "config.yml").write_text(CONFIG)
    tool = Path(sys.executable).with_name("openapi-python-client")
    command = [
        tool, "generate", "--path", folder / "openapi.json", "--output-path", folder / "made_client",
        "--meta", "none", "--config", folder / "config.yml", "--fail-on-warning",
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    sys.path.insert(0, str(folder))
    try:
        made = Made(url, key)
        yield made
        made.client.get_httpx_client().close()
    finally:
        sys.path.remove(str(folder))
        for name in [n for n in sys.modules if n.partition(".")[0] == "made_client"]:
            del sys.modules[name]


class Made:
    """The made client: its calls and shapes by their names."""

    def __init__(self, url, key):
        kind = importlib.import_module("made_client.client").AuthenticatedClient
        self.client = kind(base_url=url, token=key)
        self.models = importlib.import_module("made_client.models")
        self.file = importlib.import_module("made_client.types").File

    def ask(self, group, name, *where, **what):
        """Call, and return what came as the shape it is said to have."""
        call = importlib.import_module(f"made_client.api.{group}.{name}")
        return call.sync(*where, client=self.client, **what)

    def bytes_of(self, group, name, *where):
        call = importlib.import_module(f"made_client.api.{group}.{name}")
        return call.sync_detailed(*where, client=self.client).content


def test_a_whole_job(made, tmp_path):
    m = made.models
    piece = m.MemberIn(serial="GC-1", model="Larch 52", position="front")
    job = m.JobIn(pieces=[piece], customer="Fjord Haulage", invoice="2611-7")
    job_id = made.ask("jobs", "create_job", body=job, idempotency_key="job-2611-7").job
    assert (
        made.ask("jobs", "create_job", body=job, idempotency_key="job-2611-7").job == job_id
    )  # sent twice
    cuts: list[str] = []
    runs: list[Any] = []
    while True:
        path = tmp_path / f"spin{len(runs) + 1}.wav"
        heavyspot.simulate(path, unit=4, seed=len(runs) + 1, cuts=cuts, **QUICK)
        run = bring(made, path)
        assert isinstance(run, m.RunTold), run
        runs.append(run)
        if run.verdict == "pass" or len(runs) == MOST_RUNS:
            break
        assert run.advice.action == "cut" and run.advice.cuts, run.advice.why
        for cut in run.advice.cuts:
            body = m.CutIn(plane=cut.plane, angle_deg=cut.angle_deg, depth_mm=cut.depth_mm)
            ground = made.ask("cartridges", "record_cut", "GC-1", body=body)
            assert ground.serial == "GC-1" and ground.left_mg > 0
            cuts.append(f"{cut.plane}@{cut.angle_deg:.1f}={cut.depth_mm:.3f}mm")
    assert [r.verdict for r in runs][-1] == "pass" and runs[0].verdict == "fail"
    assert max(runs[0].curve.amplitude_g) > runs[0].worst.limit_g > runs[-1].worst.amplitude_g
    again = bring(made, path)
    assert again.read_before and again.number == len(runs)
    sheet = made.ask("cartridges", "issue_sheet", "GC-1", body=m.SheetIn(language="en"))
    assert sheet.verdict == "pass"
    pdf = made.bytes_of("cartridges", "get_sheet_by_number", sheet.number)
    assert pdf.startswith(b"%PDF") and pdf == made.bytes_of("cartridges", "get_sheet", "GC-1")
    assert heavyspot.verify_sheet(pdf).answer == "signed"
    assert heavyspot.verify_sheet(pdf[:-400] + b"x" + pdf[-399:]).answer == "altered"
    kept = made.ask("cartridges", "get_piece", "GC-1")
    assert len(kept.runs) == len(runs) and len(kept.cuts_made) == len(cuts)
    assert {r.by for r in kept.runs} == {"Tess"}  # whose key it is did it
    whole = made.ask("jobs", "get_job", job_id)
    assert [(p.serial, p.verdict) for p in whole.pieces] == [("GC-1", "pass")]


def bring(made, path):
    """Send a recording with what stands beside it."""
    m, beside = made.models, path.with_suffix(".json")
    with path.open("rb") as file:
        form = m.BodyBringRecording(
            recording=made.file(io.BytesIO(file.read()), path.name, "audio/wav"),
            sidecar=made.file(io.BytesIO(beside.read_bytes()), beside.name, "application/json"),
        )
    return made.ask("recordings", "bring_recording", "GC-1", body=form)


def test_a_refusal_is_a_problem_of_its_own_kind(made):
    m = made.models
    none = made.ask("cartridges", "get_piece", "nobody")
    assert isinstance(none, m.Problem) and (none.status, none.code) == (404, "not-there")
    wrong = made.ask("jobs", "create_piece", body=m.PieceIn(serial="", model="Larch 52"))
    assert isinstance(wrong, m.Problem) and wrong.detail and wrong.remedy
    hooks = made.ask("hooks", "list_hooks")
    assert isinstance(hooks, m.Problem) and hooks.code == "not-allowed"


def test_lists_are_walked_by_cursor(made):
    m = made.models
    for n in range(7):
        made.ask("jobs", "create_piece", body=m.PieceIn(serial=f"GL-{n}", model="Larch 52"))
    found: list[str] = []
    cursor: Any = ""
    while cursor is not None:
        page = made.ask(
            "jobs", "list_pieces", limit=3, order=m.ListPiecesOrder("oldest"), cursor=cursor
        )
        found += [p.serial for p in page.items]
        cursor = page.next_
    assert [s for s in found if s.startswith("GL-")] == [f"GL-{n}" for n in range(7)]
    assert len(found) == len(set(found))


def test_serials_with_slashes_and_spaces_find_their_piece(made):
    m = made.models
    made.ask("jobs", "create_piece", body=m.PieceIn(serial="A/B 7", model="Larch 52"))
    assert made.ask("cartridges", "get_piece", "A/B 7").serial == "A/B 7"
