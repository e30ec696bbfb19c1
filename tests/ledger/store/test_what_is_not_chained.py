"""Somebody at the database or in the folder: nothing that is not chained is believed without being compared."""

import contextlib
import json
import shutil
import sqlite3

import pytest
from ledger.postgres import server
from sqlalchemy import text
from workshop.station.two_houses import spun

from heavyspot.quantities.errors import LedgerFault
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.editing import amend_job, amend_piece
from heavyspot.workshop.job.lookup import search_pieces
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.ledger_state import check_index, check_ledger, reindex
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.rotor.measuring import measure_typed
from heavyspot.workshop.rotor.models import add_rotor
from heavyspot.workshop.sheets.issue import issue_rotor_sheet
from heavyspot.workshop.shop import Workshop, find_piece


@pytest.fixture(params=["SQLite", "PostgreSQL"])
def shop(request, tmp_path):
    with server() if request.param == "PostgreSQL" else contextlib.nullcontext("") as url:
        if url:
            (tmp_path / "shop.toml").write_text(f'ledger_url = "{url}"\n')
        made = Workshop(tmp_path)
        furnish(made)
        for n in range(3):
            add_rotor(made, f"W-{n}", "Blower 900", customer="Tidal Works", invoice=f"I-{n}")
            measure_typed(made, f"W-{n}", [1, 1], [1, 2], by="Ida")
        tell(made, "W-0", "note", "found a dent", by="Ida")
        amend_piece(made, "W-1", {"position": "rear"}, by="Ida", why="seen")
        job = find_piece(made, "W-1").job_id
        amend_job(made, job, {"customer": "Other Works"}, by="Ida", why="sold", seen=None)
        yield made
        made.close()


def edit(shop, statement):
    with shop.book._engine.begin() as c:
        c.execute(text(statement))


EDITS = {
    "customer": "update piece_index set customer = 'Mallory' where serial = 'W-0'",
    "serial": "update piece_index set serial = 'M-0' where serial = 'W-0'",
    "verdict": "update piece_index set verdict = 'fail', number = 9 where serial = 'W-0'",
    "places": "update piece_index set serial = case serial when 'W-0' then 'x1' when 'W-1' then 'x2' "
    "else serial end",
    "gone": "delete from piece_index where serial = 'W-2'",
    "words": "update search set words = 'mallory' where piece_id = "
    "(select piece_id from piece_index where serial = 'W-0')",
}


def test_an_honest_ledger_is_found_honest(shop):
    assert list(check_index(shop)) == []
    assert reindex(shop) == 0


@pytest.mark.parametrize("name", EDITS)
def test_an_edited_index_is_found_and_made_anew(shop, name):
    before = {s: find_piece(shop, s) for s in ("W-0", "W-1", "W-2")}
    head = shop.book.head()
    edit(shop, EDITS[name])
    assert list(check_ledger(shop)) == []  # the chain knows nothing of it
    assert [b.kind for b in check_index(shop)] and all(
        "reindex" in b.words() for b in check_index(shop)
    )
    reindex(shop)
    assert list(check_index(shop)) == [] and shop.book.head() == head
    assert {s: find_piece(shop, s) for s in before} == before
    assert [p.serial for p in search_pieces(shop, "dent").rows] == ["W-0"]


def test_two_serials_that_changed_places_go_back(shop):
    edit(shop, "update piece_index set serial = 'x' where serial = 'W-0'")
    edit(shop, "update piece_index set serial = 'W-0' where serial = 'W-1'")
    edit(shop, "update piece_index set serial = 'W-1' where serial = 'x'")
    assert len(list(check_index(shop))) == 2
    assert reindex(shop) == 2
    assert list(check_index(shop)) == [] and find_piece(shop, "W-1").customer == "Other Works"


@pytest.mark.parametrize("name", ["customer", "serial"])
def test_no_sheet_is_made_of_an_edited_index(shop, name):
    edit(shop, EDITS[name])
    serial = "M-0" if name == "serial" else "W-0"
    with pytest.raises(LedgerFault, match="reindex"):
        issue_rotor_sheet(shop, serial)
    reindex(shop)
    assert issue_rotor_sheet(shop, "W-0").number.endswith("00001")


def test_a_changed_sidecar_is_found_and_not_backed_up(tmp_path):
    shop = Workshop(tmp_path / "data")
    furnish(shop)
    spun(shop, "S-1")
    (recording,) = (tmp_path / "data/recordings").rglob("*.flac")
    beside = recording.with_suffix(".json")
    back_up(shop, tmp_path / "good")
    content = json.loads(beside.read_text())
    content["rotation"] = {"clockwise": "counterclockwise"}.get(content["rotation"], "clockwise")
    beside.write_text(json.dumps(content))
    name = beside.relative_to(tmp_path / "data").as_posix()
    assert [(d.name, d.fault) for d in check_recordings(shop)] == [(name, "changed")]
    assert [d.name for d in back_up(shop, tmp_path / "bad").damaged] == [name]
    assert back_up(shop, tmp_path / "good").damaged == ()  # it has the whole one still
    restore(tmp_path / "good", tmp_path / "new")
    back = Workshop(tmp_path / "new")
    assert list(check_recordings(back)) == []
    back.close()
    beside.unlink()
    assert [(d.name, d.fault) for d in check_recordings(shop)] == [(name, "missing")]
    shop.close()


def test_a_damaged_page_of_an_index_is_found(tmp_path):
    shop = Workshop(tmp_path / "data")
    furnish(shop)
    for n in range(200):
        add_piece(shop, f"P-{n}", "Larch 52", customer=f"Customer {n}")
    assert list(check_index(shop)) == []
    shop.close()
    path = tmp_path / "data/ledger.sqlite"
    with contextlib.closing(sqlite3.connect(path)) as c:
        c.execute("pragma wal_checkpoint(truncate)")
        page = c.execute(
            "select rootpage from sqlite_master where name = 'ix_piece_index_invoice'"
        ).fetchone()[0]
        size = c.execute("pragma page_size").fetchone()[0]
    shutil.copy(path, tmp_path / "whole.sqlite")
    with path.open("r+b") as file:
        file.seek((page - 1) * size + size // 2)
        file.write(b"\xa5" * (size // 2))
    damaged = Workshop(tmp_path / "data")
    assert any(b.kind == "database" for b in check_index(damaged))
    damaged.close()
