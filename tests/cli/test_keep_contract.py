"""backup, restore, move and verify as commands: one document, plain refusals."""

import contextlib

import pytest
from cli.test_contract import ROOT, Shell
from ledger.old_ledger import make_old

from heavyspot.workshop.held import hold


@pytest.fixture
def shell(tmp_path):
    made = Shell(tmp_path)
    made.run("rotor", "model", ROOT / "docs/examples/larch52-wheel.toml")
    made.run("rotor", "new", "--serial", "W-1", "--rotor", "Larch 52 shaft and wheel")
    return made


def test_backup_restore_move(shell):
    told = shell.json("backup", "copy")
    assert told["entries"] == 3 and told["head"] == shell.json("verify")["head"]
    assert "read back and whole" in shell.run("backup", "copy").stdout
    restored = shell.run("--data", "new", "restore", "copy", "--json")
    assert told["head"] in restored.stdout
    assert "holds a ledger already" in shell.run("--data", "new", "restore", "copy", code=2).stderr
    moved = shell.json("move", "new", "newer")
    assert (moved["entries"], moved["head"]) == (4, shell.json("--data", "newer", "verify")["head"])
    assert "already" in shell.run("move", "data", "newer", code=2).stderr
    assert "no backup" in shell.run("--data", "x", "restore", "nowhere", code=2).stderr


def test_an_older_ledger_waits_for_its_upgrade(tmp_path):
    shell = Shell(tmp_path)
    (tmp_path / "data").mkdir()
    make_old(f"sqlite:///{tmp_path / 'data/ledger.sqlite'}", "0012")
    for asked in (("verify",), ("serve", "--port", "0"), ("piece", "list")):
        assert "heavyspot upgrade" in shell.run(*asked, code=2).stderr
    with hold_of(tmp_path / "data"):
        assert "Another program has" in shell.run("upgrade", code=2).stderr
    (told,) = shell.json("upgrade")["upgraded"]
    assert told["from"] == "0012" and told["entries"] == 5 and told["faults"] == 0
    shell.run("reindex")  # what was put in by hand has no line in the index
    assert told["head"] == shell.json("verify")["head"]
    assert "Nothing to do" in shell.run("upgrade").stdout
    assert "holds no ledger" in shell.run("--data", "nowhere", "upgrade", code=3).stderr
    assert not (tmp_path / "nowhere").exists()


def test_an_older_backup_comes_back_in_todays_form_and_stays_as_it_is(tmp_path):
    shell = Shell(tmp_path)
    (tmp_path / "copy").mkdir()
    make_old(f"sqlite:///{tmp_path / 'copy/ledger.sqlite'}", "0012")
    before = (tmp_path / "copy/ledger.sqlite").read_bytes()
    assert "Not whole: r.flac" in shell.run("restore", "copy", code=1).stdout
    shell.run("reindex")
    assert shell.json("verify")["entries"] == 6  # and where it goes on from
    assert (tmp_path / "copy/ledger.sqlite").read_bytes() == before


@contextlib.contextmanager
def hold_of(folder):
    lock = hold(folder)
    yield
    lock.release()
