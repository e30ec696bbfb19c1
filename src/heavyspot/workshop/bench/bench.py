"""The bench: one rig, one piece at a time, one question at a time.

What is asked follows from the ledger and from what is running, so that a closed browser or a killed
program comes back to the same question.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from ...quantities.errors import LedgerFault, SourceLost
from ..cartridge import (
    CartridgeStory,
    cartridge_story,
    next_question,
)
from ..job import BuildState, build_state_of, refuse_unbuilt
from ..shop import Workshop, clock_words
from .capture import About, Capture, LiveFactory
from .hands_free import HandsFree
from .left_behind import keep_captured, remove_capture, set_damaged_aside, unfinished
from .live_store import LiveStore
from .problems import EVERYBODY, Problems
from .set_up import NO_OIL, Oil, SetUp, SetUps, checked_oil, checked_operator
from .setup_check import Check, listen
from .watched import watch_of

DISARM_S = 5.0
"""How long a device may take to let go."""

Question = Literal[
    "prepare", "grind", "again", "fix", "done", "spinning", "reading", "rescue", "build"
]


@dataclass
class Bench:
    """State of the bench.

    Parameters
    ----------
    shop : Workshop
    factory : LiveFactory
        Makes a live source for a piece's next spin.
    listener : LiveFactory
        Makes a live source of the rig while it stands; the same as `factory` for a real rig.
    connected : bool
        Whether there is a rig, real or simulated.

    Attributes
    ----------
    lost : str
        Why the rig was not there when it was last listened to; empty when it was.
    hands_free : bool
        A spin begins by itself when the mark moves, once the set-up is said.
    listening : str
        Serial of the piece whose standing rig is listened to just now.
    on_it : str
        Serial of the piece that stands on the bench: the one looked at or spun last; empty when there is none.
    """

    shop: Workshop
    factory: LiveFactory
    listener: LiveFactory
    connected: bool = True
    capture: Capture | None = None
    reading: str = ""
    lost: str = ""
    hands_free: bool = False
    listening: str = ""
    on_it: str = ""
    heard: dict[str, list[Check]] = field(default_factory=dict)
    set_ups: SetUps = field(default_factory=SetUps)
    _problems: Problems = field(default_factory=Problems)
    _once_more: dict[str, int] = field(default_factory=dict)
    _ending: threading.Thread | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _asked: dict[str, tuple[int, Question]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.live = LiveStore(self.folder)
        if self.live.elsewhere() is None:
            said = [*set_damaged_aside(self.folder), clock_words(self.shop)]
            self._problems.say(EVERYBODY, " ".join(filter(None, said)))

    @property
    def folder(self) -> Path:
        """Where captures lie until they are in the ledger."""
        return self.shop.book.folder / "capture"

    def problem(self, serial: str = "") -> str:
        """Return what went wrong with a piece's last spin and what concerns every piece, or an empty text."""
        return self._problems.of(serial)

    def tell(self, serial: str, words: str) -> None:
        """Say at a piece's bench what happened to it elsewhere."""
        self._problems.say(serial, words)

    def rescued(self, serial: str) -> list[Path]:
        """Return captures of a piece that are not in the ledger; none while another program spins here."""
        if self.live.elsewhere() is not None:
            return []
        running = self.capture.path if self.capture else None
        return [
            p for p, about in unfinished(self.folder) if about.serial == serial and p != running
        ]

    def question(self, serial: str) -> Question:
        """Return what the technician is to do now with a cartridge; raises as `cartridge_story` does.

        Asked every two seconds by each browser: what the ledger says is kept until its newest link is another.
        """
        head, _ = self.shop.book.head()
        known = self._asked.get(serial)
        if known is None or known[0] != head:
            story = cartridge_story(self.shop, serial)
            build = build_state_of(self.shop, story.piece, story.model)
            known = self._asked[serial] = (head, self._written(story, build))
        return self._running(serial) or known[1]

    def question_of(self, story: CartridgeStory, build: BuildState) -> Question:
        """Return what the technician is to do now with a cartridge that was looked up already."""
        return self._running(story.piece.serial) or self._written(story, build)

    def stamp(self, serial: str) -> str:
        """Return what changes when a page of a piece's bench shows what was: a yes said, a thing heard."""
        said = ",".join(sorted(self.set_ups.said_of(serial)))
        return f"{said};{len(self.heard.get(serial, ()))};{self.capture is not None};{self.armed};{self.lost}"

    def once_more(self, serial: str, *, wanted: bool = True) -> None:
        """Ask for the set-up of one more spin whatever the last advice says, or no more; nothing is written."""
        story = cartridge_story(self.shop, serial)
        self._asked.pop(serial, None)
        if wanted:
            self._once_more[serial] = story.number
        else:
            self._once_more.pop(serial, None)

    def _written(self, story: CartridgeStory, build: BuildState) -> Question:
        """Return what the ledger asks for, and what was asked for once since its last run."""
        if build.blocks:
            return "build"
        if self._once_more.get(story.piece.serial) == story.number and story.number:
            return "prepare"
        return next_question(story)

    def _running(self, serial: str) -> Question | None:
        """Return what runs or waits outside the ledger, which comes before anything in it."""
        if self.spins(serial):
            return "spinning"
        if self.reading == serial:
            return "reading"
        return "rescue" if self.rescued(serial) else None

    def spins(self, serial: str) -> bool:
        """Whether a piece is being spun or measured right now, here or by another program on this folder."""
        if self.capture is not None:
            return self.capture.about.serial == serial and not self.armed
        there = self.live.elsewhere()
        return there is not None and there.serial == serial

    @property
    def armed(self) -> str:
        """Serial of the piece whose spin begins when the mark moves; empty when none is armed."""
        c = self.capture
        return c.about.serial if c and c.hands_free and not c.begun.is_set() else ""

    def arm(self, serial: str, *, signs: Callable[[str], str] = str) -> None:
        """Let a piece's spin begin by itself when the mark moves, if its set-up is said; else disarm.

        `signs` as for `begin`.

        Raises
        ------
        LedgerFault
            Another piece spins, or the piece must not be spun.
        SourceLost
            The device is not there.
        """
        if self.armed:
            self.disarm()
        set_up = self.set_up(serial)
        if self.hands_free and set_up.ready and self.capture is None:
            by = signs(set_up.operator)
            self.spin(serial, operator=by, oil=set_up.fresh_oil(), waits=True)

    def connect(self, factory: LiveFactory) -> None:
        """Take a rig that was just connected; raises `LedgerFault` while one spins."""
        self.disarm()
        with self._lock:
            self._refuse_while_spinning()
            self.factory = self.listener = factory
            self.connected, self.lost, self.hands_free = True, "", True
            self.heard.clear()

    def disarm(self) -> None:
        """Let no spin begin by itself; one that runs goes on."""
        if self.armed:
            self.stop()
            if self._ending:
                self._ending.join(DISARM_S)

    def listen(self, serial: str) -> list[Check]:
        """Listen to the standing rig and keep what was heard for the piece's next spin; disarms.

        Raises
        ------
        NotThere
            No such piece.
        LedgerFault
            The rig is spinning.
        SourceLost
            The device is not there.
        """
        story = cartridge_story(self.shop, serial)
        model = story.model
        pickup = story.last.result.pickup if story.last else None
        self.disarm()
        with self._lock:
            self._refuse_while_spinning()
            self.listening = serial
            try:
                self.heard[serial] = listen(
                    self.listener(serial),
                    limit_g=float(min(model.house_limit().limit_g)),
                    from_rpm=model.from_rpm,
                    pickup_last=pickup[0] if pickup else None,
                    top_rpm=model.test_speed_rpm,
                )
            except SourceLost as fault:
                self.lost = fault.message
                self.heard.pop(serial, None)
                raise
            finally:
                self.listening = ""
            self.lost = ""
        return self.heard[serial]

    def _refuse_while_spinning(self) -> None:
        if self.capture is not None and not self.armed:
            other = self.capture.about.serial
            raise LedgerFault(
                f"{other} is spinning on this rig.", remedy="Wait until it has ended."
            )
        if there := self.live.elsewhere():
            raise there.refusal()

    def spin(
        self,
        serial: str,
        *,
        operator: str = "",
        oil: Oil = NO_OIL,
        waits: bool = False,
    ) -> Capture:
        """Start a spin; raises `LedgerFault` when one is running, here or elsewhere, or the piece is not known.

        Parameters
        ----------
        oil : (float or None, float or None)
            Temperature, °C, and pressure, kPa, at the cartridge, as read off the rig.
        waits : bool
            It begins when the mark moves, and ends when that has stopped.
        """
        self.disarm()
        refuse_unbuilt(self.shop, serial)
        checked_oil(*oil)
        with self._lock:
            self._refuse_while_spinning()
            self._problems.over(serial)
            self.heard.pop(serial, None)
            self.live.take(serial)
            try:
                source = HandsFree(self.factory(serial)) if waits else self.factory(serial)
                about = About(serial, operator, oil)
                watch = watch_of(self.shop, serial, source.describe().rig)
                self.capture = Capture(source, self.folder, about, watch)
                self.on_it = serial
                if not waits:
                    self.set_ups.spun(serial)
            except OSError as fault:
                raise LedgerFault(
                    f"The spin cannot be written ({fault}).",
                    remedy="Make room on the disk, then again.",
                ) from None
            finally:
                if self.capture is None:
                    self.live.release()
            self.capture.start()
        self._ending = threading.Thread(target=self._when_done, args=(self.capture,), daemon=True)
        self._ending.start()
        return self.capture

    def begin(
        self,
        serial: str,
        *,
        operator: str = "",
        oil: Oil = NO_OIL,
        signs: Callable[[str], str] = str,
    ) -> Capture:
        """Start a spin from the set-up a person said yes to; what was typed is kept for the next one.

        Parameters
        ----------
        signs : callable
            Makes of the operator, as typed, who signs the run.

        Raises
        ------
        BadInput
            A yes is missing, or the oil is none.
        LedgerFault
            One is running, or the piece must not be spun.
        NotThere
            No such piece.
        """
        self.set_up(serial).refuse_unsaid()
        self.set_ups.keep(checked_operator(operator), checked_oil(*oil))
        set_up = self.set_up(serial)
        return self.spin(serial, operator=signs(set_up.operator), oil=set_up.fresh_oil())

    def set_up(self, serial: str) -> SetUp:
        """Return how a piece's next spin is set up."""
        return self.set_ups.of(cartridge_story(self.shop, serial))

    def stop(self) -> None:
        """Stop the spin that runs, if any; it is read and kept. Raises `LedgerFault` when it runs elsewhere."""
        if self.capture is None and (there := self.live.elsewhere()):
            raise LedgerFault(
                f"{there.serial or 'The piece'} spins at {there.name}.", remedy="Stop it there."
            )
        self.close()

    def close(self) -> None:
        """Stop what this program itself spins; it is read and kept."""
        if self.capture is not None:
            self.capture.stop()

    def _when_done(self, capture: Capture) -> None:
        serial = capture.about.serial
        if capture.hands_free:
            capture.begun_or_over()
            if capture.begun.is_set():
                self.set_ups.spun(serial)
        capture.join()
        if not capture.begun.is_set():  # disarmed, or no device: nothing was captured
            remove_capture(capture.path)
            self._problems.say(serial, capture.error)
            with self._lock:
                self.capture = None
            self.live.release()
            return
        with self._lock:
            self.reading, self.capture = serial, None
        try:
            if capture.sampled:
                self._keep(capture.path, capture.about)
            else:
                remove_capture(capture.path)
        except Exception as fault:  # nobody waits for this thread: the screen must say what it met
            self._problems.say(
                serial, f"The spin is not in the ledger ({fault}); its samples are kept."
            )
        finally:
            self.reading = ""
            self.live.release()
        self._problems.say(serial, capture.error)

    def rescue(self, serial: str, *, keep: bool) -> None:
        """Read what an interrupted spin left, or remove it; raises `LedgerFault` while somebody spins."""
        with self._lock:
            self._refuse_while_spinning()
            self.live.take(serial)
            try:
                for path, about in unfinished(self.folder):
                    if about.serial == serial and keep:
                        self._keep(path, about)
                    elif about.serial == serial:
                        remove_capture(path)
            finally:
                self.live.release()

    def _keep(self, path: Path, about: About) -> None:
        if said := keep_captured(self.shop, path, about):
            self._problems.say(about.serial, said)
