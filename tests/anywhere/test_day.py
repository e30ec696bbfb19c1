"""A whole day of work, and each thing that Windows and macOS want otherwise."""

import contextlib
import io
import json
import os
import shutil
import sqlite3
import sys
from pathlib import Path
from unittest.mock import patch

import pytest
from anywhere.windows import Windows, wrong_name, wrong_names_in
from workshop.station.two_houses import TwoHouses, spun

from heavyspot.cli.main import main
from heavyspot.quantities import durable, file_lock, private
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.station import exchange

ROOT = Path(__file__).parents[2]
CUSTOMER = "Łódź 船运 Haulage"
"""A name that the code page of western Windows has no letters for."""


@pytest.fixture
def windows(monkeypatch):
    with pytest.MonkeyPatch.context() as patched, Windows(patched) as there:
        yield there


class Shell:
    """The program with its output in a file, as ``heavyspot ... > out.txt`` has it there."""

    def __init__(self, folder):
        self.folder = folder

    def run(self, *words, code=0):
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="cp1252") for _ in range(2))
        with (
            contextlib.chdir(self.folder),
            patch.object(sys, "argv", ["heavyspot", "--data", "data", *map(str, words)]),
            patch.object(sys, "stdout", out),
            patch.object(sys, "stderr", err),
            pytest.raises(SystemExit) as ended,
        ):
            main()
        out.flush()
        err.flush()
        said = out.buffer.getvalue().decode("utf-8")
        assert ended.value.code == code, said + err.buffer.getvalue().decode("utf-8")
        return said


@pytest.fixture
def shell(tmp_path):
    for file in (ROOT / "docs/examples").iterdir():
        shutil.copy(file, tmp_path)
    return Shell(tmp_path)


def test_a_day_of_work(shell, windows):
    folder = shell.folder
    (folder / "share").mkdir()
    (folder / "data").mkdir()
    (folder / "data/shop.toml").write_bytes(
        f'name = "Büro {CUSTOMER}"\nrecordings_url = {json.dumps(str(folder / "share"))}\n'.encode()
    )
    shell.run("model", "add", "larch52.toml")
    shell.run("piece", "new", "--serial", "L:1", "--model", "Larch 52", "--customer", CUSTOMER)
    shell.run("spin", "L:1", "heavy-nut.flac", "--by", "Ines")
    shell.run("ground", "L:1", "--plane", "nut", "--angle", 107, "--depth", "0.23")
    shell.run("spin", "L:1", "after-two-cuts.flac")
    assert CUSTOMER in shell.run("show", "L:1") and "°" in shell.run("show", "L:1")
    shell.run("sheet", "L:1", "-o", "ü.pdf", "--language", "zh")
    shell.run("label", "L:1", "-o", "label.pdf")
    assert "genuine" in shell.run("verify", "ü.pdf").lower()
    (folder / "old.csv").write_bytes(
        f"Serial;Customer;Date\nOLD-1;{CUSTOMER};2019-05-14\n".encode()
    )
    shell.run("bring", "old.csv", "--by", "Ida")
    shell.run("recordings", "hand-over")
    assert list((folder / "share").rglob("*.flac"))
    for _ in range(2):  # the second one over what is there
        shell.run("backup", "copy")
    assert "as it was written" in shell.run("verify")
    shell.run("reindex")
    shell.run("--data", "again", "restore", "copy")
    assert CUSTOMER in shell.run("--data", "again", "show", "L:1")
    assert "signing-key.pem" in " ".join(windows.closed) or "key.pem" in " ".join(windows.closed)
    assert "ledger.sqlite" in windows.closed and str(folder / "again") in windows.folders
    assert windows.held == []
    assert wrong_names_in(folder) == []


def test_names_in_the_ledger_have_no_back_slash(shell, windows):
    shell.run("model", "add", "larch52.toml")
    shell.run("piece", "new", "--serial", "L1", "--model", "Larch 52")
    shell.run("spin", "L1", "heavy-nut.flac")
    shell.run("sheet", "L1", "-o", "l1.pdf")
    shell.run("backup", "copy")
    for ledger in ("data", "copy"):
        with contextlib.closing(sqlite3.connect(shell.folder / ledger / "ledger.sqlite")) as base:
            written = "\n".join(base.iterdump())
        assert "recordings/20" in written and "recordings\\" not in written
        assert "papers/20" in written and "papers\\" not in written


def test_two_buildings_and_a_restart(tmp_path, windows):
    houses = TwoHouses(tmp_path, furnish)
    exchange(houses.east, houses.line)
    spun(houses.east, "E-1", 1)
    exchange(houses.east, houses.line)
    assert list(check_recordings(houses.main)) == []
    houses.close()
    with Workshop(tmp_path / "main") as shop:
        assert list(shop.book.check_chain()) == []
    assert windows.held == [] and wrong_names_in(tmp_path) == []


def test_a_file_that_a_scanner_holds_is_waited_for_and_one_that_is_never_let_go_is_said(
    tmp_path, windows, monkeypatch
):
    path = tmp_path / "a.txt"
    durable.write_text(path, "old")
    durable.write_text(path, "new")  # refused twice at each step before
    assert path.read_text() == "new"
    monkeypatch.setattr(durable, "PATIENCE_S", 0.05)
    with path.open("rb"):
        with pytest.raises(PermissionError):
            durable.write_text(path, "newer")
        with pytest.raises(PermissionError):
            durable.remove(path)
        durable.remove_folder(tmp_path)  # as far as it goes
    assert path.read_text() == "new" and [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_elsewhere_a_refusal_is_no_reason_to_wait(tmp_path, monkeypatch):
    asked = []

    def refused(path, to):
        asked.append(to)
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refused)
    monkeypatch.setattr(private, "ON_WINDOWS", False)
    with pytest.raises(PermissionError):
        durable.replace(tmp_path / "a", tmp_path / "b")
    assert len(asked) == 1


def test_a_held_file_is_held_there_too(tmp_path, windows):
    first = file_lock.FileLock.take(tmp_path / "lock")
    assert first and file_lock.FileLock.take(tmp_path / "lock") is None
    assert file_lock.FileLock.take(tmp_path / "lock", shared=True) is None
    first.release()
    both = [file_lock.FileLock.take(tmp_path / "lock", shared=True) for _ in range(3)]
    assert all(both) and file_lock.FileLock.take(tmp_path / "lock") is None


def test_the_stand_in_refuses_what_windows_refuses(tmp_path, windows):
    """So that the tests above could fail."""
    path = tmp_path / "a"
    path.write_bytes(b"x")
    with path.open("rb") as file, pytest.raises(OSError, match="Bad file"):
        os.fsync(file.fileno())
    with pytest.raises(PermissionError):
        os.open(tmp_path, os.O_RDONLY)
    with path.open("rb"), pytest.raises(PermissionError):
        path.replace(tmp_path / "b")
    with pytest.raises(UnicodeEncodeError):
        path.write_text(CUSTOMER)
    with pytest.raises(OSError, match="Invalid"):
        (tmp_path / "12:30.txt").write_bytes(b"")
    with pytest.raises(ImportError):
        import fcntl  # noqa: F401  # it is to be missing
    names = ("con.txt", "a:b", "a.", "a ", "LPT1", "a?")
    assert all(map(wrong_name, names)) and not wrong_name("console.txt")
    windows.held.clear()


def test_macos_is_asked_to_write_down_to_the_disk(tmp_path, monkeypatch):
    """F_FULLFSYNC (51 in Apple's fcntl.h): its fsync leaves bytes in the drive; a share that cannot, syncs."""
    import fcntl

    asked: list[int] = []
    synced: list[int] = []
    monkeypatch.setattr(fcntl, "F_FULLFSYNC", 51, raising=False)
    monkeypatch.setattr(os, "fsync", synced.append)
    monkeypatch.setattr(fcntl, "fcntl", lambda d, what: asked.append(what))
    durable.write_bytes(tmp_path / "a", b"x")
    assert asked == [51, 51] and synced == []  # the file, and its name in the folder

    def cannot(descriptor, what):
        raise OSError(45, "Operation not supported")

    monkeypatch.setattr(fcntl, "fcntl", cannot)
    durable.append(tmp_path / "a", b"y")
    assert len(synced) == 1
