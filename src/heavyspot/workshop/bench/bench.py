"""The bench: one rig, one piece at a time, one question at a time.

What is asked follows from the ledger and from what is running, so that a closed browser or a killed
program comes back to the same question.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from ...quantities.errors import HeavyspotError, LedgerFault
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ..job.build_record import build_state, refuse_unbuilt
from ..rotor.measuring import measure_signals
from ..shop import Workshop
from .capture import Capture, LiveFactory, remove_capture, unfinished
from .setup_check import Check, listen

Question = Literal[
    "prepare", "spinning", "reading", "grind", "again", "fix", "done", "rescue", "build"
]

ASKED_AFTER: dict[str, Question] = {
    "cut": "grind",
    "spin_again": "again",
    "fix": "fix",
    "stop": "done",
}
"""What is asked after each advice, until something was done about it."""


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

    @property
    def folder(self) -> Path:
        """Where captures lie until they are in the ledger."""
        return self.shop.book.folder / "capture"

    def rescued(self, serial: str) -> list[Path]:
        """Return captures of a piece that a stop of the program left behind."""
        running = self.capture.path if self.capture else None
        return [
            p
            for p, about in unfinished(self.folder)
            if about.get("serial") == serial and p != running
        ]

    def question(self, serial: str) -> Question:
        """Return what the technician is to do now."""
        if self.capture is not None and self.capture.about["serial"] == serial:
            return "spinning"
        if self.reading == serial:
            return "reading"
        if self.rescued(serial):
            return "rescue"
        story = self.shop.story(serial)
        if build_state(self.shop, serial).blocks:
            return "build"
        if not story["runs"]:
            return "prepare"
        last = story["runs"][-1]
        action = last["advice"]["action"]
        if any(c["after_run"] >= last["number"] for c in story["cuts_made"]):
            return "prepare"
        return "done" if last.get("overruled") else ASKED_AFTER[action]

    def listen(self, serial: str) -> list[Check]:
        """Listen to the standing rig and keep what was heard for the piece's next spin.

        Raises
        ------
        LedgerFault
            No such piece, or the rig is spinning.
        SourceLost
            The device is not there.
        """
        model = self.shop.model(self.shop.piece(serial)["model"])
        runs = self.shop.story(serial)["runs"]
        pickup = runs[-1].get("pickup") if runs else None
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
            other = self.capture.about["serial"]
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
                {"serial": serial, "operator": operator, "oil": list(oil)},
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
        serial = capture.about["serial"]
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
                self._keep(path, {"serial": serial})
            else:
                remove_capture(path)

    def _keep(self, path: Path, about: dict[str, Any]) -> None:
        """Read a captured file into the ledger; the file goes only when the ledger has it."""
        try:
            self._read(about["serial"], open_recording(path), about.get("operator", ""))
        except HeavyspotError as fault:
            self.problem = f"{fault.message} {fault.remedy}"
            path.replace(path.with_suffix(".unread"))  # nothing is lost: the samples stay
            path.with_suffix(".about").unlink(missing_ok=True)
            return
        remove_capture(path)

    def _read(self, serial: str, recording: Recording, operator: str) -> None:
        """Read a recording into the ledger: of a cartridge, or of a loose rotor on its supports."""
        if self.shop.kind_of(self.shop.piece(serial)["model"]) == "rotor":
            measure_signals(self.shop, serial, recording, by=operator)
        else:
            self.shop.spin(serial, recording, operator=operator)
