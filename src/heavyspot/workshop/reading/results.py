"""The values a spin gives back, and their JSON form (a contract: docs/reference/cli.md)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from ...balance.cut.advice_case import Advice, Prediction
from ...balance.cut.candidates import AdvisedCut
from ...balance.limits import Judgement, Worst
from ...quantities.angles import Rotation, clock_text
from ...quantities.arrays import Array
from ...quantities.finding import Finding, blocking_of, finding_said
from ...quantities.said import Said, in_words, said_json
from ...signal.curve import Curve
from ...signal.levels import Heard


@dataclass(frozen=True)
class SpinResult:
    """A spin as recorded in the ledger.

    Attributes
    ----------
    run : str
        Identifier of the run.
    number : int
        1 for the first spin of the piece.
    curves : tuple of Curve
    sensors : tuple of str
        Names, in the order of the curves' channels.
    findings : tuple of Finding
    judgement : Judgement or None
        None when nothing could be judged.
    advice : Advice
    rotation : str
    """

    run: str
    number: int
    serial: str
    curves: tuple[Curve, ...]
    sensors: tuple[str, ...]
    findings: tuple[Finding, ...]
    judgement: Judgement | None
    advice: Advice
    rotation: Rotation
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """``pass``, ``fail`` or ``undecided``."""
        return self.judgement.verdict if self.judgement else "undecided"

    @property
    def reason(self) -> str:
        """Why the verdict is what it is."""
        return in_words(reason_of(self.judgement, self.findings))

    def as_json(self) -> dict[str, Any]:
        """Return the result as JSON-ready values."""
        out: dict[str, Any] = {"run": self.run, "number": self.number, "serial": self.serial}
        out |= curves_json(self.curves, self.sensors)
        out |= judgement_json(self.judgement, self.findings)
        out["findings"] = [finding_json(f) for f in self.findings]
        out["advice"] = advice_json(self.advice, self.rotation)
        out["notes"] = list(self.notes)
        return out


def curves_json(curves: tuple[Curve, ...], sensors: tuple[str, ...]) -> dict[str, Any]:
    """Return the main curve, its overall level, all passes, and the main curve of every sensor."""
    main = curves[0] if curves else None
    return {
        "curve": _curve_json(main),
        "overall_g": _numbers(main.overall_rms[0]) if main else [],
        "twice_g": _numbers(main.twice[0]) if main else [],
        "thrice_g": _numbers(main.thrice[0]) if main else [],
        "passes": [{"direction": c.direction, **_curve_json(c)} for c in curves],
        "sensors": [{"sensor": s, **_curve_json(main, i)} for i, s in enumerate(sensors) if main],
    }


def _curve_json(curve: Curve | None, sensor: int = 0) -> dict[str, list[float | None]]:
    if curve is None:
        return {"speed_rpm": [], "amplitude_g": [], "angle_deg": [], "noise_g": []}
    return {
        "speed_rpm": _numbers(curve.speed_rpm),
        "amplitude_g": _numbers(np.abs(curve.vector[sensor])),
        "angle_deg": _numbers(curve.angle_deg(sensor)),
        "noise_g": _numbers(curve.noise[sensor]),
    }


def reason_of(judgement: Judgement | None, findings: Iterable[Finding]) -> Said:
    """Return why the verdict is what it is."""
    if judgement is not None:
        return judgement.reason
    blocking = blocking_of(findings)
    return finding_said(blocking[0]) if blocking else Said("verdict.nothing")


def judgement_json(judgement: Judgement | None, findings: Iterable[Finding]) -> dict[str, Any]:
    """Return verdict, margin and worst speed."""
    if judgement is None:
        nothing = {"verdict": "undecided", "margin": None, "worst": None}
        return {**nothing, **said_json("reason", reason_of(judgement, findings))}
    return {
        "verdict": judgement.verdict,
        "margin": _number(judgement.margin),
        "worst": _worst_json(judgement.worst),
        "covered": _number(judgement.covered),
        **said_json("reason", judgement.reason),
        "measured": judgement.measured,
        "sensor": judgement.sensor,
        "budget": [
            {k: _number(v) if isinstance(v, float) else v for k, v in asdict(p).items()}
            for p in judgement.budget
        ],
        "each": [asdict(e) | {"worst": _worst_json(e.worst)} for e in judgement.each],
    }


def _worst_json(worst: Worst) -> dict[str, float | None]:
    return {k: _number(v) for k, v in asdict(worst).items()}


def finding_json(finding: Finding) -> dict[str, Any]:
    """Return a finding."""
    numbers = {k: _number(v) for k, v in finding.evidence.items()}
    return asdict(finding) | {"evidence": {k: v for k, v in numbers.items() if v is not None}}


def heard_json(heard: Mapping[str, Heard]) -> dict[str, Any] | None:
    """Return what the first sensor heard, and the further ones by name; None when the speed is not known."""
    if not heard:
        return None
    first, *further = heard
    return asdict(heard[first]) | {"further": {name: asdict(heard[name]) for name in further}}


def cut_json(cut: AdvisedCut, rotation: Rotation) -> dict[str, Any]:
    """Return a cut with its clock hour."""
    numbers = {k: v if isinstance(v, str) else _number(v) for k, v in asdict(cut).items()}
    return numbers | {"clock": clock_text(cut.angle_deg, rotation)}


def percent(share: float) -> str:
    """Return a chance in words: nothing is sure, and nothing is out of the question."""
    return f"{min(99, max(1, round(100 * share)))} %"


def advice_json(advice: Advice, rotation: Rotation) -> dict[str, Any]:
    """Return the advice."""
    return {
        "action": advice.action,
        "cuts": [cut_json(c, rotation) for c in advice.cuts],
        "predicted": _prediction_json(advice.predicted),
        "chance_of_pass": _number(advice.chance_of_pass),
        "computed_chance": _number(advice.computed_chance),
        "expected_ratio": _number(advice.expected_ratio),
        "trial": advice.trial,
        "why": advice.reason,
        "why_said": [asdict(w) for w in advice.why],
        "doubts": [asdict(d) for d in advice.doubts[:3]],
        "one_more": [cut_json(c, rotation) for c in advice.one_more],
        "others": [
            {
                "cuts": [cut_json(c, rotation) for c in o.cuts],
                "chance_of_pass": _number(o.chance_of_pass),
                "expected_ratio": _number(o.expected_ratio),
            }
            for o in advice.others
        ],
    }


def _prediction_json(predicted: Prediction | None) -> dict[str, object] | None:
    """Return the prediction of the first sensor, and those of the others in their order."""
    if predicted is None:
        return None
    parts = [_lines_json(predicted.of(i)) for i in range(int(predicted.sensor.max()) + 1)]
    return {**parts[0], "others": parts[1:]}


def _lines_json(predicted: Prediction) -> dict[str, list[float | None]]:
    return {
        k: _numbers(getattr(predicted, k)) for k in ("speed_rpm", "amplitude_g", "low_g", "high_g")
    }


def _numbers(values: Array) -> list[float | None]:
    return [_number(v) for v in values]


def _number(value: float | None) -> float | None:
    """Return a number with six digits; None for one that could not be computed."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{float(value):.6g}")
