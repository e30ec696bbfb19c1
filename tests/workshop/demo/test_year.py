"""The demo shop's year: written by the verbs everybody uses, in the order of its days, all of it or nothing."""

import sqlite3
from datetime import UTC, date, datetime

import pytest

from heavyspot.quantities import clock
from heavyspot.workshop.cartridge import cartridge_story
from heavyspot.workshop.demo import year
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.flow.kept import flow_tests_of
from heavyspot.workshop.job.lookup import newest_jobs
from heavyspot.workshop.job.pieces import all_pieces
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.ledger_state import check_ledger
from heavyspot.workshop.rig.health import master_state
from heavyspot.workshop.shop import Workshop

CHAINED = """
    select entry_id from chain
    where of_table in ('models', 'rigs', 'runs', 'cuts', 'sheets', 'piece_events') order by number
"""
"""What is written on the day it happens; a row of the old book bears the day that stands in it."""

TODAY = datetime(2026, 11, 26, 15, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    with Workshop(tmp_path_factory.mktemp("year") / "data") as shop:
        with clock.made_up(datetime(2025, 11, 25, tzinfo=UTC)):
            furnish(shop)
        year.live_a_year(shop, today=TODAY, pieces=4, old=30)
        yield shop


def test_every_entry_is_of_its_day_and_chained_in_that_order(lived):
    with sqlite3.connect(lived.folder / "ledger.sqlite") as db:
        links = [_time_of(i) for (i,) in db.execute(CHAINED)]
    db.close()
    assert links == sorted(links)
    assert links[0].date() == date(2025, 11, 25) and links[-1] <= TODAY
    assert not list(check_ledger(lived))


def _time_of(uuid7):
    """RFC 9562, 5.7: the first 48 bits are milliseconds of Unix time."""
    return datetime.fromtimestamp(int(uuid7.replace("-", "")[:12], 16) / 1000, UTC)


def test_there_is_something_of_everything(lived):
    pieces = all_pieces(lived)
    assert len(pieces) > 60 and {p.kind for p in pieces} == {"cartridge", "rotor"}
    spun = [cartridge_story(lived, p.serial) for p in pieces if p.serial[4:6] == "92"]
    done = [s for s in spun if s.last and s.last.result.verdict == "pass"]
    asks = [s for s in spun if s.last and s.last.result.advice.action == "cut"]
    assert len(done) >= 6 and len(asks) == 1 and sum(s.last is None for s in spun) >= 10
    for s in done:
        assert s.last is not None and s.last.result.advice.action == "stop" and s.made
    assert any(e.kind == "sheet" for s in done for e in whole_story(lived, s.piece.serial))
    assert sum(bool(flow_tests_of(lived, p.serial)) for p in pieces) == 8
    due = [j.due for j in newest_jobs(lived) if j.due]
    assert min(due) < "2026-11-26" < max(due)
    for rig in ("simulated rig", year.OTHER_RIG):
        state = master_state(lived, rig)
        assert state is not None


def test_an_interrupted_try_leaves_nothing_and_a_ledger_is_left_alone(tmp_path, monkeypatch):
    folder = tmp_path / "demo"

    def cut_off(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(year, "live_a_year", cut_off)
    with pytest.raises(KeyboardInterrupt):
        year.furnish_a_year(folder)
    assert not folder.exists()
    monkeypatch.setattr(year, "live_a_year", lambda *_, **__: None)
    year.furnish_a_year(folder)
    assert [p.name for p in tmp_path.iterdir()] == ["demo"]
    monkeypatch.setattr(year, "live_a_year", cut_off)
    year.furnish_a_year(folder)  # there already
