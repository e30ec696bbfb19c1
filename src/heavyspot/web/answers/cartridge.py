"""Runs and cuts of a cartridge; speeds in rpm, vibration in g zero-to-peak, angles in degrees from the mark."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from .common import SaidTold, Told

Verdict = Literal["pass", "fail", "undecided"]
Numbers = list[float | None]
"""A number that could not be computed is null."""


class CurveTold(Told):
    """The once-per-turn vector over speed."""

    speed_rpm: Numbers
    amplitude_g: Numbers
    angle_deg: Numbers
    noise_g: Numbers = Field(default_factory=list)


class PassTold(CurveTold):
    """One pass, up or down."""

    direction: str


class SensorTold(CurveTold):
    """What one sensor showed."""

    sensor: str


class WorstTold(Told):
    """The speed at which a curve is nearest to, or most over, its limit."""

    speed_rpm: float | None
    amplitude_g: float | None
    uncertainty_g: float | None
    limit_g: float | None
    ratio: float | None


class EachTold(Told):
    """What one of several sensors says."""

    sensor: str
    verdict: Verdict
    worst: WorstTold | None = None


class PartOfBudget(Told):
    """A part of the uncertainty at the worst speed."""

    source: str
    kind: str
    standard_g: float | None
    share: float | None = None
    degrees: float | None = None


class FindingTold(Told):
    """Something about a run that is not unbalance; one that blocks leaves the verdict undecided."""

    code: str = Field(examples=["reference.two_poles"])
    severity: Literal["note", "warn", "block"]
    text: str
    do: str
    evidence: dict[str, float] = Field(default_factory=dict)
    do_said: SaidTold | None = None


class AdvisedCutTold(Told):
    """A cut to make: where, and how much of it."""

    plane: str
    angle_deg: float | None
    mass_mg: float | None
    unbalance_gmm: float | None
    depth_mm: float | None
    clock: str = Field("", examples=["2:30"])


class PredictionTold(Told):
    """The next run as expected: median, and the band that holds 90 %."""

    speed_rpm: Numbers
    amplitude_g: Numbers
    low_g: Numbers
    high_g: Numbers


class AlternativeTold(Told):
    """Something else that could be done; no cuts means leaving it as it is."""

    cuts: list[AdvisedCutTold]
    chance_of_pass: float | None
    expected_ratio: float | None


class AdviceTold(Told):
    """What to do next: advice, never a command to a machine."""

    action: Literal["cut", "spin_again", "fix", "stop"]
    cuts: list[AdvisedCutTold]
    predicted: PredictionTold | None
    chance_of_pass: float | None
    expected_ratio: float | None
    trial: bool
    why: str
    why_said: list[SaidTold] = Field(default_factory=list)
    computed_chance: float | None = None
    doubts: list[dict[str, object]] = Field(default_factory=list)
    one_more: list[AdvisedCutTold] = Field(default_factory=list)
    others: list[AlternativeTold] = Field(default_factory=list)


class VerdictTold(Told):
    """A verdict with its reasons; margin and worst are null where nothing could be judged."""

    verdict: Verdict
    margin: float | None
    worst: WorstTold | None
    reason: str
    reason_said: SaidTold | None = None
    covered: float | None = None
    measured: Verdict | None = None
    sensor: str = ""
    budget: list[PartOfBudget] = Field(default_factory=list)
    each: list[EachTold] = Field(default_factory=list)
    findings: list[FindingTold]
    advice: AdviceTold
    notes: list[str] = Field(default_factory=list)


class RunTold(VerdictTold):
    """A run just read, with its curves; where its bytes were read before, the run as it is kept."""

    run: str
    number: int
    serial: str
    read_before: bool = False
    curve: CurveTold | None = None
    overall_g: Numbers = Field(default_factory=list)
    twice_g: Numbers = Field(default_factory=list)
    thrice_g: Numbers = Field(default_factory=list)
    passes: list[PassTold] = Field(default_factory=list)
    sensors: list[SensorTold] = Field(default_factory=list)


class KeptRunTold(VerdictTold):
    """A run of the ledger."""

    run: str
    number: int
    at: str
    by: str
    rig: str
    recording: str


class CutTold(Told):
    """A cut, asked or made; `never_made` amends one that was written down and never made."""

    after_run: int
    kind: Literal["asked", "made"]
    plane: str
    angle_deg: float
    unbalance_gmm: float
    mass_mg: float
    depth_mm: float
    at: str
    by: str
    why: str
    replaces: str | None
    never_made: bool | None


class KeptCutTold(CutTold):
    """A cut of the ledger."""

    id: str


class GroundTold(CutTold):
    """A cut as it was written down, and what may still come off that plane."""

    cut: str
    serial: str
    left_mg: float


class PieceTold(Told):
    """A cartridge with its runs and cuts, in order."""

    serial: str
    model: str
    customer: str
    invoice: str
    position: str
    at: str
    runs: list[KeptRunTold]
    cuts_made: list[KeptCutTold]
    cuts_asked: list[KeptCutTold]


class OverruledTold(Told):
    """What stands now, and against what."""

    serial: str
    number: int
    verdict: Verdict
    finding: str
    why: str
    by: str


class AmendedTold(Told):
    """Identifier of what was amended."""

    amended: str


class PassesTold(Told):
    """Every pass of a run, with its findings."""

    passes: list[PassTold]
    findings: list[FindingTold]


class MomentTold(Told):
    """Waveform and spectrum at one speed."""

    speed_rpm: float
    turning_hz: float
    time_ms: Numbers
    acceleration_g: Numbers
    frequency_hz: Numbers
    spectrum_g: Numbers
