"""Everything a state of the bench is told from, looked up once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from ....quantities.finding import Finding
from ....workshop.bench.remote import Remote
from ....workshop.bench.set_up import SetUp
from ....workshop.bench.setup_check import Check
from ....workshop.cartridge.curves_view import Foretold
from ....workshop.cartridge.story import CartridgeStory, KeptRun
from ....workshop.job.build_record import BuildState
from ....workshop.model.model_file import ModelFile
from ....workshop.reading.kept import KeptCut
from ....workshop.records import Piece
from ....workshop.taking.oil import NO_OIL, Oil
from ...speaking import language

RigKind = Literal["ok", "simulated", "none", "choose", "agent"]


@dataclass(frozen=True)
class OtherRig:
    """A rig that a piece may be put on: its name, and the serial that is on it now; empty on a free one."""

    name: str
    on_it: str = ""


@dataclass(frozen=True)
class RigState:
    """The rig of this bench: real, simulated, or none; its name, and why it is not there.

    Attributes
    ----------
    kind : str
        ``choose`` where there are several and the piece is on none.
    others : tuple of OtherRig
        Where there are several: those the piece is not on.
    on_rig : str
        Where there are several: the one the piece is on, whether it answers or not.
    agent : Remote or None
        Who captures there, where that is on a computer of its own.
    """

    kind: RigKind
    name: str = ""
    lost: str = ""
    others: tuple[OtherRig, ...] = ()
    on_rig: str = ""
    agent: Remote | None = None


@dataclass(frozen=True)
class At:
    """Where the bench stands.

    Attributes
    ----------
    question : str
    advised : tuple of KeptCut
        The cuts to make.
    busy : str
        Serial of another piece that spins on the rig; empty when none does.
    following : Piece or None
        The piece to be spun after this one.
    tiers : tuple of str
        Names of the further tiers the last run stays under.
    armed : bool
        The spin begins by itself when the mark moves.
    undo_s : float or None
        How long the newest cuts can still be taken back.
    measured : (float or None, float or None)
        Oil as instruments measure it now, °C and kPa.
    faults : mapping of field -> str
        What is wrong with what was typed.
    """

    question: str
    story: CartridgeStory
    rig: RigState
    build: BuildState
    set_up: SetUp = field(default_factory=SetUp)
    advised: tuple[KeptCut, ...] = ()
    heard: Sequence[Check] = ()
    siblings: Sequence[Piece] = ()
    following: Piece | None = None
    foretold: Foretold | None = None
    tiers: tuple[str, ...] = ()
    undo_s: float | None = None
    measured: Oil = NO_OIL
    busy: str = ""
    armed: bool = False
    inspector: bool = False
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    language: str = field(default_factory=language)

    @property
    def model(self) -> ModelFile:
        """The piece's model."""
        return self.story.model

    @property
    def serial(self) -> str:
        """The piece's serial."""
        return self.story.piece.serial

    @property
    def last(self) -> KeptRun | None:
        """The newest run."""
        return self.story.last

    @property
    def next_number(self) -> int:
        """The number of the coming run."""
        return self.story.number + 1

    def finding(self, *codes: str) -> Finding | None:
        """Return the last run's first finding of some codes."""
        found = self.last.result.findings if self.last else ()
        return next((f for f in found if f.code in codes), None)
