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


SERVER = """
import ctypes, importlib, os, sys, time, traceback
day, warm = sys.argv[1:3]
code = compile(day, "the day", "exec")
def live(root):
    sys.argv[1:] = [root]
    exec(code, {"__name__": "__main__"})
back, to = os.pipe()
if not (pid := os.fork()):  # threads would not come through a fork: only what is loaded is taken over
    live(warm)
    os.write(to, " ".join(n for n in sys.modules if n.isascii() and " " not in n).encode())
    os._exit(0)
os.close(to)
with os.fdopen(back) as names:
    for name in names.read().split():
        try:
            importlib.import_module(name)
        except Exception:
            pass
os.waitpid(pid, 0)
print("warm", flush=True)
for line in sys.stdin:
    words = line.split()
    if pid := os.fork():
        _, status = os.waitpid(pid, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)
        continue
    code_out = 1
    try:
        os.environ.update(w.split("=", 1) for w in words[1:])
        ctypes.CDLL(None).power_begin()
        began = time.monotonic()
        live(words[0])
        with open(os.environ["POWER_MARK"] + "s", "w") as told:
            told.write(f"{ctypes.CDLL(None).power_calls()} {time.monotonic() - began}")
        code_out = 0
    except BaseException:
        traceback.print_exc()
    sys.stderr.flush()
    os._exit(code_out)
"""


class Days:
    """Days one after the other, each in a process of its own that was forked with everything loaded.

    Parameters
    ----------
    warm : Path
        A folder as a day begins with, used up.
    """

    def __init__(self, day: str, library: Path, warm: Path) -> None:
        self._journal, self._faults = warm.parent / "journal", warm.parent / "faults"
        self._mark = warm.parent / "mark"
        self._mark.touch()
        environment = os.environ | {
            "LD_PRELOAD": str(library), "PYTHONPATH": str(HERE.parents[1]), "OMP_NUM_THREADS": "1",
            "POWER_MARK": str(self._mark),
        }  # fmt: skip
        with self._faults.open("w") as told:
            self._process = subprocess.Popen(
                [sys.executable, "-c", SERVER, day, str(warm)], env=environment, text=True,
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=told,
            )  # fmt: skip
        assert self._answer() == "warm", self._faults.read_text()[-3000:]

    def _answer(self) -> str:
        assert self._process.stdout
        return self._process.stdout.readline().strip()

    def live(self, root: Path, **how: object) -> list[Call]:
        """Live a day on a folder and return what it did to the disk."""
        assert self._process.stdin
        self._journal.unlink(missing_ok=True)
        settings = {"POWER_ROOT": root, "POWER_JOURNAL": self._journal, **how}
        words = [str(root), *(f"{k}={v}" for k, v in settings.items())]
        self._process.stdin.write(" ".join(words) + "\n")
        self._process.stdin.flush()
        answer = self._answer()
        assert answer == "0", (how, self._faults.read_text()[-3000:])
        return list(_calls(self._journal.read_bytes()))

    def told(self) -> tuple[int, float]:
        """Return how many calls the last day made that could fail, and how long it took by its own clock, s."""
        calls, took_s = self._mark.with_name("marks").read_text().split()
        return int(calls), float(took_s)

    def end(self) -> None:
        """End the process they are forked from."""
        assert self._process.stdin and self._process.stdout
        self._process.stdin.close()
        self._process.wait(60)
        self._process.stdout.close()


def marks_of(calls: list[Call]) -> list[str]:
    """Return what was acknowledged, in order."""
    return [line for c in calls if c.op == "K" for line in c.data.decode().split()]


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
