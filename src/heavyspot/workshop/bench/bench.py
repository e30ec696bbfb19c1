"""The bench: one rig, one piece at a time, one question at a time.

What is asked follows from the ledger and from what is running, so that a closed browser or a killed
program comes back to the same question.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import InitVar, dataclass, field
from pathlib import Path

from ...quantities.errors import LedgerFault, SourceLost
from ...quantities.said import Said
from ...sources.devices.slow import SlowChannels
from ...sources.sound_card import RigFile
from ..cartridge import CartridgeStory, cartridge_story
from ..job import BuildState, refuse_unbuilt
from ..shop import Workshop, clock_words
from ..taking.disk_first import About
from ..taking.hands_free import HandsFree
from ..taking.oil import NO_OIL, Oil, checked_oil
from .asks import Asks, Question
from .capture import Capture, LiveFactory
from .left_behind import keep_captured, remove_capture, set_damaged_aside, unfinished
from .live_store import LiveStore
from .no_rig import source_of
from .problems import EVERYBODY, Problems
from .remote import Remote
from .set_up import SetUp, SetUps, checked_operator
from .setup_check import Check, listen
from .watched import watch_of

DISARM_S = 5.0
"""How long a device may take to let go."""


@dataclass
class Shared:
    """What the benches of one program share: the data folder's live store, what is asked, what went wrong."""

    live: LiveStore
    asks: Asks
    problems: Problems = field(default_factory=Problems)


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
    rig : RigFile or None
        The real rig: its samples are taken in a process of their own.
    slow : SlowChannels or None
        What measures oil and speed beside the rig's own channels.
    shared : Shared, optional
        What a program's benches share; the only one has its own.
    refuses : callable
        Raises where a piece, by serial, is not to be spun on this bench.

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
    agent : Remote
        Who captures its spins beside the rig, on a computer of its own; one that never speaks where nobody does.
    """

    shop: Workshop
    factory: LiveFactory
    listener: LiveFactory
    connected: bool = True
    rig: RigFile | None = None
    slow: SlowChannels | None = None
    shared: InitVar[Shared | None] = None
    refuses: Callable[[str], None] = lambda _: None
    capture: Capture | None = None
    reading: str = ""
    lost: str = ""
    hands_free: bool = False
    listening: str = ""
    on_it: str = ""
    agent: Remote = field(default_factory=Remote)
    heard: dict[str, list[Check]] = field(default_factory=dict)
    set_ups: SetUps = field(default_factory=SetUps)
    _ending: threading.Thread | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self, shared: Shared | None) -> None:
        known = self.known = shared or Shared(LiveStore(self.folder), Asks(self.shop))
        self.live, self.asks, self.problems = known.live, known.asks, known.problems
        if self.live.elsewhere() is None:
            said = [*set_damaged_aside(self.folder), clock_words(self.shop)]
            self.problems.say(EVERYBODY, " ".join(filter(None, said)))

    @property
    def folder(self) -> Path:
        """Where captures lie until they are in the ledger."""
        return self.shop.book.folder / "capture"

    def problem(self, serial: str = "") -> str:
        """Return what went wrong with a piece's last spin and what concerns every piece, or an empty text."""
        return self.problems.of(serial)

    def tell(self, serial: str, words: str) -> None:
        """Say at a piece's bench what happened to it elsewhere."""
        self.problems.say(serial, words)

    def rescued(self, serial: str) -> list[Path]:
        """Return captures of a piece that are not in the ledger; none while another program spins here."""
        if self.live.elsewhere() is not None:
            return []
        running = self.capture.path if self.capture else None
        found = unfinished(self.folder)
        return [p for p, about in found if about.serial == serial and p != running]

    def question(self, serial: str) -> Question:
        """Return what the technician is to do now with a cartridge; raises as `cartridge_story` does."""
        written = self.asks.of(serial)
        return self._running(serial) or written

    def question_of(self, story: CartridgeStory, build: BuildState) -> Question:
        """Return what the technician is to do now with a cartridge that was looked up already."""
        return self._running(story.piece.serial) or self.asks.written(story, build)

    def stamp(self, serial: str) -> str:
        """Return what changes when a page of a piece's bench shows what was: a yes said, a thing heard."""
        said = ",".join(sorted(self.set_ups.said_of(serial)))
        heard, rig = len(self.heard.get(serial, ())), self.rig.name if self.rig else ""
        return f"{said};{heard};{self.capture is not None};{self.armed};{self.lost};{rig}"

    def once_more(self, serial: str, *, wanted: bool = True) -> None:
        """Ask for the set-up of one more spin whatever the last advice says, or no more; nothing is written."""
        self.asks.once_more(serial, wanted=wanted)

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
        if self.agent.spin_of(serial):
            return True
        return (there := self.live.elsewhere()) is not None and there.spins(serial)

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
        self.disarm()
        set_up = self.set_up(serial)
        if self.hands_free and set_up.ready and self.capture is None:
            by = signs(set_up.operator)
            self.spin(serial, operator=by, oil=set_up.fresh_oil(), waits=True)

    def leave(self, serial: str) -> None:
        """Forget what was said and heard for a piece's next spin here: it goes to another rig."""
        self._spun(serial)
        if self.on_it == serial:
            self.on_it = ""

    def _spun(self, serial: str) -> None:
        """Forget what was said and heard: it was for one spin."""
        self.set_ups.spun(serial)
        self.heard.pop(serial, None)

    def holds(self, serial: str) -> bool:
        """Whether a piece is armed, spun or read here."""
        spun = self.capture.about.serial if self.capture else ""
        return serial != "" and serial in (spun, self.reading)

    def connect(self, rig: RigFile) -> None:
        """Take a rig that was just connected; raises `LedgerFault` while one spins."""
        self.disarm()
        with self.lock:
            self._refuse_while_spinning()
            self.factory = self.listener = source_of(rig)
            self.rig = rig
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
        pickup = story.last.result.pickup if story.last else None
        self.disarm()
        with self.lock:
            self._refuse_while_spinning()
            self.listening = serial
            try:
                self.heard[serial] = listen(
                    self.listener(serial),
                    limit_g=float(min(story.model.house_limit().limit_g)),
                    from_rpm=story.model.from_rpm,
                    pickup_last=pickup[0] if pickup else None,
                    top_rpm=story.model.test_speed_rpm,
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
                Said("refusal.is_spinning_on_this_rig", {"other": other}),
                remedy=Said("remedy.wait_until_it_has_ended"),
            )
        if there := self.live.elsewhere():
            raise there.refusal()

    def spin(
        self, serial: str, *, operator: str = "", oil: Oil = NO_OIL, waits: bool = False
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
        with self.lock:
            self._refuse_while_spinning()
            self.refuses(serial)
            self.problems.over(serial)
            self.live.take(serial)
            try:
                source = HandsFree(self.factory(serial)) if waits else self.factory(serial)
                about = About(serial, operator, oil)
                watch = watch_of(self.shop, serial, source.describe().rig)
                self.capture = Capture(
                    source, self.folder, about, watch, apart=self.rig, slow=self.slow
                )
                self.on_it = serial
                if not waits:
                    self._spun(serial)
            except OSError as fault:
                why = Said("refusal.the_spin_cannot_be_written", {"fault": str(fault)})
                raise LedgerFault(why, remedy=Said("remedy.make_room_on_the_disk")) from None
            finally:
                if self.capture is None:
                    self.live.release(serial)
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
        self.agent.refuse_while_spinning()
        if self.capture is None and (there := self.live.elsewhere()):
            piece = there.serial or Said("refused_noun.the_piece")
            why = Said("refusal.spins_at", {"value": piece, "name": there.name})
            raise LedgerFault(why, remedy=Said("remedy.stop_it_there"))
        self.close()

    def close(self) -> None:
        """Stop what this program itself spins; it is read and kept."""
        if (capture := self.capture) is not None:
            capture.stop()

    def _when_done(self, capture: Capture) -> None:
        serial = capture.about.serial
        if capture.hands_free:
            capture.begun_or_over()
            if capture.begun.is_set():
                self._spun(serial)
        capture.join()
        if capture.nothing_taken:  # disarmed, or no device
            remove_capture(capture.path)
            self.problems.say(serial, capture.error)
            with self.lock:
                self.capture = None
            self.live.release(serial)
            return
        with self.lock:
            self.reading, self.capture = serial, None
        try:
            self._keep(capture.path, capture.about)
        except Exception as fault:  # nobody waits for this thread: the screen must say what it met
            self.problems.say(
                serial, f"The spin is not in the ledger ({fault}); its samples are kept."
            )
        finally:
            self.live.release(serial)
            self.reading = ""
        self.problems.say(serial, capture.error)

    def rescue(self, serial: str, *, keep: bool) -> None:
        """Read what an interrupted spin left, or remove it; raises `LedgerFault` while somebody spins."""
        with self.lock:
            self._refuse_while_spinning()
            self.live.take(serial)
            try:
                for path, about in unfinished(self.folder):
                    if about.serial == serial and keep:
                        self._keep(path, about)
                    elif about.serial == serial:
                        remove_capture(path)
            finally:
                self.live.release(serial)

    def _keep(self, path: Path, about: About) -> None:
        if said := keep_captured(self.shop, path, about):
            self.problems.say(about.serial, said)
