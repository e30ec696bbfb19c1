"""A folder into which another program records: each finished file is taken once.

A file is finished when neither its size nor its time has changed for a while and it can be read; one that
cannot is given longer before it counts as bad. What was read goes into ``taken``, what cannot be read into
``set-aside`` with the reason beside it, and what belongs to no piece stays where it is. Nothing is ever removed.
A file is known by its bytes (`spin_received`), so that neither a restart nor a power cut between any two steps
takes it twice. One that still grows after it was taken is named.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from ...quantities import durable
from ...quantities.errors import (
    BadInput,
    HeavyspotError,
    LedgerFault,
    NotThere,
    SignalTooPoor,
    UnreadableFile,
)
from ...sources.formats.csv_text import CsvReader
from ...sources.sidecar import load_sidecar, sidecar_path
from ...sources.sound_card import RigFile, load_rig_file
from ..cartridge.received import ReadAlready, endings, spin_received
from ..reading import SpinResult
from ..shop import Workshop, find_piece
from .facts import facts_of

TAKEN, ASIDE, WHY = "taken", "set-aside", ".why.txt"
SETTLE_S = 5.0
"""A file that has not changed for so long is looked at (ours)."""

SETTLE_TEXT_S = 15.0
"""The same of text, which does not say how long it is to become (ours)."""

TEXT = (*CsvReader.suffixes, ".lvm")

PATIENCE_S = 60.0
"""One that cannot be read and has not changed for so long is bad: a recorder may pause while it writes (ours)."""

AGAIN_S = 10.0
"""Between two tries at a file that waits."""

GROWS_S = 600.0
"""How long a file is still looked at after it was taken."""

EVERY_S = 1.0
UNFINISHED = (".part", ".tmp", ".temp", ".crdownload", ".filepart")


@dataclass(frozen=True)
class Look:
    """What became of a file in one round.

    Attributes
    ----------
    state : str
        ``settling``, ``waits``, ``taken``, ``again`` (its bytes were read before) or ``bad``.
    serial : str
        Of the piece; empty when the name says none.
    words : str
        Why it waits or is bad, or which run it is.
    """

    name: str
    state: str
    serial: str = ""
    words: str = ""


@dataclass
class _Seen:
    """A file as it was when it last changed, and how long after that it is tried next."""

    stamp: tuple[int, ...]
    since: float
    next_s: float
    look: Look


@dataclass(frozen=True)
class _Taken:
    """A file that was taken, as it was then."""

    path: Path
    stamp: tuple[int, ...]
    at: float
    look: Look


class WatchedFolder:
    """One folder of one rig.

    Parameters
    ----------
    rig : RigFile
        Says what the channels are where a file does not.
    clock : callable
        Seconds that only go on; the computer's own clock may be put back.
    """

    def __init__(
        self,
        shop: Workshop,
        rig: RigFile,
        folder: Path,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.shop, self.rig, self.folder = shop, rig, folder
        self._clock = clock
        self._seen: dict[Path, _Seen] = {}
        self._left: dict[Path, tuple[int, ...]] = {}
        self._taken: list[_Taken] = []

    def look(self) -> list[Look]:
        """Look once at every file, and take those that are finished.

        Raises
        ------
        UnreadableFile
            The folder is away.
        """
        try:
            found = sorted(self._files())
        except OSError as fault:
            raise UnreadableFile(
                f"The folder {self.folder} of {self.rig.name} cannot be read ({fault.strerror}).",
                remedy="Connect it again; it is looked at every second.",
            ) from None
        self._seen = {p: s for p, s in self._seen.items() if p in found}
        looks = [look for path in found if (look := self._one(path)) is not None]
        return [*looks, *self._grown()]

    def aside(self) -> list[Look]:
        """Return what lies set aside, of earlier days too, with the reason that lies beside it."""
        found: list[Look] = []
        for why in sorted((self.folder / ASIDE).glob("*" + WHY)):
            with suppress(OSError):
                words = why.read_text(encoding="utf-8", errors="replace")[:400].strip()
                found.append(Look(why.name.removesuffix(WHY), "bad", "", words))
        return found

    def _grown(self) -> Iterator[Look]:
        """Yield what still grew after it was taken: its run may be half a spin."""
        now = self._clock()
        for one in [t for t in self._taken if _stamp(t.path) != t.stamp]:
            words = f"It changed after it was read: {one.look.words} That run may be half a spin."
            yield Look(one.look.name, "bad", one.look.serial, words)
        self._taken = [t for t in self._taken if now - t.at < GROWS_S and _stamp(t.path) == t.stamp]

    def _files(self) -> Iterator[Path]:
        for path in (*self.folder.iterdir(), *self.folder.glob("*/*")):
            inside = path.relative_to(self.folder).parts
            hidden = any(part.startswith((".", "~")) for part in inside)
            if hidden or inside[0] in (TAKEN, ASIDE) or path.name.lower().endswith(UNFINISHED):
                continue
            if path.suffix.lower() in endings() and path.is_file():
                yield path

    def _one(self, path: Path) -> Look | None:
        stamp = _stamp(path)
        if not stamp or self._left.get(path) == stamp:
            return None  # gone meanwhile, or dealt with where it may not be moved
        seen = self._seen.get(path)
        if seen is None or seen.stamp != stamp:
            settle = SETTLE_TEXT_S if path.suffix.lower() in TEXT else SETTLE_S
            seen = _Seen(stamp, self._clock(), settle, Look(path.name, "settling"))
            self._seen[path] = seen
        still = self._clock() - seen.since
        if still < seen.next_s:
            return seen.look
        seen.look = self._tried(path, still)
        if seen.look.state in ("taken", "again", "bad"):
            self._move(path, seen.look, stamp)
        # reading a large file anew every second would be all this computer does
        unread = seen.look.state == "settling" and still < PATIENCE_S
        seen.next_s = min(3 * still, PATIENCE_S) if unread else still + AGAIN_S
        return seen.look

    def _tried(self, path: Path, still_s: float) -> Look:
        try:
            serial = self._serial_of(path)
        except HeavyspotError as fault:
            return Look(path.name, "waits", "", f"{fault.message} {fault.remedy}")
        return self._take(path, serial, still_s)

    def _serial_of(self, path: Path) -> str:
        """Return whose a file is: its folder's name, or its own up to its end or to an underscore.

        Raises
        ------
        NotThere
            No piece has such a serial, or several could be meant.
        """
        inside = path.relative_to(self.folder).parts
        parts = path.stem.split("_")
        names = ["_".join(parts[: i + 1]) for i in range(len(parts))]
        known = [n for n in ([inside[0]] if len(inside) > 1 else names) if self._is_piece(n)]
        if len(known) == 1:
            return known[0]
        which = f"could be of {' or '.join(known)}" if known else "names no piece"
        raise NotThere(
            f"{path.name} {which}.",
            remedy="Name a file SERIAL or SERIAL_ANYTHING, or lay it in a folder named SERIAL.",
        )

    def _is_piece(self, serial: str) -> bool:
        try:
            return find_piece(self.shop, serial).kind == "cartridge"
        except NotThere:
            return False

    def _take(self, path: Path, serial: str, still_s: float) -> Look:
        try:
            result = self._read(path, serial)
        except ReadAlready as fault:
            return Look(path.name, "again", serial, fault.message)
        except (UnreadableFile, SignalTooPoor, BadInput) as fault:
            state = "bad" if still_s >= PATIENCE_S else "settling"
            return Look(path.name, state, serial, f"{fault.message} {fault.remedy}")
        except OSError as fault:  # the recorder still holds it
            return Look(path.name, "settling", serial, str(fault.strerror))
        except LedgerFault as fault:  # a full disk, a ledger that is away: later
            return Look(path.name, "waits", serial, f"{fault.message} {fault.remedy}")
        return Look(path.name, "taken", serial, f"Run {result.number} of {serial}.")

    def _read(self, path: Path, serial: str) -> SpinResult:
        said = load_sidecar(path)
        rig = "" if said and said.rig else self.rig.name
        with path.open("rb") as file:
            if said is None:
                facts = partial(facts_of, rig=self.rig)
                return spin_received(self.shop, serial, path.name, file, rig=rig, facts=facts)
            with sidecar_path(path).open("rb") as beside:
                return spin_received(self.shop, serial, path.name, file, beside, rig=rig)

    def _move(self, path: Path, look: Look, stamp: tuple[int, ...]) -> None:
        """Lay a file and what stands beside it where they belong; one that may not be moved is remembered."""
        to = self.folder / (ASIDE if look.state == "bad" else TAKEN)
        try:
            durable.make_folder(to)
            new = _free(to / path.name)
            if look.state == "bad":
                why = f"{datetime.now(UTC).isoformat(timespec='seconds')} {look.words}\n"
                durable.write_text(new.with_name(new.name + WHY), why)
            if (beside := sidecar_path(path)).exists():
                durable.replace(beside, sidecar_path(new))
            durable.replace(path, new)
            durable.sync_folder(to)
            durable.sync_folder(path.parent)
            if look.state == "taken":
                self._taken.append(_Taken(new, _stamp(new), self._clock(), look))
        except OSError:  # a share that is read only
            self._left[path] = stamp
        self._seen.pop(path, None)


def _with_name(look: Look) -> str:
    return look.words if look.words.startswith(look.name) else f"{look.name}: {look.words}"


def watched_rig(path: Path) -> RigFile:
    """Return a rig file that names a folder; a relative one is beside it.

    Raises
    ------
    UnreadableFile
        It cannot be read.
    BadInput
        It names no folder, or one that is not there.
    """
    rig = load_rig_file(path)
    folder = (path.parent / rig.watch).resolve()
    if not rig.watch or not folder.is_dir():
        what = f"has no folder {rig.watch}" if rig.watch else "names no folder to be watched"
        raise BadInput(f"{path.name} {what}.", remedy='Give the key watch = "FOLDER".')
    return rig.model_copy(update={"watch": str(folder)})


def _stamp(path: Path) -> tuple[int, ...]:
    """Return sizes and times of a file and of its sidecar; nothing when it is gone."""
    out: list[int] = []
    for one in (path, sidecar_path(path)):
        try:
            about = one.stat()
        except OSError:
            continue
        out += [about.st_size, about.st_mtime_ns]
    return tuple(out) if path.exists() else ()


def _free(path: Path) -> Path:
    """Return a name that nothing has yet."""
    new, n = path, 1
    while new.exists() or sidecar_path(new).exists():
        n += 1
        new = path.with_stem(f"{path.stem} ({n})")
    return new


class Watchers:
    """Looks at folders every second, in a thread of its own.

    Parameters
    ----------
    tell : callable
        Told the serial of a piece and why a file of it is bad or waits, once each.
    """

    def __init__(
        self,
        folders: list[WatchedFolder],
        tell: Callable[[str, str], None],
        every_s: float = EVERY_S,
    ) -> None:
        self.folders, self._tell, self._every_s = folders, tell, every_s
        self.newest: dict[str, list[Look]] = {}
        self.faults: dict[str, str] = {}
        self._told: set[tuple[str, str]] = set()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watched folders", daemon=True)

    def start(self) -> None:
        """Begin, when there is any folder."""
        if self.folders:
            self._thread.start()

    def stop(self) -> None:
        """End; a file that is being read is finished."""
        self._end.set()
        if self._thread.is_alive():
            self._thread.join(60)

    def _run(self) -> None:
        while not self._end.wait(self._every_s):
            self.round()

    def round(self) -> None:
        """Look at every folder once."""
        for folder in self.folders:
            name = folder.rig.name
            try:
                looks = folder.look()
                self.faults.pop(name, None)
            except HeavyspotError as fault:
                self.faults[name] = f"{fault.message} {fault.remedy}"
                continue
            except (
                Exception
            ) as fault:  # nobody waits for this thread: the rounds go on, and say what it was
                self.faults[name] = f"{type(fault).__name__}: {fault!s:.200}"
                continue
            there = [x for x in looks if x.state not in ("taken", "bad")]
            self.newest[name] = [*there, *folder.aside()]
            for look in looks:
                if look.state in ("bad", "waits") and (look.name, look.words) not in self._told:
                    self._told.add((look.name, look.words))
                    if look.serial:  # what is of no piece stands at no bench, only in the list
                        self._tell(look.serial, _with_name(look))
