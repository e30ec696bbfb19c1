"""A file is the old one or the new one, never half of either."""

import os
import stat
from pathlib import Path

import pytest

from heavyspot.quantities import durable, private


def test_a_writer_that_fails_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    path = tmp_path / "a.txt"
    durable.write_text(path, "old")
    with pytest.raises(ZeroDivisionError), durable.writing(path, encoding="utf-8") as file:
        file.write("half of the new one")
        raise ZeroDivisionError
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_until_it_is_complete_the_old_file_stands_under_the_name(tmp_path):
    path = tmp_path / "a.bin"
    durable.write_bytes(path, b"old")
    with durable.writing(path) as file:
        file.write(b"new")
        file.flush()
        assert path.read_bytes() == b"old"
    assert path.read_bytes() == b"new"


def test_the_bytes_are_on_the_disk_before_the_name_and_the_name_before_it_returns(
    tmp_path, monkeypatch
):
    order = []
    fsync, replace = os.fsync, os.replace

    def synced(descriptor):
        kind = "folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file"
        order.append(kind)
        fsync(descriptor)

    def named(old, new):
        order.append("name")
        replace(old, new)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", named)
    durable.write_text(tmp_path / "a.txt", "new")
    assert order == ["file", "name", "folder"]


@pytest.mark.skipif(os.name == "nt", reason="rights of a file are POSIX's")
def test_a_private_file_is_its_owner_s_alone(tmp_path):
    path = tmp_path / "key"
    durable.write_text(path, "secret", private=True)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_is_appended_stands_after_what_was_there(tmp_path):
    path = tmp_path / "log"
    durable.append(path, b"one\n")
    durable.append(path, b"two\n")
    assert path.read_bytes() == b"one\ntwo\n"


def synced_names(monkeypatch):
    """Note which files, by name, are synced and put in place, in their order."""
    noted = []
    fsync, replace = os.fsync, os.replace

    def synced(descriptor):
        noted.append(Path(f"/proc/self/fd/{descriptor}").readlink().name)
        fsync(descriptor)

    def put(old, new):
        noted.append("put")
        replace(old, new)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", put)
    return noted


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="open files are looked up in /proc")
def test_what_is_written_aside_is_on_the_disk_before_it_is_put_in_place(tmp_path, monkeypatch):
    path = tmp_path / "a.bin"
    path.write_bytes(b"old")
    noted = synced_names(monkeypatch)
    part = durable.write_aside(path, b"new")
    assert part == tmp_path / "a.bin.part" == durable.aside(path)
    assert (path.read_bytes(), part.read_bytes(), noted) == (b"old", b"new", ["a.bin.part"])
    durable.put(part, path)
    assert path.read_bytes() == b"new" and not part.exists()
    assert noted == ["a.bin.part", "put", tmp_path.name]
    durable.sync_file(path)
    durable.append(path, b"er")
    assert noted[3:] == ["a.bin", "a.bin"] and path.read_bytes() == b"newer"


def test_a_system_that_syncs_its_folders_itself_is_not_asked_to(tmp_path, monkeypatch):
    opened = []
    monkeypatch.setattr(os, "open", lambda *a: opened.append(a))
    monkeypatch.setattr(private, "ON_WINDOWS", True)
    durable.sync_folder(tmp_path)
    monkeypatch.undo()
    assert opened == []
    with pytest.raises(FileNotFoundError):
        durable.sync_folder(tmp_path / "nowhere")


def test_text_is_written_as_utf_8_with_its_own_line_ends(tmp_path):
    path = tmp_path / "ö.txt"
    durable.write_text(path, "größer\r\nals µ\n")
    assert path.read_bytes() == "größer\r\nals µ\n".encode()
    with durable.writing(path, encoding="latin-1", newline="\r\n") as file:
        file.write("größer\n")
    assert path.read_bytes() == b"gr\xf6\xdfer\r\n"
