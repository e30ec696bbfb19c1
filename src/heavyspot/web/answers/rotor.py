"""Loose rotors and the low-speed machines; unbalance in g·mm, angles in degrees from the mark."""

from __future__ import annotations

from pydantic import Field

from .cartridge import Verdict
from .common import SaidTold, Told


class VectorTold(Told):
    """A vector; the circle holds the truth 95 times in 100."""

    name: str
    amount_gmm: float
    angle_deg: float
    standard_gmm: float
    uncertainty_gmm: float
    circle_gmm: float


class ResidualTold(VectorTold):
    """What is in a tolerance plane, beside its limit."""

    limit_gmm: float
    verdict: Verdict
    ratio: float


class CorrectionTold(Told):
    """One thing to do."""

    plane: str
    way: str
    angle_deg: float
    amount_gmm: float
    mass_g: float
    depth_mm: float
    pieces: dict[str, int] | None


class RotorAdviceTold(Told):
    """What to do to a rotor, and what should stay."""

    corrections: list[CorrectionTold]
    sparing: list[CorrectionTold]
    expected: list[VectorTold]
    why: str
    why_said: list[SaidTold] = Field(default_factory=list)


class ReadingTold(Told):
    """A reading of a rotor, with verdict and advice; `rotor` and `machine` are their keys as they were."""

    run: str
    number: int
    at: str
    by: str
    rig: str
    recording: str
    rotor: dict[str, object]
    machine: dict[str, object]
    way: str
    speed_rpm: float
    planes: list[VectorTold]
    tolerance: list[ResidualTold]
    rule: str
    verdict: Verdict
    kind: str
    advice: RotorAdviceTold
    notes: list[str]


class NewReading(ReadingTold):
    """A reading just made."""

    serial: str


class MadeTold(Told):
    """What was really done in a plane."""

    plane: str
    way: str
    angle_deg: float
    amount_gmm: float


class KeptCorrectionTold(MadeTold):
    """A correction of the ledger."""

    id: str
    at: str
    by: str
    after_run: int


class RotorTold(Told):
    """A rotor with its readings and corrections, in order."""

    serial: str
    model: str
    customer: str
    invoice: str
    at: str
    rotor: dict[str, object]
    limits_gmm: dict[str, float]
    rule: str
    runs: list[ReadingTold]
    corrections: list[KeptCorrectionTold]


class KindMade(Told):
    """Name of a kind of rotor."""

    rotor: str


class ProofTold(Told):
    """A proof of a machine; it holds until it is due."""

    kind: str
    passed: bool
    due: str
    given: dict[str, object]
    planes: dict[str, object]
    rig: str = ""
    at: str = ""


class ProofsTold(Told):
    """A machine's newest proofs, and what is past its day."""

    proofs: list[ProofTold]
    overdue: list[str]


class AssemblyTold(Told):
    """Parts to put together, and what stays."""

    parts: dict[str, str]
    turned_deg: dict[str, float]
    residual_gmm: float
    angle_deg: float


class MatchingTold(Told):
    """A proposal of which parts to put together."""

    id: str
    kinds: list[str]
    steps_deg: dict[str, float]
    total_gmm: float
    bound_gmm: float
    as_they_come_gmm: float
    assemblies: list[AssemblyTold]
