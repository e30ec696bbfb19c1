"""The rig that is being connected: which device is listened to just now, one at a time."""

from __future__ import annotations

import threading

from ..quantities.errors import HeavyspotError
from ..sources.sound_card import InputDevice, RigFile, input_devices, open_live
from ..workshop.demo.hand_turned import HandTurnedLive
from ..workshop.rig.listening import Heard, Listening
from .speaking import refused

SOUND, SIMULATED = "sound", "simulated"


class Connecting:
    """Holds the device that the page of a new rig listens to.

    Parameters
    ----------
    pace : float
        Of the simulated rig.
    """

    def __init__(self, pace: float = 1.0) -> None:
        self._pace = pace
        self._listening: Listening | None = None
        self._lock = threading.Lock()

    def listen(self, rig: RigFile | None) -> None:
        """Listen to a rig's device, or to the simulated one; raises `SourceLost` when it is not there."""
        self.let_go()
        with self._lock:
            source = open_live(rig) if rig else HandTurnedLive(pace=self._pace)
            self._listening = Listening(source)

    def heard(self) -> Heard | None:
        """Return what is heard just now; None when nothing is listened to."""
        with self._lock:
            listening = self._listening
        if listening is None:
            return None
        heard = listening.heard()
        return heard if listening.running or heard.fault else None

    def let_go(self) -> None:
        """Let the device go, so that the bench can have it."""
        with self._lock:
            listening, self._listening = self._listening, None
        if listening is not None:
            listening.stop()


def inputs() -> tuple[list[InputDevice], str]:
    """Return the inputs of this computer, or why there are none to be had."""
    try:
        return input_devices(), ""
    except HeavyspotError as fault:
        return [], refused(fault)
