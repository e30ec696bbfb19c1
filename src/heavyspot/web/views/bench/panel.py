"""The bench's panel, whole: what its templates are given."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ....quantities.said import Said, in_words
from ....sheet.drawn import PathPoint
from ...drawings.dial import Dial, dial_svg
from ...drawings.evidence import gauge_svg
from .asked import Asked
from .at import At
from .differently import Differently, differently_asked, differently_view
from .ends import (
    Doubted,
    Look,
    Place,
    Told,
    Value,
    doubted_of,
    job_of,
    look_of,
    told_of,
    value_of,
    zoom_of,
)
from .line import RunDone, line_of
from .pictures import AdvicePictures, advice_pictures
from .ready import Row, Tile, rows_of, tiles_of
from .seen import Pictures
from .states import NOT_UNBALANCE, asked_of
from .typed_cuts import TypedCut
from .words import plain

LIVE_RING = 0.58
"""The limit's ring on the live face, as a share of its radius."""

MARK_LATE_S = 4.0
"""A spin this old without a turning mark has none (ours)."""

CHART_WORDS = (
    "speed", "vibration", "orders", "run", "limit", "expected", "now", "found", "delivered",
)  # fmt: skip


@dataclass(frozen=True)
class Live:
    """What a script fills while it spins: the face and its ring, the rule of the limit's share."""

    dial: Pictures
    gauge: Pictures
    ring: float
    mark_late_s: float = MARK_LATE_S


@dataclass(frozen=True)
class Panel:
    """Everything the panel's templates say.

    Attributes
    ----------
    asked : Asked
    told : str
        The whole sentence in plain words, to be read aloud.
    chart : str
        JSON: the words of the chart, and what of it is drawn.
    each : tuple of str
        What every sensor of the last run says; empty where there is only one.
    """

    asked: Asked
    told: str
    line: tuple[RunDone, ...]
    chart: str
    chart_title: Said | None = None
    rows: tuple[Row, ...] = ()
    tiles: tuple[Tile, ...] = ()
    advice: AdvicePictures | None = None
    live: Live | None = None
    value: Value | None = None
    zoom: Pictures | None = None
    job: tuple[Place, ...] = ()
    findings: tuple[Told, ...] = ()
    doubted: Doubted | None = None
    look: Look | None = None
    spectrum_rpm: float | None = None
    layout: str = ""
    differently: Differently | None = None
    warnings: tuple[str, ...] = ()


def panel_of(at: At, *, path: Sequence[PathPoint] = (), warnings: Sequence[str] = ()) -> Panel:
    """Return the panel of a state."""
    asked = asked_of(at)
    said = [*asked.lines, *([asked.warn] if asked.warn else []), *asked.sub]
    told = " ".join(plain(s, at.language) for s in said)
    result = at.last.result if at.last else None
    question = at.question
    layout = layout_of(at)
    return Panel(
        asked=asked,
        told=told,
        line=line_of(at.story),
        chart=chart_words(at),
        chart_title=_chart_title(at, layout),
        rows=rows_of(at) if question == "prepare" else (),
        tiles=tiles_of(at) if question == "prepare" else (),
        advice=advice_pictures(at) if question == "grind" else None,
        live=_live(at) if question == "spinning" else None,
        value=value_of(at) if question in ("done", "again") else None,
        zoom=zoom_of(at) if question == "again" else None,
        job=job_of(at.story.piece, at.siblings, result.verdict, at.following)
        if result and question == "done"
        else (),
        findings=told_of(result.findings)
        if result and question in ("fix", "again", "done")
        else (),
        doubted=doubted_of(at, path) if layout == "doubted" else None,
        look=look_of(at) if question == "fix" else None,
        spectrum_rpm=_spectrum_rpm(at) if layout == "not-unbalance" else None,
        layout=layout,
        warnings=() if question in ("spinning", "reading") else tuple(warnings),
    )


def differently_of(at: At, cuts: tuple[TypedCut, ...]) -> Panel:
    """Return the panel of a form in which cuts are typed."""
    asked = differently_asked(at, cuts)
    told = [*asked.lines, *(c.ask.said for c in cuts if c.ask)]
    return Panel(
        asked=asked,
        told=" ".join(plain(s, at.language) for s in told),
        line=line_of(at.story),
        chart=chart_words(replace(at, foretold=None)),
        differently=differently_view(at, cuts),
        layout="differently",
    )


def layout_of(at: At) -> str:
    """Return which pictures a state has."""
    result = at.last.result if at.last else None
    if at.question == "fix" and result:
        if result.advice.doubts and not result.blocking:
            return "doubted"
        if result.blocking and result.blocking[0].code in NOT_UNBALANCE:
            return "not-unbalance"
    return at.question


def chart_words(at: At) -> str:
    """Return the chart's words as JSON, in the page's language."""
    advice = at.last.result.advice if at.last else None
    told = at.foretold
    worst = Said("bench.chart.worst", {"worst_g": told.worst_g}) if told else None
    trial = bool(advice and advice.trial)
    simulated = at.rig.kind == "simulated"
    words = {key: in_words(Said(f"bench.chart.{key}"), at.language) for key in CHART_WORDS}
    drawn = {
        "simulated": in_words(Said("bench.chart.simulated"), at.language) if simulated else "",
        "worst": in_words(worst, at.language) if worst and trial else "",
        "foretold": told is not None,
        "from_rpm": at.model.from_rpm,
    }
    return json.dumps(words | drawn)


def _chart_title(at: At, layout: str) -> Said | None:
    number = {"number": float(at.next_number)}
    if layout == "grind":
        trial = at.last is not None and at.last.result.advice.trial
        return Said("bench.heading.may_fall" if trial else "bench.heading.should_look", number)
    if layout == "prepare":
        if at.last is None:
            return Said("bench.heading.no_run")
        if at.foretold and at.story.made_after(at.story.number):
            return Said("bench.heading.should_look", number)
        return Said("bench.heading.last_run", {"number": float(at.story.number)})
    return None


def _live(at: At) -> Live:
    turns = at.model.rotation == "clockwise"
    face = Dial(
        in_words(Said("bench.live_face"), at.language), turns,
        limit_share=LIVE_RING, limit_word=in_words(Said("bench.chart.limit"), at.language), live=True,
    )  # fmt: skip
    return Live(
        Pictures(dial_svg(face, 258), dial_svg(face, 282)),
        Pictures(gauge_svg(224), gauge_svg(384)),
        LIVE_RING,
    )


def _spectrum_rpm(at: At) -> float | None:
    found = at.finding(*NOT_UNBALANCE)
    return found.evidence.get("speed_rpm") if found else None
