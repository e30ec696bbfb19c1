"""What a reading of a rotor says once it is kept, read back as values."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from functools import cached_property
from typing import Any

from ...balance.limits import Verdict
from ...ledger.records import Piece, RotorCorrection, RotorRun
from ...quantities.angles import angle_of
from ...quantities.said import Said, as_it_is
from ..shop import Workshop, find_piece
from ..stored import stored
from .correction import Correction
from .model_file import RotorFile, parse_rotor
from .models import rotor_model
from .reading import CIRCLE_K


@dataclass(frozen=True, kw_only=True)
class KeptVector:
    """A vector; the circle holds the truth 95 times in 100."""

    name: str
    amount_gmm: float
    angle_deg: float
    standard_gmm: float
    uncertainty_gmm: float
    circle_gmm: float


@dataclass(frozen=True, kw_only=True)
class KeptResidual(KeptVector):
    """What is in a tolerance plane, beside its limit."""

    limit_gmm: float
    verdict: Verdict
    ratio: float


@dataclass(frozen=True)
class KeptRotorAdvice:
    """What was advised; `why` stands in English, and beside it as codes, where there were codes already."""

    corrections: tuple[Correction, ...]
    sparing: tuple[Correction, ...]
    expected: tuple[KeptVector, ...]
    why: str
    why_said: tuple[Said, ...] = ()

    def reasons(self) -> tuple[Said, ...]:
        """Return why, to be said in any language; what was kept before there were codes stays as it was."""
        return self.why_said or (as_it_is(self.why),)


@dataclass(frozen=True)
class KeptReading:
    """A reading; `rotor` and `machine` are the keys of the rotor file and of the rig's record, as they were.

    What is said stands in English, and beside it as codes; readings from before there were codes have none.
    """

    program: str
    rotor: dict[str, Any]
    machine: dict[str, Any]
    way: str
    speed_rpm: float
    planes: tuple[KeptVector, ...]
    tolerance: tuple[KeptResidual, ...]
    rule: str
    verdict: Verdict
    kind: str
    advice: KeptRotorAdvice
    notes: tuple[str, ...]
    evidence: dict[str, Any] = field(default_factory=dict)
    proofs: tuple[str, ...] = ()
    rule_said: Said | None = None
    notes_said: tuple[Said, ...] = ()
    proofs_said: tuple[Said, ...] = ()


@dataclass(frozen=True)
class MadeCorrection:
    """What was really done in a plane."""

    plane: str
    way: str
    angle_deg: float
    amount_gmm: float


@dataclass(frozen=True)
class RotorReadingKept:
    """A reading of the ledger with what it said."""

    entry: RotorRun
    reading: KeptReading

    @cached_property
    def rotor(self) -> RotorFile:
        """The rotor as it was when it was measured."""
        return parse_rotor(dict(self.reading.rotor), name="the reading's rotor")

    @property
    def number(self) -> int:
        """1 for the first reading."""
        return self.entry.number

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values (a contract: docs/reference/cli.md)."""
        e = self.entry
        about = {"run": e.id, "number": e.number, "at": e.at, "by": e.by, "rig": e.rig}
        return {**about, "recording": e.recording, **e.content}


@dataclass(frozen=True)
class CorrectionKept:
    """A correction of the ledger with what was done."""

    entry: RotorCorrection
    made: MadeCorrection

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values."""
        e = self.entry
        about = {"id": e.id, "at": e.at, "by": e.by, "after_run": e.after_run}
        return {**about, **asdict(self.made)}


@dataclass(frozen=True)
class RotorStory:
    """A rotor, looked up once and passed down."""

    piece: Piece
    rotor: RotorFile
    readings: tuple[RotorReadingKept, ...]
    corrections: tuple[CorrectionKept, ...]

    @property
    def last(self) -> RotorReadingKept | None:
        """The newest reading, or None."""
        return self.readings[-1] if self.readings else None

    def corrected_since(self, number: int) -> tuple[CorrectionKept, ...]:
        """Return the corrections made after a reading."""
        return tuple(c for c in self.corrections if c.entry.after_run >= number)

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values, in order (a contract: docs/reference/cli.md)."""
        kept = ("serial", "model", "customer", "invoice", "at")
        return {
            **{k: v for k, v in asdict(self.piece).items() if k in kept},
            "rotor": self.rotor.model_dump(mode="json"),
            "limits_gmm": dict(zip(self.rotor.tolerance_planes, self.rotor.limits(), strict=True)),
            "rule": self.rotor.rule_text(),
            "runs": [r.as_json() for r in self.readings],
            "corrections": [c.as_json() for c in self.corrections],
        }


def rotor_story(shop: Workshop, serial: str) -> RotorStory:
    """Return a rotor with its readings and corrections, in order.

    Raises
    ------
    NotThere
        No such piece, or it is no rotor.
    """
    piece = find_piece(shop, serial)
    return RotorStory(
        piece,
        rotor_model(shop, piece.model),
        tuple(reading_of(r) for r in shop.book.rotors.runs(piece.id)),
        tuple(
            CorrectionKept(c, stored(MadeCorrection, c.content, what="A correction"))
            for c in shop.book.rotors.corrections(piece.id)
        ),
    )


def reading_of(run: RotorRun) -> RotorReadingKept:
    """Return a reading with what it said; raises `LedgerFault` when it cannot be read back."""
    return RotorReadingKept(run, stored(KeptReading, run.content, what=f"Reading {run.number}"))


def vector_of(name: str, value: complex, standard: float) -> KeptVector:
    """Return a vector as it is kept."""
    return KeptVector(
        name=name,
        amount_gmm=float(abs(value)),
        angle_deg=float(angle_of(value)),
        standard_gmm=float(standard),
        uncertainty_gmm=float(2 * standard),
        circle_gmm=float(CIRCLE_K * standard),
    )
