"""Windows, as far as a program notices: what its file system, code page and Python refuse, on another system.

No Windows machine is at hand, so this stands in for one. What it does is written in the documentation of Windows
(Naming Files, Paths, and Namespaces; CreateFileW's sharing modes; LockFileEx) and of Python (`os.fsync`, `msvcrt`).
What is open is asked of the system (``/proc``), not noted: sqlite, libsndfile and HDF5 open files without Python.
"""

import builtins
import fcntl
import getpass
import importlib.util
import io
import locale
import os
import shutil
import struct
import sys
import types
from collections import Counter
from pathlib import Path, PurePath, PureWindowsPath

from heavyspot.quantities import durable, file_lock, private

TRIES = 2
"""How often a file is refused at first: a virus scanner looks at all that is new."""

RESERVED = {"con", "prn", "aux", "nul", *(f"{n}{i}" for n in ("com", "lpt") for i in range(1, 10))}

NOT_THERE = ("posix_fadvise", "fchmod", "fork", "nice", "sched_getaffinity")
"""Calls that Python has not on Windows."""

ACCESS_LISTS = "D:PAI(A;;FA;;;S-1-5-21-1-2-3-1001)(A;;FA;;;SY)"


def wrong_name(name):
    """Return why Windows takes no such file name, or nothing."""
    if set(name) & set('<>:"|?*\\') or any(ord(c) < 32 for c in name):
        return "a character that is none of a name"
    if name.endswith((".", " ")):
        return "an end that is cut off"
    return "a device's name" if name.split(".")[0].rstrip().lower() in RESERVED else ""


def open_files():
    """Return what this process and its children have open, as the system says."""
    mine = Path("/proc/self")
    children = (mine / f"task/{os.getpid()}/children").read_text().split()
    found = set()
    for process in ("self", *children):
        try:
            descriptors = os.listdir(f"/proc/{process}/fd")
        except OSError:
            continue
        for d in descriptors:
            try:
                found.add(os.readlink(f"/proc/{process}/fd/{d}"))
            except OSError:
                continue
    return found


def asked_by_the_program():
    """Whether it is the program that asks, and not a test by itself."""
    frame: types.FrameType | None = sys._getframe(1)
    while frame is not None:
        if str(frame.f_globals.get("__name__", "")).startswith("heavyspot."):
            return True
        frame = frame.f_back
    return False


class Windows:
    """Stands over this process while it is entered.

    Attributes
    ----------
    closed : list of str
        Files that were closed to others by an access list, by name.
    folders : list of str
        Folders that were, with all that comes into them.
    refused : Counter
        How often each call was refused because somebody had the file open.
    held : list of str
        Files that the program itself had open when it wanted to rename or remove them.
    """

    def __init__(self, patch, *, scanner=True):
        self.closed: list[str] = []
        self.folders: list[str] = []
        self.refused: Counter[tuple[str, str]] = Counter()
        self.held: list[str] = []
        self._patch, self._scanner = patch, scanner
        self._open, self._os_open, self._fsync = io.open, os.open, os.fsync
        self._locks: dict[tuple[int, int], int] = {}

    def __enter__(self):
        set_ = self._patch.setattr
        for name in ("replace", "rename", "unlink", "remove", "rmdir", "mkdir"):
            set_(os, name, self._watched(name, getattr(os, name)))
        for name in NOT_THERE:
            self._patch.delattr(os, name, raising=False)
        for name in ("fcntl", "resource", "pwd", "grp", "termios"):
            self._patch.setitem(sys.modules, name, None)
        set_(os, "open", self._opened_raw)
        set_(os, "fsync", self._synced)
        set_(io, "open", self._opened)
        set_(builtins, "open", self._opened)
        set_(shutil, "_use_fd_functions", False)
        set_(locale, "getpreferredencoding", lambda *_: "cp1252")
        set_(locale, "getencoding", lambda: "cp1252")
        set_(getpass, "getuser", lambda: "Jürgen Ø")
        set_(private, "ON_WINDOWS", True)
        set_(private, "_icacls", self._icacls)
        set_(file_lock, "_locked", self._lock_of_windows())
        for name in ("relative_to",):
            set_(PurePath, name, self._with_its_separators(getattr(PurePath, name)))
        return self

    def __exit__(self, *_):
        return None

    def _refuse(self, call, path):
        """Raise as Windows does where a file may not be touched now: somebody looks at it, or has it open."""
        real = os.path.realpath(path)
        if real.startswith(("/proc", "/dev")):
            return
        if os.path.isdir(real) and call in ("rename", "replace"):
            inside = [f for f in open_files() if f.startswith(real + os.sep)]
            self.held += inside
            if inside:
                raise PermissionError(13, "Access is denied", os.fspath(path))
        if not os.path.isfile(real):
            return
        if real in open_files():
            self.held.append(real)
            raise PermissionError(13, "The process cannot access the file", os.fspath(path))
        if self._scanner and asked_by_the_program() and self.refused[call, real] < TRIES:
            self.refused[call, real] += 1
            raise PermissionError(13, "The process cannot access the file", os.fspath(path))
        self.refused.pop((call, real), None)

    def _watched(self, name, call):
        def refused_first(path, *rest, **how):
            how.pop("dir_fd", None)
            if name in ("replace", "rename"):
                (to,) = rest
                self._named(to)
                self._refuse(name, to)
                if name == "rename" and os.path.lexists(to):
                    raise FileExistsError(17, "File exists", os.fspath(to))
            if name == "mkdir":
                self._named(path)
            else:
                self._refuse(name, path)
            return call(path, *rest, **how)

        return refused_first

    @staticmethod
    def _named(path):
        name = Path(os.fsdecode(path)).name
        if why := wrong_name(name):
            raise OSError(22, f"Invalid argument: {why}", os.fspath(path))

    def _opened(self, file, mode="r", buffering=-1, encoding=None, *rest, **how):
        if isinstance(file, str | bytes | os.PathLike):
            if os.path.isdir(file):
                raise PermissionError(13, "Permission denied", os.fspath(file))
            if set(mode) & set("wax+"):
                self._named(file)
        if "b" not in mode and encoding in (None, "locale"):
            encoding = "cp1252"
        return self._open(file, mode, buffering, encoding, *rest, **how)

    def _opened_raw(self, path, flags, mode=0o777, **how):
        if os.path.isdir(path):
            raise PermissionError(13, "Permission denied", os.fspath(path))
        if flags & os.O_CREAT:
            self._named(path)
        return self._os_open(path, flags, mode, **how)

    def _synced(self, descriptor):
        if fcntl.fcntl(descriptor, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(9, "Bad file descriptor")
        self._fsync(descriptor)

    def _icacls(self, words):
        path = Path(words[0])
        if "/save" in words:
            alone = path.name in self.closed or str(path.parent) in self.folders
            listed = f"{path.name}\r\n{ACCESS_LISTS if alone else 'D:(A;;FA;;;WD)'}\r\n"
            Path(words[2]).write_bytes(listed.encode("utf-16-le"))
        elif path.is_dir():
            assert list(path.iterdir()) == [] and all("(OI)(CI)F" in w for w in words[3:])
            self.folders.append(str(path))
        else:
            assert path.stat().st_size == 0 or path.suffix == ".duckdb", path
            self.closed += [path.name, path.name.removesuffix(durable.PART)]

    @staticmethod
    def _with_its_separators(call):
        def relative(path, *others, **how):
            found = call(path, *others, **how)
            asker = sys._getframe(1).f_globals.get("__name__", "")
            return PureWindowsPath(found) if str(asker).startswith("heavyspot") else found

        return relative

    def _lock_of_windows(self):
        """Return the lock as `file_lock` makes it there, over byte ranges that belong to one opened file."""
        made = types.ModuleType("msvcrt")

        def locking(descriptor, mode, count):
            assert mode == 2
            start = os.lseek(descriptor, 0, os.SEEK_CUR)
            try:
                asked = struct.pack("hhqqixxxx", fcntl.F_WRLCK, os.SEEK_SET, start, count, 0)
                fcntl.fcntl(descriptor, 37, asked)  # F_OFD_SETLK
            except BlockingIOError:
                raise PermissionError(13, "Permission denied") from None

        vars(made).update(LK_NBLCK=2, locking=locking)
        self._patch.setitem(sys.modules, "msvcrt", made)
        with_platform = sys.platform
        spec = importlib.util.spec_from_file_location("file_lock_there", file_lock.__file__)
        assert spec and spec.loader
        there = importlib.util.module_from_spec(spec)
        sys.platform = "win32"
        try:
            spec.loader.exec_module(there)
        finally:
            sys.platform = with_platform
        return there._locked


def wrong_names_in(folder):
    """Return the files and folders that could not be there on Windows: bad, too long, or one name in two cases."""
    found, seen = [], set()
    for path in folder.rglob("*"):
        within = path.relative_to(folder).as_posix()
        if wrong_name(path.name) or len(within) > 160 or within.casefold() in seen:
            found.append(within)
        seen.add(within.casefold())
    return found
