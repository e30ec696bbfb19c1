"""How often the ledger is asked: looked up once, passed down (counted, not timed)."""

from collections import Counter
from contextlib import contextmanager

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

import heavyspot
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.web.app import create_app

QUICK = SpinSettings(run_up_s=5.0, hold_s=0.3, coast_s=2.0, sample_rate_hz=25_600.0)


@pytest.fixture(scope="module")
def advised(tmp_path_factory):
    """A cartridge spun twice, with a cut advised; its client and shop."""
    app = create_app(tmp_path_factory.mktemp("statements") / "data", demo=True)
    shop = app.state.shop
    heavyspot.add_piece(shop, "SQL-1", "Larch 52")
    for n in (1, 2):
        unit = make_cartridge("Larch 52", 3, peak_g=1.5)
        told = heavyspot.spin(shop, "SQL-1", simulated_recording(unit, n, QUICK))
    assert told.advice.cuts
    with TestClient(app, base_url="http://127.0.0.1") as client:
        yield client, shop


@contextmanager
def counted(shop):
    """Gather the SQL statements of a block."""
    seen = []

    def note(_c, _cursor, statement, *_rest):
        seen.append(" ".join(statement.split()))

    engine = shop.book._engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(engine, "before_cursor_execute", note)


def test_the_bench_page_asks_at_most_eight_times_and_never_twice_the_same(advised):
    client, shop = advised
    with counted(shop) as seen:
        assert client.get("/bench/SQL-1").status_code == 200
    assert len(seen) <= 8, seen
    assert max(Counter(seen).values()) == 1, Counter(seen).most_common(2)


def test_the_poll_asks_once_and_loads_no_curve(advised):
    client, shop = advised
    client.get("/api/v1/bench/SQL-1")
    with counted(shop) as seen:
        assert client.get("/api/v1/bench/SQL-1").status_code == 200
    assert len(seen) <= 1, seen
    assert not [s for s in seen if "curve" in s.lower()], seen


def test_as_advised_asks_at_most_ten_times(advised):
    _, shop = advised
    with counted(shop) as seen:
        heavyspot.ground_as_advised(shop, "SQL-1", by="Ida")
    assert len(seen) <= 10, seen
