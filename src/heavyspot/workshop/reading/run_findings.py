"""Findings that need more than the samples: the model, the speed asked for, the run before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...balance.cut.doubt import Explanation, check_said, doubtful, explanation_said
from ...balance.cut.history import History, Scatter
from ...balance.cut.prior import ResponsePrior
from ...balance.cut.response import Estimate
from ...balance.limits import REACHED
from ...quantities.finding import Finding, finding_of
from ...quantities.said import Said, in_words
from ...signal.levels import unusual_level
from ...sources.recording import Recording
from ..model import ModelFile
from .reading import ReadResult

FIRM_UNITS = 8
"""Units of a model from which on their response outweighs the record of a cut."""


SPEED_DOUBTFUL = {
    "reference.lost",
    "reference.lost_above",
    "reference.weak",
    "reference.two_poles",
    "reference.irregular",
    "reference.bursts",
    "recording.rate",
    "sensor.swapped",
    "speed.not_followed",
}
"""Findings after which the highest speed read may not be the highest there was: nobody is told to spin faster."""


def model_findings(recording: Recording, read: ReadResult, model: ModelFile) -> list[Finding]:
    """Return what disagrees between a recording and its model."""
    found = []
    if recording.rotation is not None and recording.rotation != model.rotation:
        found.append(
            finding_of(
                "recording.rotation",
                "block",
                f"The recording says {recording.rotation}, the model {model.rotation}.",
            )
        )
    phase = recording.channels[recording.phase_index()].reference
    if phase is not None and phase.pulses_per_turn > 1:
        found.append(
            finding_of(
                "reference.no_single_mark",
                "warn",
                f"The reference gives {phase.pulses_per_turn} pulses a turn: which of them is the mark "
                "differs from run to run, so the amplitude is right and the angle is not.",
                {"pulses_per_turn": float(phase.pulses_per_turn)},
            )
        )
    if recording.lost_samples:
        found.append(
            finding_of(
                "recording.lost_samples",
                "warn",
                f"{recording.lost_samples} samples were lost while this spin was captured.",
                {"lost_samples": float(recording.lost_samples)},
            )
        )
    return [*found, *reached_findings(read, model)]


def reached_findings(read: ReadResult, model: ModelFile) -> list[Finding]:
    """Return what the highest speed of a run says beside its model's."""
    found = []
    highest = read.highest_rpm
    doubtful = any(f.severity == "block" and f.code in SPEED_DOUBTFUL for f in read.findings)
    if highest > 1.01 * model.rated_speed_rpm:
        found.append(
            finding_of(
                "speed.above_rated",
                "block",
                f"The spin reached {highest:,.0f} rpm; the rated speed is {model.rated_speed_rpm:,.0f}.",
                {"speed_rpm": highest, "rated_rpm": model.rated_speed_rpm},
            )
        )
    elif not doubtful and 0 < highest < REACHED * model.test_speed_rpm:
        found.append(
            finding_of(
                "speed.not_reached",
                "warn",
                f"The spin reached {highest:,.0f} rpm; test speed is {model.test_speed_rpm:,.0f}.",
                {"speed_rpm": highest, "test_rpm": model.test_speed_rpm},
            )
        )
    return found


def change_findings(
    history: History, scatter: Scatter, *, sizes_hold: bool = True
) -> list[Finding]:
    """Return what the last run says against the one before it, when nothing was cut between.

    Parameters
    ----------
    sizes_hold : bool
        False where only the angles of the runs can be compared.
    """
    if not history.repeated():
        return []
    before, after = history.vectors[-2], history.vectors[-1]
    weight = np.abs(before) * np.abs(after)
    if not weight.sum() > 0:
        return []
    ratio = complex((np.conj(before) * after).sum() / (np.abs(before) ** 2).sum())
    size, angle = abs(ratio), float(np.rad2deg(np.angle(ratio)))
    alike = float(abs((np.conj(before) * after).sum())) / float(
        np.sqrt((np.abs(before) ** 2).sum() * (np.abs(after) ** 2).sum())
    )
    same_size = 0.8 < size < 1.25 or not sizes_hold
    if alike > 0.95 and same_size and abs(abs(angle) - 180.0) < 20.0:
        return [
            finding_of(
                "reference.reversed",
                "block",
                "Without a cut the vector turned by 180 degrees: the pickup's leads or the magnet changed.",
                {"angle_deg": angle, "size": size},
            )
        ]
    change = float(np.sqrt((np.abs(after - before) ** 2).sum() / (np.abs(before) ** 2).sum()))
    usual = float(np.sqrt(2 * scatter.run_variance))
    if change > 5 * usual and max(np.abs(before).max(), np.abs(after).max()) > 0.05:
        return [
            finding_of(
                "vector.jumped",
                "block",
                f"Without a cut the vector changed by {100 * change:.0f} %; {100 * usual:.0f} % is usual.",
                {"change": change, "usual": usual, "angle_deg": angle},
            )
        ]
    return []


FELL = 0.5
"""Level between two runs of a piece from which a fall is the sensor's, not the rotor's."""


def level_findings(
    sensor: str, now: float, others: Sequence[float], own: Sequence[float]
) -> list[Finding]:
    """Return a stop when a channel's floor at speed is not what this model gives on this rig.

    Parameters
    ----------
    sensor : str
        Its name.
    now : float
        Its floor, g per root hertz; 0 where it could not be told.
    others : sequence of float
        Floors of other pieces of the model on the rig, g per root hertz, the newest.
    own : sequence of float
        Floors of this piece's earlier runs on the rig, in order.
    """
    found = unusual_level(now, others)
    if found is not None:
        way = "less" if found.factor < 1 else "more"
        times = 1 / found.factor if found.factor < 1 else found.factor
        return [
            finding_of(
                "sensor.level",
                "block",
                f"{sensor}: beside the turning it hears {times:.1f} times {way} than {found.runs} other runs of "
                "this model on this rig: its sensitivity, unit or mounting is not what is written down.",
                {"factor": found.factor, "usual_g_rt_hz": found.usual, "sigma": found.sigma},
            )
        ]
    last = own[-1] if own else 0.0
    if now > 0 and last > 0 and not FELL < now / last < 1 / FELL:
        return [
            finding_of(
                "sensor.level",
                "block",
                f"{sensor}: beside the turning it hears {now / last:.2f} times what it heard in the run before.",
                {"factor": now / last},
                do=Said("do.sensor.level_before"),
            )
        ]
    return []


def usual_whirl(findings: list[Finding], others: Sequence[float], limit_g: float) -> list[Finding]:
    """Return the findings with a line of the oil film judged by what the model's other units have.

    A weak line that every unit has is no finding; one three times the usual is a warning below the usual bar.
    """
    known = np.asarray([w for w in others if w > 0])
    if known.size < WHIRL_KNOWN or known.size < 0.5 * len(others):
        return findings
    usual, high = float(np.median(known)), float(np.percentile(known, 90))
    out = []
    for f in findings:
        if f.code == "oil.sub_synchronous":
            amplitude = f.evidence["amplitude_g"]
            if f.severity == "note" and amplitude <= WHIRL_USUAL * high:
                continue
            if f.severity == "note" and amplitude > max(WHIRL_STRONG * usual, 0.1 * limit_g):
                f = replace(f, severity="warn", evidence=f.evidence | {"usual_g": usual})
        out.append(f)
    return out


WHIRL_KNOWN, WHIRL_USUAL, WHIRL_STRONG = 5, 1.5, 3.0
"""Runs from which a model's line is known; times its high end that is usual; times its middle that is strong."""

UNLIKE = 0.20
"""Share of a cut's effect that no size and angle of the known responses explains, worth a stop."""


def shape_findings(
    history: History, priors: dict[str, ResponsePrior], scatter: Scatter
) -> list[Finding]:
    """Return a stop when what the last cuts did over speed is unlike every known unit of the model.

    Size and angle are left free, so that a wrong entry of a cut is not taken for a wrong machine.
    """
    last = history.vectors.shape[0] - 1
    latest = [c for c in history.cuts if c.before_run == last]
    planes = sorted({c.plane for c in latest})
    if not latest or any(p not in priors or priors[p].units < FIRM_UNITS for p in planes):
        return []
    before, after = history.vectors[last - 1], history.vectors[last]
    effect = before - after
    size = float(np.sqrt((np.abs(effect) ** 2).sum()))
    usual = float(np.sqrt(scatter.run_variance * (np.abs(before) ** 2 + np.abs(after) ** 2).sum()))
    if size < 4 * usual:
        return []  # too small to have a shape of its own
    # each plane's mean and the two widest ways in which units differ
    shapes = [column for p in planes for column in (priors[p].mean, *priors[p].factor.T[:2])]
    basis = np.linalg.qr(np.stack(shapes, axis=1))[0]
    left = effect - basis @ (basis.conj().T @ effect)
    share = float(np.sqrt((np.abs(left) ** 2).sum())) / size
    if share < UNLIKE:
        return []
    return [
        finding_of(
            "response.unlike_model",
            "block",
            f"What the last cut did over speed is unlike all {min(priors[p].units for p in planes)} "
            f"known units of the model ({100 * share:.0f} % of it is not explained).",
            {"share": share},
        )
    ]


def doubt_findings(doubts: Sequence[Explanation]) -> list[Finding]:
    """Return a warning when the last cut cannot have been what is recorded, with what is likeliest."""
    if not doubtful(tuple(doubts)):
        return []
    first, *others = doubts
    second = f", or {in_words(explanation_said(others[0]))}" if others[0].chance > 0.05 else ""
    return [
        finding_of(
            "cut.doubtful",
            "warn",
            "What the last cut did does not fit its record; likeliest: "
            f"{in_words(explanation_said(first))}{second}.",
            {"chance": first.chance},
            do=Said("do.cut.doubtful", {"check": check_said(first)}),
        )
    ]


def cut_findings(history: History, now: Estimate, scatter: Scatter) -> list[Finding]:
    """Return a warning when the last cut did not do what other evidence says it should."""
    last = history.vectors.shape[0] - 1
    latest = [j for j, c in enumerate(history.cuts) if c.before_run == last]
    if len(latest) != 1:
        return []
    cut = history.cuts[latest[0]]
    if now.units.get(cut.plane, 0) < FIRM_UNITS:
        return []  # a young library is as likely to be wrong as the entry
    error = complex(now.cut_error[latest[0]])
    if abs(error) < 3 * np.sqrt(scatter.cut_variance(cut.plane)):
        return []
    seen = 1 + error
    angle = float(np.rad2deg(np.angle(seen)))
    return [
        finding_of(
            "cut.not_as_recorded",
            "warn",
            f"The change fits a cut on {cut.plane} of {100 * abs(seen):.0f} % of the recorded amount, "
            f"turned by {angle:+.0f} degrees.",
            {"amount_share": abs(seen), "angle_deg": angle},
        )
    ]
