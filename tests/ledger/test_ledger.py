"""Identifiers, schema, archive."""

import sqlite3

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from conftest import there

from heavyspot.ledger.book import Book
from heavyspot.ledger.store.archive import digest_of
from heavyspot.ledger.store.array_bytes import pack, unpack
from heavyspot.ledger.store.identity import new_id
from heavyspot.ledger.store.schema import open_engine
from heavyspot.ledger.store.tables import metadata
from heavyspot.quantities.errors import LedgerFault


def test_identifiers_sort_by_time_and_say_their_version():
    ids = [new_id(ms) for ms in range(1_000_000, 1_000_200)]
    assert ids == sorted(ids) and len(set(ids)) == 200
    assert all(i[14] == "7" and i[19] in "89ab" for i in ids)


def test_migrations_make_exactly_the_tables(tmp_path):
    engine = open_engine(f"sqlite:///{tmp_path / 'x.sqlite'}")
    with engine.connect() as connection:
        # the search box's tables are SQLite's own kind; SQLAlchemy does not describe them
        ours = {
            "include_name": lambda name, kind, _: kind != "table" or not name.startswith("search")
        }
        context = MigrationContext.configure(connection, opts=ours)
        assert compare_metadata(context, metadata) == []
    engine.dispose()


def test_a_newer_ledger_is_refused(tmp_path):
    Book(tmp_path).close()
    db = sqlite3.connect(tmp_path / "ledger.sqlite")
    db.execute("update alembic_version set version_num = '9999'")
    db.commit()
    db.close()
    with pytest.raises(LedgerFault, match="schema 9999"):
        Book(tmp_path)


def test_a_file_that_is_no_ledger_is_refused(tmp_path):
    (tmp_path / "ledger.sqlite").write_bytes(b"not a database, but long enough to look at" * 50)
    with pytest.raises(LedgerFault, match="cannot be opened"):
        Book(tmp_path)


def test_durable_settings(tmp_path):
    book = Book(tmp_path)
    with book._engine.connect() as connection:
        raw = there(connection.connection.dbapi_connection)
        assert raw.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert raw.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    book.close()


def test_missing_recording_is_named(tmp_path):
    book = Book(tmp_path)
    with pytest.raises(LedgerFault, match="is missing"):
        book.archive.open("recordings/2026/01/x.flac")
    book.close()


def test_packing_and_digest(tmp_path):
    import numpy as np

    arrays = {"a": np.arange(5.0), "b": np.exp(1j * np.arange(4.0))}
    back = unpack(pack(arrays))
    assert np.allclose(back["a"], arrays["a"]) and np.allclose(back["b"], arrays["b"], atol=1e-6)
    (tmp_path / "f").write_bytes(b"abc")
    # Source: FIPS 180-4 example, SHA-256 of "abc"
    assert digest_of(tmp_path / "f").startswith("ba7816bf8f01cfea")
