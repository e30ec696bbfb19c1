"""The bench: one rig, one piece at a time, one question at a time.

What is asked follows from the ledger and from what is running, so that a closed browser or a killed
program comes back to the same question.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from ...quantities.errors import HeavyspotError, LedgerFault
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ..cartridge import CartridgeStory, cartridge_story, next_question, spin
from ..job import BuildState, build_state_of, refuse_unbuilt
from ..rotor import measure_signals
from ..shop import Workshop, find_piece
from .capture import About, Capture, LiveFactory, remove_capture, unfinished
from .setup_check import Check, listen

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
    """

    shop: Workshop
    factory: LiveFactory
    listener: LiveFactory
    capture: Capture | None = None
    reading: str = ""
    problem: str = ""
    heard: dict[str, list[Check]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _asked: dict[str, tuple[int, Question]] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """Where captures lie until they are in the ledger."""
        return self.shop.book.folder / "capture"

    def rescued(self, serial: str) -> list[Path]:
        """Return captures of a piece that a stop of the program left behind."""
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
            known = self._asked[serial] = (head, _written_question(story, build))
        return self._running(serial) or known[1]

    def question_of(self, story: CartridgeStory, build: BuildState) -> Question:
        """Return what the technician is to do now with a cartridge that was looked up already."""
        return self._running(story.piece.serial) or _written_question(story, build)

    def _running(self, serial: str) -> Question | None:
        """Return what runs or waits outside the ledger, which comes before anything in it."""
        if self.spins(serial):
            return "spinning"
        if self.reading == serial:
            return "reading"
        return "rescue" if self.rescued(serial) else None

    def spins(self, serial: str) -> bool:
        """Whether a piece is being spun or measured right now."""
        return self.capture is not None and self.capture.about.serial == serial

    def listen(self, serial: str) -> list[Check]:
        """Listen to the standing rig and keep what was heard for the piece's next spin.

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
        with self._lock:
            self._refuse_while_spinning()
            self.heard[serial] = listen(
                self.listener(serial),
                limit_g=float(min(model.house_limit().limit_g)),
                from_rpm=model.from_rpm,
                pickup_last=pickup[0] if pickup else None,
                top_rpm=model.test_speed_rpm,
            )
        return self.heard[serial]

    def _refuse_while_spinning(self) -> None:
        if self.capture is not None:
            other = self.capture.about.serial
            raise LedgerFault(
                f"{other} is spinning on this rig.", remedy="Wait until it has ended."
            )

    def spin(
        self,
        serial: str,
        *,
        operator: str = "",
        oil: tuple[float | None, float | None] = (None, None),
    ) -> Capture:
        """Start a spin; raises `LedgerFault` when one is running or the piece is not known.

        Parameters
        ----------
        oil : (float or None, float or None)
            Temperature, °C, and pressure, kPa, at the cartridge, as read off the rig.
        """
        refuse_unbuilt(self.shop, serial)
        with self._lock:
            self._refuse_while_spinning()
            self.problem = ""
            self.heard.pop(serial, None)
            self.capture = Capture(
                self.factory(serial),
                self.folder,
                About(serial, operator, oil),
            )
            self.capture.start()
        threading.Thread(target=self._when_done, args=(self.capture,), daemon=True).start()
        return self.capture

    def stop(self) -> None:
        """Stop the spin that runs, if any; it is read and kept."""
        if self.capture is not None:
            self.capture.stop()

    def _when_done(self, capture: Capture) -> None:
        capture.join()
        serial = capture.about.serial
        with self._lock:
            self.reading, self.capture = serial, None
        try:
            self._keep(capture.path, capture.about)
        finally:
            self.reading = ""
        if capture.error:
            self.problem = capture.error

    def rescue(self, serial: str, *, keep: bool) -> None:
        """Read what an interrupted spin left, or remove it."""
        for path in self.rescued(serial):
            if keep:
                self._keep(path, About(serial))
            else:
                remove_capture(path)

    def _keep(self, path: Path, about: About) -> None:
        """Read a captured file into the ledger; the file goes only when the ledger has it."""
        try:
            self._read(about.serial, open_recording(path), about.operator)
        except HeavyspotError as fault:
            self.problem = f"{fault.message} {fault.remedy}"
            path.replace(path.with_suffix(".unread"))  # nothing is lost: the samples stay
            path.with_suffix(".about").unlink(missing_ok=True)
            return
        remove_capture(path)

    def _read(self, serial: str, recording: Recording, operator: str) -> None:
        """Read a recording into the ledger: of a cartridge, or of a loose rotor on its supports."""
        if find_piece(self.shop, serial).kind == "rotor":
            measure_signals(self.shop, serial, recording, by=operator)
        else:
            spin(self.shop, serial, recording, operator=operator)


def _written_question(story: CartridgeStory, build: BuildState) -> Question:
    """Return what the ledger alone asks for."""
    return "build" if build.blocks else next_question(story)
