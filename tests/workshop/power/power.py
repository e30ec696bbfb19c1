"""A day of work with the disk's every write written down; what a power cut at any of them leaves.

What is on the disk after a cut: of a file what was there when it was last synced; of names what was there when
their folder was last synced (`LOST`, the worst a file system may do), or all names (`NAMED`, as journalling file
systems do), or everything (`KILLED`: the program alone is gone). Folders themselves are taken to be there.
"""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from conftest import needs

HERE = Path(__file__).parent
LOST, NAMED, KILLED = "lost", "named", "killed"


@dataclass(frozen=True)
class Call:
    """One call that changed something, or a mark."""

    op: str
    path: str
    at: int
    data: bytes


def shim(folder: Path) -> Path:
    """Return the compiled shim."""
    compiler = shutil.which("cc")
    needs(compiler and sys.platform == "linux", "a C compiler")
    made = folder / "power.so"
    words = [str(compiler), "-O1", "-shared", "-fPIC", "-w", "-o", str(made), str(HERE / "power.c")]
    subprocess.run([*words, "-ldl", "-lpthread"], check=True)
    return made


def run(script: str, library: Path, root: Path, journal: Path, **how: str) -> list[Call]:
    """Run a script on a folder and return what it did to the disk, in order."""
    mark = journal.with_name("mark")
    mark.touch()
    environment = os.environ | {
        "LD_PRELOAD": str(library), "POWER_ROOT": str(root), "POWER_JOURNAL": str(journal),
        "POWER_MARK": str(mark), "PYTHONPATH": str(HERE.parents[1]), "OMP_NUM_THREADS": "1",
    } | how  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", script, str(root)], env=environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return list(_calls(journal.read_bytes()))


def _calls(raw: bytes) -> Iterator[Call]:
    at = 0
    while at < len(raw):
        op = raw[at : at + 1].decode()
        (length,) = struct.unpack_from("=I", raw, at + 1)
        path = raw[at + 5 : at + 5 + length].decode()
        at += 5 + length
        offset, n = struct.unpack_from("=qQ", raw, at)
        yield Call(op, path, offset, raw[at + 16 : at + 16 + n])
        at += 16 + n


@dataclass
class _File:
    live: bytearray = field(default_factory=bytearray)
    synced: bytes = b""


class Disk:
    """A disk as it is now, and as a cut now would leave it."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._live: dict[str, _File] = {}
        for p in root.rglob("*"):
            if p.is_file():
                content = p.read_bytes()
                self._live[str(p)] = _File(bytearray(content), content)
        self._named = dict(self._live)
        self.marks: list[str] = []

    def does(self, call: Call) -> bool:
        """Take a call; whether it changed what a cut would leave."""
        if call.op == "K":
            self.marks += call.data.decode().split("\n")[:-1]
            return True
        if call.op == "D":
            here = os.path.dirname  # of a text: a path of another run's disk
            mine = {p: f for p, f in self._live.items() if here(p) == call.path}
            rest = {p: f for p, f in self._named.items() if here(p) != call.path}
            self._named = rest | mine
            return True
        if call.op == "R":
            self._live[call.data.decode()] = self._live.pop(call.path, _File())
            return True
        if call.op == "U":
            self._live.pop(call.path, None)
            return True
        file = self._live.setdefault(call.path, _File())
        if call.op == "S":
            changed = file.synced != file.live
            file.synced = bytes(file.live)
            return changed
        if call.op == "T":
            del file.live[call.at :]
            file.live.extend(b"\0" * (call.at - len(file.live)))
        if call.op == "W":
            if len(file.live) < call.at:
                file.live.extend(b"\0" * (call.at - len(file.live)))
            file.live[call.at : call.at + len(call.data)] = call.data
        return call.op == "C"

    def after(self, how: str, to: Path) -> None:
        """Write what a cut leaves into an empty folder."""
        names = self._named if how == LOST else self._live
        for path, file in names.items():
            target = to / Path(path).relative_to(self.root)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(bytes(file.live) if how == KILLED else file.synced)
