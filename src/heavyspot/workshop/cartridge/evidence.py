"""Everything known of a piece at the moment of advising: its runs, other units, the shop's own record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ...balance.cut.history import History
from ...balance.cut.prior import Guess, ResponsePrior
from ...balance.limits import Judgement
from ...quantities.finding import Finding
from ...sources.recording import Recording
from ..model import ModelFile, known_of
from ..reading import (
    KeptHeard,
    ReadResult,
    change_findings,
    judge_curves,
    level_findings,
    model_findings,
    oil_findings,
    read_recording,
    ruled,
    shape_findings,
    usual_whirl,
)
from ..rig import Measuring
from ..shop import Workshop
from ..stored import stored
from .cut_scatter import CutScatter, cut_scatter_of
from .past import ANGLE_HOLDS, SensedCurve, history_of, trusted_curves
from .story import CartridgeStory


@dataclass(frozen=True)
class Known:
    """What the advice rests on.

    Attributes
    ----------
    priors : dict of plane -> ResponsePrior
        What other units tell.
    guesses : dict of plane -> Guess
        What like models let expect.
    scatter : CutScatter
        How cuts turn out here, and how chances are kept.
    history : History or None
        None when the run gave no curve over the model's range.
    judgement : Judgement or None
    findings : tuple of Finding
    highest_rpm : float
        That the last run reached.
    sensor_lag_deg : float or None
        Turn from pickup to sensor; None where nobody said.
    """

    model: ModelFile
    history: History | None
    judgement: Judgement | None
    findings: tuple[Finding, ...]
    priors: dict[str, ResponsePrior]
    guesses: dict[str, Guess]
    scatter: CutScatter
    highest_rpm: float
    sensor_lag_deg: float | None


@dataclass(frozen=True)
class Evidence(Known):
    """The same of a run that is about to be kept, with what was read and how.

    `teaches` is False where its responses are not for others: too few speeds, or angles from nobody knows where.
    """

    read: ReadResult
    measuring: Measuring
    teaches: bool = True


@dataclass(frozen=True)
class HeardBefore:
    """What earlier judged runs of the model on the rig heard at one sensor beside unbalance.

    Attributes
    ----------
    floors, own_floors : tuple of float
        Noise floors of other pieces and of this one (g/√Hz).
    whirls_g : tuple of float
        Highest line of the others below the turning frequency.
    """

    floors: tuple[float, ...]
    own_floors: tuple[float, ...]
    whirls_g: tuple[float, ...]


def gather(
    shop: Workshop,
    story: CartridgeStory,
    model: ModelFile,
    source: Recording,
    measuring: Measuring,
    *,
    rig: str,
    serviced_at: str,
    operator: str,
) -> Evidence:
    """Read a recording, judge it, and put it beside the piece's earlier runs and what others teach.

    Parameters
    ----------
    model : ModelFile
        The piece's, with what the rig's own checks say of its scatter.
    """
    limit_g = float(min(model.house_limit().limit_g))
    read = read_recording(source, limit_g=limit_g, measuring=measuring)
    findings = [*read.findings, *model_findings(source, read, model)]
    kept = _heard_kept(shop, model.name, rig, serviced_at)
    for place, (sensor, heard) in enumerate(read.heard.items()):
        before = _heard_before(kept, place, sensor, story.piece.id)
        if place == 0:
            findings = usual_whirl(findings, before.whirls_g, limit_g)
        floor = heard.floor_g_rt_hz
        findings += level_findings(sensor, floor, before.floors, before.own_floors)
    findings += oil_findings(source, model, story.last.conditions if story.last else None)
    return weigh(
        shop,
        story,
        model,
        read,
        findings,
        measuring,
        rig=rig,
        serviced_at=serviced_at,
        operator=operator,
    )


def weigh(
    shop: Workshop,
    story: CartridgeStory,
    model: ModelFile,
    read: ReadResult,
    findings: list[Finding],
    measuring: Measuring,
    *,
    rig: str,
    serviced_at: str,
    operator: str,
    frame: str = "",
    teaches: bool = True,
) -> Evidence:
    """Put what was read beside the piece's earlier runs and what others teach, and judge it.

    Parameters
    ----------
    findings : list of Finding
        Of the run alone.
    frame : str
        What its angles are counted from; empty for ours, where other units tell something of it.
    """

    def beside(but: tuple[str, ...] = ()) -> History | None:
        if read.curve is None or not read.curve.has_angle:
            return None
        now = SensedCurve(story.number + 1, read.curve, read.channels, frame)
        return history_of(
            [*trusted_curves(shop, story, but=but), now],
            story.made,
            model,
            looked=story.looked,
            knowingly=story.knowingly,
        )

    history = beside()
    priors, guesses = known_of(
        shop,
        model,
        history.grid_rpm if history is not None and not frame else None,
        rig=rig,
        serviced_at=serviced_at,
        not_piece=story.piece.id,
        sensors=history.names if history is not None else (),
        lags_deg=read.lags_deg,
    )
    if history is not None:
        findings += change_findings(history, model.as_scatter()) or _reversed(story, model, beside)
        findings += shape_findings(history, priors, model.as_scatter())
    return Evidence(
        model=model,
        history=history,
        judgement=ruled(
            judge_curves(
                read.curves, model, read.channels, measuring.shares, first=story.number == 0
            )
            if read.curves
            else None,
            findings,
        ),
        findings=tuple(findings),
        read=read,
        measuring=measuring,
        priors=priors,
        guesses=guesses,
        scatter=cut_scatter_of(shop.book, model, operator),
        highest_rpm=read.highest_rpm,
        sensor_lag_deg=read.sensor_lag_deg,
        teaches=teaches,
    )


def _reversed(
    story: CartridgeStory, model: ModelFile, beside: Callable[[tuple[str, ...]], History | None]
) -> list[Finding]:
    """Return a reference turned round since a run whose sizes, not angles, were in doubt."""
    if not any(f.code in ANGLE_HOLDS for r in story.runs for f in r.result.blocking):
        return []
    history = beside(ANGLE_HOLDS)
    if history is None:
        return []
    found = change_findings(history, model.as_scatter(), sizes_hold=False)
    return [f for f in found if f.code == "reference.reversed"]


def _heard_kept(
    shop: Workshop, model: str, rig: str, serviced_at: str
) -> list[tuple[str, KeptHeard]]:
    """Return piece and what was heard, of earlier judged runs, oldest first."""
    return [
        (r.piece_id, stored(KeptHeard, r.heard, what="What a run heard"))
        for r in reversed(shop.book.rigs.heard(model, rig, since=serviced_at))
        if r.heard
    ]


def _heard_before(
    kept: Sequence[tuple[str, KeptHeard]], place: int, sensor: str, piece_id: str
) -> HeardBefore:
    mine = [(p, h) for p, run in kept if (h := run.of(place, sensor)) is not None]
    others = {p: h for p, h in mine if p != piece_id}
    return HeardBefore(
        floors=tuple(h.floor_g_rt_hz for h in others.values()),
        own_floors=tuple(h.floor_g_rt_hz for p, h in mine if p == piece_id),
        whirls_g=tuple(h.whirl_g for h in others.values()),
    )
