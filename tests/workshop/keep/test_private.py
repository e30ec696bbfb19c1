"""The ledger, its log and its backups are their owner's alone from the first moment, whatever the umask."""

import os
import stat
import sys

import pytest

from heavyspot.quantities import private
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.heads import sign_head
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.private import make_private, readable_words
from heavyspot.workshop.shop import Workshop

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="modes are POSIX's")


@pytest.fixture(autouse=True)
def open_handed():
    before = os.umask(0)
    yield
    os.umask(before)


def for_all(folder):
    """Files of the ledger, of keys and of settings that others may read or write."""
    names = ("ledger.sqlite*", "*.pem", "station.json", "open.lock")
    return [p for n in names for p in folder.glob(n) if "certificate" not in p.name
            and stat.S_IMODE(p.stat().st_mode) & 0o077]  # fmt: skip


def test_nobody_else_reads_the_ledger_or_its_copies(tmp_path):
    shop = Workshop(tmp_path / "data")
    furnish(shop)
    assert (tmp_path / "data/ledger.sqlite-wal").exists() and for_all(tmp_path / "data") == []
    back_up(shop, tmp_path / "copy")
    assert (tmp_path / "copy/ledger.sqlite").exists() and for_all(tmp_path / "copy") == []
    restore(tmp_path / "copy", tmp_path / "new")
    assert for_all(tmp_path / "new") == []
    shop.close()


@pytest.mark.posix
def test_what_others_may_read_is_said_and_closed(tmp_path, monkeypatch):
    monkeypatch.setattr(
        private, "_by_mode", lambda p: bool(p.stat().st_mode & 0o077)
    )  # as in an open folder
    shop = Workshop(tmp_path / "data")
    furnish(shop)
    sign_head(shop)  # makes the key
    assert readable_words(tmp_path / "data") == ""
    (tmp_path / "data/ledger.sqlite").chmod(0o644)  # as ledgers of before are
    (tmp_path / "data/shop-key.pem").chmod(0o640)
    words = readable_words(tmp_path / "data")
    assert "ledger.sqlite" in words and "shop-key.pem" in words and "heavyspot private" in words
    assert "customer" not in words.split("may read")[1].split(":")[0]
    assert make_private(tmp_path / "data") == ["ledger.sqlite", "shop-key.pem"]
    assert readable_words(tmp_path / "data") == "" and for_all(tmp_path / "data") == []
    (tmp_path / "data/shop.toml").write_text('ledger_url = "postgresql+psycopg://shop:pass@db/x"\n')
    (tmp_path / "data/shop.toml").chmod(0o644)
    assert "shop.toml" in readable_words(tmp_path / "data")
    shop.close()
