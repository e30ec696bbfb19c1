"""The agent: captures each spin when the mark moves, whether there is a line or not, and hands them on in order.

Capturing and sending know each other by the disk alone. Nothing here begins a spin: who gives air does.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path

from ...ledger.store.identity import new_id
from ...quantities.clock import now, utc_text
from ...quantities.durable import remove, write_text
from ...quantities.errors import HeavyspotError, LedgerFault, SourceLost
from ...quantities.file_lock import FileLock
from ...sources.devices.slow import SlowChannels
from ...sources.live import LiveBlock
from ...sources.sound_card import RigFile
from ..stored import stored
from ..taking.disk_first import About, Beside, has_samples
from ..taking.oil import NO_OIL, measured_oil
from ..taking.own_process import Order, OwnProcess
from .line import Line, Refused
from .live import LiveSpin
from .sending import begun_now, send, still_there
from .spins import Spin, Spins

EVERY_S = 3.0
"""Between two words to the server."""

AGAIN_S = 5.0
"""Between two tries at a device that is not there."""

KNOWN_FOR_S = 600.0
"""So long after the line broke the server's last word still says which piece is on the rig (ours)."""

GRACE_S = 7 * 86_400.0
"""A spin stays here for so long after the server proved to have it (ours)."""

LATER_S = 60.0
"""Between two tries at a spin the server does not want: its piece may be added meanwhile."""

FOREVER_S = 1e9


@dataclass(frozen=True)
class _Typed:
    """What was typed at the rig and the server has not heard yet, or could not take."""

    serial: str = ""


class Agent:
    """A rig's agent.

    Parameters
    ----------
    rig : RigFile
    folder : Path
        Its own disk.
    line : Line
    operator : str
        Who spins, where the server asks for no login.
    slow : SlowChannels, optional
        Measures the oil: told to the server, and kept with a spin as it is when the spin begins.
    say : callable
        Told each thing worth a line on the terminal.

    Raises
    ------
    LedgerFault
        Another agent works in the folder.
    """

    def __init__(
        self,
        rig: RigFile,
        folder: Path,
        line: Line,
        *,
        operator: str = "",
        slow: SlowChannels | None = None,
        grace_s: float = GRACE_S,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.rig, self.line, self.operator, self._grace_s, self._tell = (
            rig,
            line,
            operator,
            grace_s,
            say,
        )
        self.spins = Spins(folder)
        self._slow = slow
        self._lock = FileLock.take(folder / "agent.lock")
        if self._lock is None:
            raise LedgerFault(
                f"Another agent works in {folder}.", remedy="Give each rig's agent its own folder."
            )
        self.id = _own_name(folder / "agent.id")
        self._typed_file = folder / "piece.json"
        self._typed = self._typed_before()
        self._from_server, self._heard_at = "", float("-inf")
        self._server: tuple[float, float] | None = None
        self._clock_off_s = 0.0
        self._spinning, self._wrong, self._kept_back = "", "", ""
        self._taking: OwnProcess | None = None
        self._stopping, self._guard = threading.Event(), threading.Lock()
        self._told: set[str] = set()
        self._later: dict[str, float] = {}
        self._path = Path()
        self._next_word = 0.0

    def start(self) -> None:
        """Begin; returns at once."""
        self._threads = [
            threading.Thread(target=work, name=name, daemon=True)
            for name, work in (("capture", self._capture), ("send", self._hand_on))
        ]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End; a spin that is captured ends in order and lies on the disk."""
        self._stopping.set()
        if (taking := self._taking) is not None:
            taking.stop()
        for thread in self._threads:
            thread.join()
        if self._slow is not None:
            self._slow.stop()
        if self._lock is not None:
            self._lock.release()

    @property
    def piece(self) -> str:
        """Serial of the piece on the rig: typed here, else as the server said not long ago; else empty."""
        if self._typed:
            return self._typed
        return self._from_server if time.monotonic() - self._heard_at < KNOWN_FOR_S else ""

    def put_on(self, serial: str) -> None:
        """Say which piece is on the rig, typed or scanned there; kept over a restart until the server knows it."""
        with self._guard:
            self._typed = serial.strip()
            write_text(self._typed_file, json.dumps(asdict(_Typed(self._typed))))
        self._next_word = 0.0

    def words(self) -> str:
        """Return what is on the rig and what waits, for the terminal."""
        waiting = [s for s in self.spins.all() if s.sent is None]
        on = self.piece or "a piece that nobody named: type its serial"
        return (
            f"On {self.rig.name}: {on}. {len(waiting)} spins wait here. {self._kept_back}".strip()
        )

    def _typed_before(self) -> str:
        try:
            return stored(
                _Typed, json.loads(self._typed_file.read_text("utf-8")), what="piece"
            ).serial
        except (OSError, ValueError, TypeError, LedgerFault):
            return ""

    def _capture(self) -> None:
        while not self._stopping.is_set():
            try:
                wrong = self._one_spin()
            except (OSError, HeavyspotError) as fault:
                wrong = str(fault)
            self._wrong = wrong
            if wrong:
                self._once(wrong)
                self._stopping.wait(AGAIN_S)

    def _one_spin(self) -> str:
        """Wait for a spin and take it; returns what went wrong, in words."""
        path = self.spins.place(new_id())
        beside = Beside(About(""), self.rig.description(), utc_text(now()))
        beside.write(path)
        begun = threading.Event()
        live: LiveSpin | None = None
        measured = beside

        def took(block: LiveBlock | None) -> None:
            nonlocal live, measured
            if block is not None and not begun.is_set():
                begun.set()
                measured = self._with_oil(path, beside)
                live = self._begins(path)
            if live is not None:
                live.took(block)

        taking = OwnProcess(Order(self.rig, path, beside, waits=True, waits_s=FOREVER_S), took)
        self._taking, self._path = taking, path
        if not self._stopping.is_set():
            taking.start()
            taking.join()
        self._taking, self._spinning, self._path = None, "", Path()
        if taking.lost and measured is not beside:
            measured.write(path, taking.lost)  # who took the samples knows of no oil
        if not has_samples(path):
            self.spins.remove_empty(path)
        else:
            self._tell(f"Spin {path.stem} lies here: {self.spins.read(path).whose.serial or '?'}.")
        return taking.error

    def _with_oil(self, path: Path, beside: Beside) -> Beside:
        """Write down the oil as it is measured now that a spin begins; what nothing measures is not said."""
        oil = measured_oil(self._slow)
        if oil == NO_OIL:
            return beside
        measured = replace(beside, about=replace(beside.about, oil=oil))
        with suppress(OSError):  # a full disk: the samples go on
            measured.write(path)
        return measured

    def _begins(self, path: Path) -> LiveSpin | None:
        """Say whose the spin is that begins: what is on the rig now, whatever is put there later.

        Returns who tells the server of it; nobody where nobody knows at whose bench it would be shown.
        """
        serial = self.piece
        self._spinning = serial or "?"
        with suppress(OSError):  # a full disk: whose it is, is asked then
            self.spins.say(path, begun_now(serial, self.operator, self._server))
        self._tell(f"{serial or 'A piece that nobody named'} spins.")
        if not serial:
            return None
        live = LiveSpin(
            self.line, self.rig.description(), rig=self.rig.name, agent=self.id, spin=path.stem,
            serial=serial, say=self._once,
        )  # fmt: skip
        live.start()
        return live

    def _hand_on(self) -> None:
        while not self._stopping.wait(0.2):
            try:
                self._word_if_due()
                self._send_next()
                self._remove_old()
                self._kept_back = ""
            except SourceLost as fault:
                self._kept_back = str(fault)
                self._once(self._kept_back)
                self._stopping.wait(EVERY_S)
            except (OSError, HeavyspotError) as fault:
                self._kept_back = str(fault)
                self._once(self._kept_back)
                self._stopping.wait(EVERY_S)

    def _word_if_due(self) -> None:
        if time.monotonic() < self._next_word:
            return
        self._next_word = time.monotonic() + EVERY_S
        typed = self._typed
        waiting = sum(s.sent is None for s in self.spins.all())
        said: dict[str, object] = {
            "spins": "" if self._spinning == "?" else self._spinning,
            "waiting": waiting,
            "words": (self._wrong or self._kept_back)[:400],
            "typed": typed,
            "agent": self.id,
        }
        if self._slow is not None:
            said["slow"] = self._slow.values()
        try:
            answer = self.line.say(self.rig.name, said)
        except Refused as fault:
            if fault.status in (401, 403):
                raise
            self._once(
                str(fault)
            )  # a rig the ledger does not know: its spins go there all the same
            return
        self._hear(answer, typed)

    def _hear(self, answer: dict[str, object], typed: str) -> None:
        on_it, refused, at = answer.get("on_it"), answer.get("refused"), answer.get("now")
        if not isinstance(on_it, str) or not isinstance(refused, str) or not isinstance(at, str):
            raise SourceLost("What answers is no server of a shop.", remedy="Look at its address.")
        server_s = datetime.fromisoformat(at).timestamp()
        self._server = (server_s, time.monotonic())
        self._clock_off_s = server_s - time.time()
        if refused:
            self._once(f"{typed} is not on the rig there: {refused}")
        with self._guard:
            if typed and typed == self._typed and not refused:
                self._typed = ""
                remove(self._typed_file)
            self._from_server, self._heard_at = on_it, time.monotonic()

    def _send_next(self) -> None:
        """Send the oldest that can go; one that the server does not want holds up no other."""
        for spin in self.spins.waiting(but=self._path):
            if self._stopping.is_set():
                return
            if not spin.whose.serial:
                self._once(f"Spin {spin.id} is nobody's: say whose with --whose {spin.id}=SERIAL.")
            elif not spin.refused and time.monotonic() >= self._later.get(spin.id, 0.0):
                self._send(spin)

    def _send(self, spin: Spin) -> None:
        try:
            sent = send(
                self.spins, self.line, spin, rig=self.rig.name, clock_off_s=self._clock_off_s,
                between=self._word_if_due,
            )  # fmt: skip
        except Refused as fault:
            if fault.status in (401, 403):
                raise
            if fault.status == 422:  # what it is cannot be read: a person decides
                self.spins.refuse(spin, str(fault))
            self._later[spin.id] = time.monotonic() + LATER_S
            self._once(f"The server does not take spin {spin.id} of {spin.whose.serial}: {fault}")
            return
        self._tell(f"Spin {spin.id} is run {sent.number} of {sent.serial}.")

    def _remove_old(self) -> None:
        for spin in self.spins.all():
            old = spin.sent is not None and time.time() - spin.sent.at_s >= self._grace_s
            if old and spin.sent is not None and still_there(self.line, spin.sent):
                self.spins.remove(spin)

    def _once(self, words: str) -> None:
        """Say something once, not every second."""
        if words not in self._told:
            self._told.add(words)
            self._tell(words)


def _own_name(file: Path) -> str:
    """Return what an agent calls itself, the same after a restart: two that name one rig are told apart by it."""
    with suppress(OSError, UnicodeDecodeError):
        if name := file.read_text("utf-8").strip()[:100]:
            return name
    name = new_id()
    write_text(file, name)
    return name
