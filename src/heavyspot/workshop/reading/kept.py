"""What a run says once it is kept: its result and its conditions, read back as values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ...balance.budget import Part
from ...balance.cut.advice_case import Action
from ...balance.cut.doubt import Explanation
from ...balance.limits import SensorVerdict, Verdict, Worst
from ...ledger.records import Run
from ...quantities.angles import Rotation
from ...quantities.finding import Finding, blocking_of
from ...quantities.said import Said
from ...signal.levels import Heard
from ..stored import stored


@dataclass(frozen=True)
class KeptCut:
    """A cut as it was advised."""

    plane: str
    angle_deg: float
    clock: str
    mass_mg: float
    unbalance_gmm: float
    depth_mm: float


@dataclass(frozen=True)
class KeptPrediction:
    """The next run as it was expected: median and the band that holds 90 %; `others` of the further sensors."""

    speed_rpm: tuple[float, ...]
    amplitude_g: tuple[float | None, ...]
    low_g: tuple[float | None, ...]
    high_g: tuple[float | None, ...]
    others: tuple[KeptPrediction, ...] = ()


@dataclass(frozen=True)
class KeptAlternative:
    """Something else that could have been done; no cuts means leaving it as it is."""

    cuts: tuple[KeptCut, ...]
    chance_of_pass: float | None
    expected_ratio: float | None


@dataclass(frozen=True)
class KeptAdvice:
    """The advice a run ended with, as it was said; `why_said` is empty in results from before there were codes."""

    action: Action
    cuts: tuple[KeptCut, ...]
    predicted: KeptPrediction | None
    chance_of_pass: float | None
    expected_ratio: float | None
    trial: bool
    why: str
    computed_chance: float | None = None
    one_more: tuple[KeptCut, ...] = ()
    others: tuple[KeptAlternative, ...] = ()
    doubts: tuple[Explanation, ...] = ()
    why_said: tuple[Said, ...] = ()

    @property
    def wanted(self) -> tuple[KeptCut, ...]:
        """The cuts to make: those advised, or after a pass those that would still help."""
        return self.cuts or self.one_more


@dataclass(frozen=True)
class KeptOverruling:
    """Who let a verdict stand against a finding, when, why, and the finding."""

    by: str
    at: str
    why: str
    finding: str


@dataclass(frozen=True)
class KeptResult:
    """A run's result.

    Attributes
    ----------
    measured : str or None
        What the curve alone says, where a finding made the verdict undecided.
    margin : float or None
        None when nothing could be judged.
    sensor : str
        The one that decided; empty where there is only one.
    each : tuple of SensorVerdict
        What every sensor said; empty where there is only one.
    budget : tuple of Part
        Of the uncertainty at the worst speed; empty in results from before it was kept.
    reason_said : Said or None
        None in results from before there were codes.
    sensor_lag_deg : float or None
        Turn from pickup to the first sensor; None where nobody said.
    lags_deg : tuple of float or None
        The same of each sensor; empty in results from before they were kept.
    looked, knowingly : tuple of str
        Cuts that were looked at after this run, and those in spite of which the work goes on.
    pickup : (float, float) or None
        Amplitude of the nut's fundamental near top speed, and its share of the pickup's power.
    """

    verdict: Verdict
    margin: float | None
    worst: Worst | None
    reason: str
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    advice: KeptAdvice
    covered: float | None = None
    pickup: tuple[float, float] | None = None
    reason_said: Said | None = None
    measured: Verdict | None = None
    sensor: str = ""
    each: tuple[SensorVerdict, ...] = ()
    budget: tuple[Part, ...] = ()
    overruled: KeptOverruling | None = None
    sensor_lag_deg: float | None = None
    lags_deg: tuple[float | None, ...] = ()
    looked: tuple[str, ...] = ()
    knowingly: tuple[str, ...] = ()

    @property
    def blocking(self) -> tuple[Finding, ...]:
        """The findings that forbid a verdict and a cut."""
        return blocking_of(self.findings)


@dataclass(frozen=True)
class KeptHeard(Heard):
    """What the first sensor heard beside unbalance; `further` what the others did, by name."""

    further: dict[str, Heard] = field(default_factory=dict)

    def of(self, place: int, name: str) -> Heard | None:
        """Return what a sensor heard, the first by its place, the others by name; None when it was not there."""
        return self if place == 0 else self.further.get(name)


@dataclass(frozen=True)
class KeptSensitivity:
    """What a sensor gives for what it feels."""

    value: float
    unit: str


@dataclass(frozen=True)
class KeptChannel:
    """A channel of the recording."""

    name: str
    quantity: str
    sensor: str = ""
    sensitivity: KeptSensitivity | None = None


@dataclass(frozen=True)
class KeptOil:
    """The oil as it was written down."""

    temperature_c: float | None = None
    pressure_kpa: float | None = None


@dataclass(frozen=True)
class KeptTable:
    """What a table was, where the run is one: its rows, how it was stated, and whether it had angles."""

    rows: int
    unit: str
    measure: str
    angles: bool


@dataclass(frozen=True)
class KeptRecording:
    """What was known of the recording; `table` where it was none, but a table."""

    channels: tuple[KeptChannel, ...] = ()
    oil: KeptOil = KeptOil()
    table: KeptTable | None = None


@dataclass(frozen=True)
class KeptLimit:
    """The limit it was judged by."""

    speed_rpm: tuple[float, ...]
    limit_g: tuple[float, ...]


@dataclass(frozen=True)
class KeptConditions:
    """What was true when a run was measured; never recomputed from later settings.

    Attributes
    ----------
    model, rig : dict
        Keys of the model file and of the rig's record, as they were.
    """

    program: str
    rotation: Rotation
    recording: KeptRecording
    limit: KeptLimit
    from_rpm: float
    test_speed_rpm: float
    model: dict[str, Any]
    rig: dict[str, Any] = field(default_factory=dict)

    @property
    def sensors(self) -> tuple[str, ...]:
        """Names of the accelerometers, in the order of the curves' channels."""
        return tuple(c.name for c in self.recording.channels if c.quantity == "acceleration")


def result_of(run: Run) -> KeptResult:
    """Return a run's result; raises `LedgerFault` when it cannot be read back."""
    return stored(KeptResult, run.result, what=f"Run {run.number}")


def conditions_of(run: Run) -> KeptConditions:
    """Return the conditions a run was measured under; raises as `result_of` does."""
    return stored(KeptConditions, run.conditions, what=f"Run {run.number}")
