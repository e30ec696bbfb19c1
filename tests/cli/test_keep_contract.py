"""backup, restore, move and verify as commands: one document, plain refusals."""

import pytest
from cli.test_contract import ROOT, Shell


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
    assert (moved["entries"], moved["head"]) == (3, told["head"])
    assert "already" in shell.run("move", "data", "newer", code=2).stderr
    assert "no backup" in shell.run("--data", "x", "restore", "nowhere", code=2).stderr
