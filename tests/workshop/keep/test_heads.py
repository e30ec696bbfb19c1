"""An end that was cut off is seen where a head is kept: with a backup, at the other building, in a time stamp."""

import base64
import json
import sqlite3
from dataclasses import replace

import pytest
from conftest import there
from ledger.postgres import server
from sqlalchemy import text
from workshop.keep.time_stamps import openssl, service

from heavyspot.ledger.exchange import heads as heads_module
from heavyspot.ledger.store.identity import new_id
from heavyspot.ledger.store.tree import root_over
from heavyspot.quantities.errors import LedgerFault, SourceLost, UnreadableFile
from heavyspot.workshop import stamps
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.heads import (
    FILE,
    add_to_file,
    check_heads,
    head_from,
    new_head,
    own_heads,
    read_heads,
    sign_head,
)
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.errands import stamp_daily
from heavyspot.workshop.keep.ledger_state import check_ends, check_ledger
from heavyspot.workshop.people import people_of
from heavyspot.workshop.shop import Workshop


def cut_off(shop, last):
    """Take the newest entries out, links and all, as who has the disk can: nothing in the chain shows it."""
    folder = shop.folder
    shop.close()
    with sqlite3.connect(folder / "ledger.sqlite") as c:
        for number, table, entry in c.execute(
            "select number, of_table, entry_id from chain order by number desc limit ?", (last,)
        ).fetchall():
            if table == "pieces":
                c.execute("delete from piece_index where piece_id = ?", (entry,))
                c.execute("delete from search where piece_id = ?", (entry,))
                c.execute("delete from search_line where piece_id = ?", (entry,))
            c.execute(f"delete from {table} where id = ?", (entry,))
            c.execute("delete from chain where number = ?", (number,))
    c.close()
    return Workshop(folder)


def grown(shop, n=4):
    for k in range(n):
        add_piece(shop, f"H-{new_id()}-{k}", "Larch 52", customer="Tidal Works")


def kinds(shop, heads=()):
    return [f.kind for f in check_ends(shop, list(heads))]


def test_a_cut_end_is_whole_to_the_chain_and_seen_by_a_head(shop, tmp_path):
    grown(shop)
    told = back_up(shop, tmp_path / "copy")
    kept = read_heads(tmp_path / "copy")
    assert [(h.number, h.link) for h in kept] == [(told.entries, told.head)]
    assert kinds(shop, kept) == []
    shop = cut_off(shop, 4)
    assert list(check_ledger(shop)) == []  # the hole this closes
    (fault,) = {f.words() for f in check_heads(shop, kept)}
    assert f"it had {told.entries:,} entries, now {told.entries - 4:,}" in fault
    # the better backup is not written over by the worse ledger
    with pytest.raises(LedgerFault, match=r"cut off.*was not touched"):
        back_up(shop, tmp_path / "copy")
    grown(shop, 9)  # and when it has grown over the cut
    assert "rewritten" in kinds(shop, kept)
    with pytest.raises(LedgerFault, match="rewritten"):
        back_up(shop, tmp_path / "copy")
    shop.close()


def test_another_shops_backup_is_not_written_over(shop, tmp_path):
    other = Workshop(tmp_path / "other")
    back_up(other, tmp_path / "copy")
    other.close()
    with pytest.raises(LedgerFault, match="another ledger"):
        back_up(shop, tmp_path / "copy")


def test_heads_add_up_in_a_backup_and_a_torn_line_is_left_out(shop, tmp_path):
    back_up(shop, tmp_path / "copy")
    with (tmp_path / "copy" / FILE).open("a") as file:
        file.write('{"shop": "Torn')
    grown(shop)
    with pytest.raises(UnreadableFile, match="no head"):
        read_heads(tmp_path / "copy")
    (tmp_path / "torn").mkdir()
    (tmp_path / "torn" / FILE).write_bytes((tmp_path / "copy" / FILE).read_bytes())
    add_to_file(tmp_path / "torn" / FILE, sign_head(shop))
    assert len(read_heads(tmp_path / "torn")) == 2


def test_a_backups_ledger_that_was_changed_for_an_older_one_is_not_restored(shop, tmp_path):
    back_up(shop, tmp_path / "copy")
    older = (tmp_path / "copy/ledger.sqlite").read_bytes()
    grown(shop)
    back_up(shop, tmp_path / "copy")
    (tmp_path / "copy/ledger.sqlite").write_bytes(older)
    with pytest.raises(LedgerFault, match="not what was signed"):
        restore(tmp_path / "copy", tmp_path / "new")


def test_what_a_restore_is_known_to_have_lost_is_no_fault(shop, tmp_path):
    grown(shop)
    back_up(shop, tmp_path / "copy")
    grown(shop)
    after = sign_head(shop)  # of what that backup does not hold
    restore(tmp_path / "copy", tmp_path / "new")
    new = Workshop(tmp_path / "new")
    grown(new)
    now = sign_head(new)
    assert kinds(new, [*read_heads(tmp_path / "copy"), after, now]) == []
    back_up(new, tmp_path / "copy2")
    restore(tmp_path / "copy2", tmp_path / "newer")
    newer = Workshop(tmp_path / "newer")
    assert kinds(newer, [after, now]) == []
    new.close()
    newer = cut_off(newer, 3)
    assert "cut off" in kinds(newer, [now])
    newer.close()


@pytest.mark.parametrize(
    ("change", "kind"),
    [({"number": 3}, "forged"), ({"root": "0" * 64}, "forged"), ({"at": "2020"}, "forged"),
     ({"signature": "AAAA"}, "forged"), ({"certificate": "none"}, "forged"), ({"store": "x"}, "forged")],
)  # fmt: skip
def test_a_changed_head_is_named(shop, change, kind):
    head = sign_head(shop)
    assert [f.kind for f in check_heads(shop, [replace(head, **change)])] == [kind]


def test_a_head_of_somebody_elses_key_is_no_evidence(shop, tmp_path):
    other = Workshop(tmp_path / "other")
    theirs = sign_head(other)
    other.close()
    sign_head(shop)
    assert [f.kind for f in check_heads(shop, [theirs])] == ["another's"]
    (shop.folder / "shop-key.pem").unlink()
    (shop.folder / "shop-certificate.pem").unlink()
    mine = sign_head(shop)
    for name in ("shop-key.pem", "shop-certificate.pem"):
        (shop.folder / name).unlink()
    sign_head(shop)
    assert [f.kind for f in check_heads(shop, [mine])] == ["other key"]


def test_nodes_that_are_kept_are_those_of_all_links(shop, monkeypatch):
    monkeypatch.setattr(heads_module, "BLOCK", 4)
    grown(shop, 7)
    book, number = shop.book, shop.book.head()[0]
    with book.heads._engine.connect() as c:
        leaves = [leaf for b in range(number) for leaf in heads_module._leaves(c, b, number)]
    assert len(leaves) == number
    for _ in range(2):
        assert [book.heads.root(n) for n in range(1, number + 1)] == [
            root_over(leaves[:n]).hex() for n in range(1, number + 1)
        ]
        book.heads.keep_nodes()
        book.heads.keep_nodes()
    assert book.heads.node_faults() == []
    with sqlite3.connect(shop.folder / "ledger.sqlite") as c:
        c.execute("update tree set digest = ? where block = 1", ("0" * 64,))
    c.close()
    assert book.heads.node_faults() == [1]


@pytest.fixture
def stamped(shop, tmp_path):
    with service(tmp_path / "tsa") as (url, sent):
        (shop.folder / "shop.toml").write_text(f'timestamp_url = "{url}"\n')
        yield sent


def test_a_time_stamp_is_what_openssl_says_it_is(shop, stamped, tmp_path):
    head, fault = new_head(shop)
    assert fault == "" and [kind for kind, _ in stamped] == ["application/timestamp-query"]
    assert b"Larch" not in stamped[0][1] and head.link.encode() not in stamped[0][1]
    # by another hand: openssl ts -verify over the very words that are signed
    (tmp_path / "words").write_bytes(head.words().encode())
    (tmp_path / "token").write_bytes(base64.b64decode(head.stamp))
    openssl("ts", "-verify", "-data", tmp_path / "words", "-in", tmp_path / "token", "-token_in",
            "-CAfile", tmp_path / "tsa/tsa.pem")  # fmt: skip
    said = stamps.check_stamp(head.stamp, head.words())
    assert said is not None and said.by == "Harbour Time"
    assert (
        said.fingerprint
        == openssl("x509", "-in", tmp_path / "tsa/tsa.pem", "-noout", "-fingerprint", "-sha256")
        .stdout.decode()
        .split("=")[1]
        .strip()
        .replace(":", "")
        .lower()
    )
    assert [h.stamp for h in own_heads(shop)] == [head.stamp]


def test_a_stamp_fits_nothing_else(shop, stamped):
    head, _ = new_head(shop)
    raw = bytearray(base64.b64decode(head.stamp))
    assert stamps.check_stamp(head.stamp, head.words() + " ") is None
    for at in range(20, len(raw), 37):
        changed = bytearray(raw)
        changed[at] ^= 1
        said = stamps.check_stamp(base64.b64encode(bytes(changed)).decode(), head.words())
        # a certificate's own signature and spare parts may change without touching what was said
        assert said is None or said == stamps.check_stamp(head.stamp, head.words())
    for none in ("", "AAAA", "not base64!", base64.b64encode(b"x" * 3000).decode()):
        assert stamps.check_stamp(none, head.words()) is None


def test_a_service_that_is_away_or_lies_stops_nothing_and_is_named(shop, tmp_path):
    (shop.folder / "shop.toml").write_text('timestamp_url = "http://127.0.0.1:9/"\n')
    told = back_up(shop, tmp_path / "copy")
    assert "does not answer" in told.notes[0] and len(read_heads(tmp_path / "copy")) == 1
    for answer in (b"", b"<html>log in", b"\x30\x03\x02\x01\x00"):
        with pytest.raises(SourceLost, match="no time stamp"):
            stamps.stamp("words", "http://x/", lambda *_, a=answer: a)


def test_a_ledger_that_grew_is_stamped_once_a_day(shop, stamped):
    for _ in range(3):
        stamp_daily(shop)
    assert len(stamped) == 1
    grown(shop)
    stamp_daily(shop)
    assert len(stamped) == 1  # not yet a day
    with sqlite3.connect(shop.folder / "ledger.sqlite") as c:
        (content,) = c.execute("select content from heads").fetchone()
        earlier = json.dumps(json.loads(content) | {"at": "2026-01-01T00:00:00.000Z"})
        c.execute("update heads set content = ?", (earlier,))
    c.close()
    stamp_daily(shop)
    stamp_daily(shop)
    assert len(stamped) == 2


def test_what_is_no_head_is_said(tmp_path):
    for none in ("", "{", "[]", '{"shop": 1}', "null"):
        with pytest.raises(UnreadableFile):
            head_from(none)
    with pytest.raises(UnreadableFile, match="holds no head"):
        read_heads(tmp_path)


def test_on_postgresql_as_on_sqlite(tmp_path, monkeypatch):
    """Heads, nodes, keys and who wrote what, with the other database."""
    monkeypatch.setattr(heads_module, "BLOCK", 4)
    with server() as url:
        (tmp_path / "shop.toml").write_text(f'ledger_url = "{url}"\n')
        shop = Workshop(tmp_path)
        furnish(shop)
        grown(shop, 6)
        head, _ = new_head(shop)
        assert [h.link for h in own_heads(shop)] == [shop.book.head()[1]]
        assert shop.book.heads.node_faults() == [] and kinds(shop, [head]) == []
        rows, _ = shop.book.audit.written(most=5)
        under = shop.book.heads.inclusion(shop.book.jobs.pieces()[0].id, head.number)
        assert [r.number for r in rows] == list(range(head.number, head.number - 5, -1))
        assert under is not None and under.root == head.root
        people = people_of(shop)
        people.set_user("Ona", "owner", "warm oil, cold hands")
        key = people.make_key_of("Ona", "the press", "read", 9)
        assert there(people.by_key(key)).name == "Ona"
        with shop.book.heads._engine.begin() as c:
            last = shop.book.head()[0]
            c.execute(text("delete from keys"))
            c.execute(text("delete from chain where number = :n"), {"n": last})
        grown_to, _ = new_head(shop)
        assert grown_to.number == last - 1
        with shop.book.heads._engine.begin() as c:
            c.execute(text("delete from users"))
            c.execute(text("delete from chain where number >= :n"), {"n": last - 1})
        assert "cut off" in kinds(shop, [grown_to])
        shop.close()
