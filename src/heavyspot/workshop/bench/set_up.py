"""The set-up before a spin: what a person has to say anew each time, and what is kept from the last one."""

from __future__ import annotations

import json
import time
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path

from ...quantities.checks import one_line
from ...quantities.durable import write_bytes
from ...quantities.errors import BadInput, HeavyspotError
from ...quantities.said import Said
from ..cartridge import CartridgeStory
from ..model import ModelFile
from ..stored import stored
from ..taking.oil import NO_OIL, Oil, checked_oil

YES = ("guard", "oil")
"""What nobody but a person can see: guard shut and nobody in line; oil on and drains free."""

OIL_LASTS_S = 3600.0
"""Oil read off the rig longer ago than this is asked anew (ours)."""


@dataclass(frozen=True)
class SetUp:
    """How a spin is to be made.

    Attributes
    ----------
    operator : str
    oil : (float or None, float or None)
        Temperature, °C, and pressure, kPa, as read off the rig.
    oil_at_s : float or None
        When they were read, seconds since 1970.
    said : frozenset of str
        Which of `YES` were said for the coming spin.
    """

    operator: str = ""
    oil: Oil = NO_OIL
    oil_at_s: float | None = None
    said: frozenset[str] = field(default_factory=frozenset)

    @property
    def ready(self) -> bool:
        """Whether everything was said."""
        return self.said >= set(YES)

    def oil_age_s(self, now_s: float | None = None) -> float | None:
        """Return how long ago the oil was read; None when it never was."""
        if self.oil_at_s is None or self.oil == NO_OIL:
            return None
        return max(0.0, (time.time() if now_s is None else now_s) - self.oil_at_s)

    def fresh_oil(self, now_s: float | None = None) -> Oil:
        """Return the oil, nothing when it was read too long ago."""
        age = self.oil_age_s(now_s)
        return self.oil if age is not None and age <= OIL_LASTS_S else NO_OIL

    def refuse_unsaid(self) -> None:
        """Raise `BadInput` while something is still to be said."""
        if not self.ready:
            raise BadInput(
                Said("refusal.guard_and_oil_are_not"),
                remedy=Said("remedy.look_and_say_yes_to"),
            )


def checked_operator(name: str) -> str:
    """Return who spins; raises `BadInput` for a name with what nobody sees in it."""
    return one_line("operator", name, most=120)


def outside_oil(model: ModelFile, oil: Oil) -> tuple[str, float, float, float] | None:
    """Return what of the oil is outside the model's range: "c" or "kpa", its value, the range; None if nothing."""
    for key, value, allowed in (
        ("c", oil[0], model.oil_temperature_c),
        ("kpa", oil[1], model.oil_pressure_kpa),
    ):
        if value is not None and allowed is not None and not allowed[0] <= value <= allowed[1]:
            return key, value, allowed[0], allowed[1]
    return None


@dataclass
class SetUps:
    """The set-ups of one rig: operator and oil are the rig's, the yeses a piece's.

    Attributes
    ----------
    kept_in : Path or None
        Where operator and oil are kept over a restart; the yeses never are.
    """

    kept_in: Path | None = None
    _kept: SetUp = field(default_factory=SetUp)
    _said: dict[str, frozenset[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kept_in is not None:
            self._kept = _read_back(self.kept_in)

    def of(self, story: CartridgeStory) -> SetUp:
        """Return a piece's set-up: operator and oil from the rig's last spin, else from the piece's own."""
        kept = self._kept if self._kept.operator or self._kept.oil_at_s else _from_last_run(story)
        return replace(kept, said=self.said_of(story.piece.serial))

    def said_of(self, serial: str) -> frozenset[str]:
        """Return what was said yes to for a piece's coming spin."""
        return self._said.get(serial, frozenset())

    def say(self, serial: str, what: str) -> None:
        """Say yes to something, or take the yes back; raises `BadInput` when there is no such thing."""
        if what not in YES:
            raise BadInput(
                f'Nothing is asked of "{what}".', remedy="Known: " + ", ".join(YES) + "."
            )
        self._said[serial] = self._said.get(serial, frozenset()) ^ {what}

    def keep(self, operator: str, oil: Oil) -> None:
        """Keep what was typed; oil that is read again is read now."""
        before = self._kept
        same = oil in (before.oil, NO_OIL)
        self._kept = replace(
            before,
            operator=operator or before.operator,
            oil=before.oil if same else oil,
            oil_at_s=before.oil_at_s if same else time.time(),
        )
        if self.kept_in is not None and self._kept != before:
            kept = asdict(_OnDisk(self._kept.operator, self._kept.oil, self._kept.oil_at_s))
            with suppress(OSError):  # a full disk costs the comfort, never the spin
                write_bytes(self.kept_in, json.dumps(kept).encode(), private=True)

    def spun(self, serial: str) -> None:
        """Forget the yeses of a piece: they are asked anew before its next spin."""
        self._said.pop(serial, None)


@dataclass(frozen=True)
class _OnDisk:
    """What is kept over a restart."""

    operator: str
    oil: Oil
    oil_at_s: float | None


def _read_back(path: Path) -> SetUp:
    """Return what was kept; nothing where that is no longer readable, no oil that was read in the future."""
    try:
        kept = stored(_OnDisk, json.loads(path.read_bytes()), what="The last set-up")
        read = SetUp(checked_operator(kept.operator), checked_oil(*kept.oil), kept.oil_at_s)
    except (OSError, ValueError, TypeError, HeavyspotError):
        return SetUp()
    if read.oil_at_s is None or read.oil_at_s > time.time():  # a clock that was set back
        return replace(read, oil=NO_OIL, oil_at_s=None)
    return read


def _from_last_run(story: CartridgeStory) -> SetUp:
    last = story.last
    if last is None:
        return SetUp()
    oil = last.conditions.recording.oil
    at = last.entry.recorded_at or last.entry.at
    try:
        read_at: float | None = datetime.fromisoformat(at).timestamp()
    except ValueError:  # an imported run may say it otherwise
        read_at = None
    return SetUp(last.entry.by, (oil.temperature_c, oil.pressure_kpa), read_at)
