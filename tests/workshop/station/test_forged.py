"""A station that lies: no field of what it sends is believed, and no name of its choice becomes a path."""

import json
from dataclasses import replace
from urllib.parse import quote

import pytest
from conftest import there
from sqlalchemy import JSON, String
from workshop.station.test_station import a_day, whole
from workshop.station.two_houses import TwoHouses

from heavyspot.ledger.exchange.checked import EXCHANGED
from heavyspot.ledger.exchange.envelope import Parcel, opened, unwrapped, wrapped
from heavyspot.ledger.store.archive import is_name
from heavyspot.ledger.store.chain import OF_ONE_STORE, UNCHAINED, link_digest
from heavyspot.ledger.store.identity import new_id
from heavyspot.ledger.store.tables import metadata
from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.documents import attach
from heavyspot.workshop.keep.backup import back_up
from heavyspot.workshop.station.station import exchange

OUTSIDE = (
    "../shop-key.pem", "recordings/../../shop-key.pem", "/etc/hostname", "papers/..", "shop-key.pem",
    "ledger.sqlite", "C:\\shop-key.pem", "recordings\\..\\shop-key.pem", "papers/2026/01/x\n.pdf", "papers//x", "",
    "recordings/2026/01/\u0661.flac", "papers/2026/01/" + "x" * 5000, "file:///etc/hostname",
)  # fmt: skip

WRONG: tuple[object, ...] = (
    None, True, -1, 0, 1, 2**31, 2**63, 2**200, 1e308, 1e999, float("nan"), "", "x", "0", "\x00", "\ud800",
    "x" * 100_000, "../../shop-key.pem", "' or 1=1 --", [], {}, [[]], {"a": None}, {"kept_as": "../shop-key.pem"},
    {"kept_as": 5}, {"serial": 5}, {"serial": "x" * 999}, {"id": new_id()}, "2026-01-01", "\r\nX: y", b"",
)  # fmt: skip


@pytest.fixture(scope="module")
def houses(tmp_path_factory):
    made = TwoHouses(tmp_path_factory.mktemp("forged"), furnish)
    exchange(made.east, made.line)
    a_day(made.east, "E", 1)
    attach(made.east, "E-0", "w.txt", b"as found", by="Ida")
    yield made
    made.close()


@pytest.fixture
def parcels(houses):
    """One genuine parcel of each kind."""
    every = houses.east.book.exchange.offer(0, taker="nobody").parcels
    return {p.table: p for p in every}


def forged(parcel, **columns):
    """Return a parcel with other values, and a link that fits them: whoever has the store can make one."""
    table = metadata.tables[parcel.table]
    row = parcel.row | columns
    try:
        digest = link_digest(parcel.before, parcel.table, unwrapped(table, row))
    except (TypeError, ValueError):
        digest = parcel.digest
    return replace(parcel, row=row, digest=digest)


def post(houses, body):
    """Send JSON as it is spelled here, NaN and all."""
    return houses.line.client.post(
        "/api/v1/exchange/entries",
        content=json.dumps(body).encode(errors="ignore"),
        headers={"Content-Type": "application/json"},
    )


def test_every_kind_of_entry_is_said_to_be_exchanged_or_not():
    every = set(metadata.tables) - UNCHAINED
    assert every == EXCHANGED | OF_ONE_STORE and not EXCHANGED & OF_ONE_STORE


def test_what_the_program_writes_itself_passes(parcels):
    assert len(parcels) >= 8
    for parcel in parcels.values():
        opened(parcel)


def test_no_field_takes_what_it_cannot_hold(parcels):
    tried = taken = 0
    for parcel in parcels.values():
        table = metadata.tables[parcel.table]
        for name, column in table.c.items():
            for wrong in (*WRONG, *OUTSIDE):
                tried += 1
                try:
                    row = opened(forged(parcel, **{name: wrong})).row
                except BadInput:
                    continue
                taken += 1
                value = row[name]
                python = dict if isinstance(column.type, JSON) else column.type.python_type
                if value is None:
                    assert column.nullable
                elif python is float:
                    assert isinstance(value, (int, float)) and abs(value) < float("inf")
                elif python is dict:
                    assert isinstance(value, (dict, list))
                else:
                    assert type(value) is python, (parcel.table, name, wrong)
                if isinstance(column.type, String):
                    assert len(value or "") <= there(column.type.length) and "\x00" not in (
                        value or ""
                    )
                if name in ("recording", "kept_as"):
                    assert not value or is_name(value)
    assert tried > 3000 and taken < tried / 2


@pytest.mark.parametrize("name", OUTSIDE)
def test_a_name_from_outside_never_becomes_a_path(houses, parcels, name):
    """Through the whole line: taken or not, the key and the ledger are nobody's to fetch."""
    main = houses.main
    (main.folder / "shop-key.pem").touch()
    before = main.book.head()
    events = [
        forged(parcels["runs"], id=new_id(), number=77, recording=name),
        forged(parcels["sheets"], id=new_id(), number="2026-East99999", kept_as=name),
        forged(
            parcels["happenings"], id=new_id(), kind="attached",
            content={"file": "a.txt", "kept_as": name, "sha256": "0" * 64, "bytes": 1},
        ),
    ]  # fmt: skip
    for parcel in events:
        offer = houses.east.book.exchange.offer(0, taker="nobody")
        body = {"offer": {"store": new_id(), "parcels": [vars(parcel)], "number": parcel.number,
                          "digest": parcel.digest, "schema": offer.schema}}  # fmt: skip
        answer = post(houses, body)
        assert answer.status_code == 422, answer.text
        assert not name or "no name of a file" in answer.text or "cannot be" in answer.text
    assert main.book.head() == before
    put = houses.line.client.put(
        f"/api/v1/exchange/files/{quote(name)}?at=0&digest={'0' * 64}&last=true"
    )
    assert put.status_code in (404, 405, 422)
    archive = main.book.archive
    assert not archive.exists(name) and archive.fault(name, "0" * 64) == "missing"
    assert archive.remove(name) == 0 and (main.folder / "shop-key.pem").exists()
    with pytest.raises(LedgerFault, match="no name"):
        archive.open(name)


@pytest.mark.parametrize(
    "table", sorted(OF_ONE_STORE | UNCHAINED | {"alembic_version", "nothing", "", "__class__"})
)
def test_a_station_writes_only_its_own_kinds(houses, table):
    columns = metadata.tables[table].c if table in metadata.tables else ()
    row = {c.name: "x" for c in columns} | {"id": new_id(), "role": "owner", "name": "Mallory"}
    row = {k: v for k, v in row.items() if table not in metadata.tables or k in columns}
    parcel = Parcel(1, table, row, "0" * 64, link_digest("0" * 64, table, row))
    before = houses.main.book.head()
    offer = replace(
        houses.east.book.exchange.offer(0, taker="x"), store=new_id(), parcels=(parcel,)
    )
    with pytest.raises(BadInput, match="not exchanged"):
        houses.main.book.exchange.take(offer)
    assert houses.main.book.head() == before


@pytest.mark.parametrize("field", ["number", "table", "row", "before", "digest", "seen"])
def test_a_parcel_of_any_shape_is_answered_in_words(houses, parcels, field):
    parcel = vars(parcels["cuts"])
    for wrong in WRONG:
        if isinstance(wrong, bytes):
            continue
        sent = {
            "store": new_id(),
            "parcels": [parcel | {field: wrong}],
            "number": 1,
            "digest": "0" * 64,
        }
        answer = post(houses, {"offer": sent})
        assert answer.status_code in (200, 400, 422), (wrong, answer.text)
    for wrong in (*WRONG[:-1], {"parcels": 5}):
        for key in ("store", "parcels", "number", "digest", "schema"):
            sent = {"store": new_id(), "parcels": [], "number": 1, "digest": "0" * 64, key: wrong}
            answer = post(houses, {"offer": sent})
            assert answer.status_code in (200, 400, 422), (key, wrong, answer.text)
    whole(houses.main)


def test_a_forged_row_in_the_ledger_itself_leads_a_backup_nowhere(houses, tmp_path):
    """Somebody who got at the database: a backup must not carry off, or write, what lies outside."""
    main = houses.main
    attach(main, "E-0" if main.book.jobs.piece("E-0") else _a_piece(main), "x.txt", b"x")
    copy = tmp_path / "copy"
    named = [("1", "../outside.txt", "0" * 64)]
    (main.folder.parent / "outside.txt").write_text("secret")
    files = type(main.book.events).files
    with pytest.MonkeyPatch.context() as m:
        m.setattr(type(main.book.events), "files", lambda self: files(self) + named)
        told = back_up(main, copy)
    assert [d.name for d in told.damaged] == ["../outside.txt"]
    assert not (tmp_path / "outside.txt").exists()


def _a_piece(shop):
    from heavyspot.workshop.job.pieces import add_piece

    add_piece(shop, "M-0", "Larch 52")
    return "M-0"


def test_wrapped_bytes_come_back(parcels):
    runs = parcels["runs"]
    table = metadata.tables["runs"]
    assert wrapped("runs", unwrapped(table, runs.row)) == runs.row
