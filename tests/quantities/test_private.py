"""Files that are their owner's alone, on Windows too: there through a stand-in for its program."""

import getpass
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from heavyspot.quantities import durable, private


class Windows:
    """Stands in for ``icacls``: keeps what it was told, and what was in the file then."""

    def __init__(self, lists=None, fails=False):
        self.told: list[tuple[list[str], bytes]] = []
        self.lists = lists or {}
        self.fails = fails

    def run(self, words, **how):
        assert words[0] == "icacls" and how["check"] and how["timeout"]
        if self.fails:
            raise subprocess.CalledProcessError(5, words)
        path = Path(words[1])
        self.told.append((words[1:], path.read_bytes()))
        if "/save" in words:
            sddl = self.lists.get(path.name, "D:PAI(A;;FA;;;S-1-5-21-1-2-3-1001)(A;;FA;;;SY)")
            Path(words[3]).write_bytes(f"{path.name}\r\n{sddl}\r\n".encode("utf-16-le"))


@pytest.fixture
def windows(monkeypatch):
    made = Windows()
    monkeypatch.setattr(private, "ON_WINDOWS", True)
    monkeypatch.setattr(subprocess, "run", made.run)
    monkeypatch.setenv("USERDOMAIN", "BENCH")
    monkeypatch.setattr(getpass, "getuser", lambda: "ida")
    return made


def test_a_key_is_closed_before_a_byte_is_in_it(windows, tmp_path):
    durable.write_bytes(tmp_path / "shop-key.pem", b"secret", private=True)
    ((words, then),) = windows.told
    assert words == [
        str(tmp_path / "shop-key.pem.part"),
        "/inheritance:r",
        "/grant:r",
        "BENCH\\ida:F",
        "*S-1-5-18:F",
    ]
    assert then == b"" and (tmp_path / "shop-key.pem").read_bytes() == b"secret"
    durable.make_private(tmp_path / "ledger.sqlite")
    assert windows.told[1] == ([str(tmp_path / "ledger.sqlite"), *words[1:]], b"")
    durable.make_private(tmp_path / "ledger.sqlite")  # one that is there stays as it is
    assert len(windows.told) == 2


def test_a_list_that_names_everybody_is_found(windows, tmp_path):
    everybody = {
        "a": "D:AI(A;ID;FA;;;SY)(A;ID;0x1200a9;;;BU)", "b": "D:(A;;FA;;;WD)", "c": "D:(A;;FR;;;AU)",
    }  # fmt: skip
    windows.lists = everybody
    paths = [tmp_path / n for n in ("a", "b", "c", "mine", "none")]
    for p in paths[:4]:
        p.write_text("x")
    assert private.open_to_others(paths) == paths[:3]


def test_a_disk_without_such_rights_stops_nothing(windows, tmp_path):
    windows.fails = True
    durable.write_bytes(tmp_path / "shop-key.pem", b"secret", private=True)
    assert (tmp_path / "shop-key.pem").read_bytes() == b"secret"
    assert private.open_to_others([tmp_path / "shop-key.pem"]) == []


@pytest.mark.skipif(sys.platform == "win32", reason="modes are POSIX's")
def test_a_part_that_a_cut_left_for_all_is_not_written_into(tmp_path):
    (tmp_path / "shop-key.pem.part").write_text("left")
    (tmp_path / "shop-key.pem.part").chmod(0o666)
    durable.write_bytes(tmp_path / "shop-key.pem", b"secret", private=True)
    assert stat.S_IMODE((tmp_path / "shop-key.pem").stat().st_mode) == 0o600


@pytest.mark.skipif(sys.platform == "win32", reason="modes are POSIX's")
def test_modes_and_folders(tmp_path):
    path = tmp_path / "ledger.sqlite"
    path.write_text("x")
    for mode, is_open in ((0o644, True), (0o640, True), (0o600, False), (0o400, False)):
        path.chmod(mode)
        # pytest's own folders keep others out; what is asked is what the file and an open folder say
        folders_open = all(f.stat().st_mode & 0o011 for f in path.parents)
        assert private._by_mode(path) is (is_open and folders_open)
