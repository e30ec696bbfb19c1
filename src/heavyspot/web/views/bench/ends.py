"""The pictures at the end of a run: passed, undecided, not unbalance, a doubted cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ....balance.cut.doubt import AS_RECORDED, Explanation, check_said, explanation_said
from ....quantities.finding import Finding, finding_said, remedy_said
from ....quantities.said import Said, in_words
from ....sheet.drawn import PathPoint
from ....workshop.cartridge.answering import newest_cuts
from ....workshop.records import Cut, Piece
from ...drawings.dial import Dial, Letter, Vector, dial_svg
from ...drawings.evidence import doubt_svg
from ...formats import degrees, expanded, fixed, grouped
from .at import At
from .line import SIGNS, Sign
from .seen import Pictures, clock_of, dial_of, view_said

KNOWINGLY = ("advice.two_worse", "advice.above_first")
"""Reasons in spite of which only an inspector lets the work go on."""

RING_SHARE = 0.40
"""The limit's ring on the small face of vectors, as a share of its radius."""

MOST_JOB = 6


@dataclass(frozen=True)
class Value:
    """The highest vibration against its limit."""

    amplitude: str
    doubt: str
    limit: str
    speed: str


@dataclass(frozen=True)
class Place:
    """A piece of the job: its short name, its sign, whether it is this one or the next."""

    serial: str
    short: str
    sign: Sign
    here: bool = False
    following: bool = False


@dataclass(frozen=True)
class Told:
    """A finding: its sign, what was seen, what to do."""

    sign: Sign
    text: Said
    do: Said


@dataclass(frozen=True)
class Doubt:
    """What a cut may really have been: one press amends the record so, where it can be told by a look.

    Attributes
    ----------
    letter : str
        On the face too, where the cut would be.
    chance : float or None
        None: nobody reckoned it.
    fields : tuple of (str, str)
        Of the amendment; empty where there is nothing to amend.
    """

    letter: str
    title: Said
    sub: Said
    chance: float | None
    hot: bool = False
    cut_id: str = ""
    fields: tuple[tuple[str, str], ...] = ()
    looked: bool = False


@dataclass(frozen=True)
class Look:
    """The newest cuts in words, and whether an inspector is needed to go on."""

    cuts: str
    inspector: bool


@dataclass(frozen=True)
class Doubted:
    """The pictures of a doubted cut."""

    heading: Said
    dial: Pictures
    vectors: Pictures
    at_speed: Said
    was: str
    should: str
    now: str
    rows: tuple[Doubt, ...]


def value_of(at: At) -> Value | None:
    """Return the last run's highest; None where it has no curve."""
    worst = at.last.result.worst if at.last else None
    if worst is None:
        return None
    return Value(
        fixed(worst.amplitude_g), fixed(expanded(worst.uncertainty_g)), fixed(worst.limit_g),
        grouped(worst.speed_rpm),
    )  # fmt: skip


def zoom_of(at: At) -> Pictures | None:
    """Return the limit inside the doubt, drawn tall."""
    worst = at.last.result.worst if at.last else None
    if worst is None:
        return None
    words = in_words(Said("bench.chart.limit_short", {"limit_g": worst.limit_g}), at.language)
    foot = in_words(Said("bench.chart.zoom", {"speed_rpm": worst.speed_rpm}), at.language)

    def drawn(width: int, height: int) -> Markup:
        return doubt_svg(
            width, height, value=worst.amplitude_g, doubt=expanded(worst.uncertainty_g),
            limit=worst.limit_g, words=words, foot=foot,
        )  # fmt: skip

    return Pictures(drawn(494, 222), drawn(754, 196))


def job_of(
    piece: Piece, siblings: Sequence[Piece], verdict: str, following: Piece | None = None
) -> tuple[Place, ...]:
    """Return the pieces of a job, this one among them; at most six around it."""
    pieces = sorted([piece, *siblings], key=lambda p: p.serial)
    if len(pieces) < 2:
        return ()
    here = pieces.index(piece)
    start = max(0, min(here - 2, len(pieces) - MOST_JOB))
    common = _in_common([p.serial for p in pieces])
    shown = pieces[start : start + MOST_JOB]
    return tuple(
        Place(
            p.serial,
            p.serial[max(0, min(common, len(p.serial) - 4)) :][:8],
            SIGNS.get(verdict if p is piece else p.verdict or "", "open"),
            p is piece,
            following is not None and p.id == following.id,
        )
        for p in shown
    )


def _in_common(serials: Sequence[str]) -> int:
    """Return how many characters all begin with."""
    shortest = min(serials, key=len)
    same = (all(s[i] == c for s in serials) for i, c in enumerate(shortest))
    return next((i for i, alike in enumerate(same) if not alike), len(shortest))


def told_of(findings: Sequence[Finding]) -> tuple[Told, ...]:
    """Return findings, those that forbid a cut first."""
    signs: dict[str, Sign] = {"block": "no", "warn": "ask", "note": "open"}
    grave = sorted(findings, key=lambda f: ("block", "warn", "note").index(f.severity))
    return tuple(Told(signs[f.severity], finding_said(f), remedy_said(f)) for f in grave)


def look_of(at: At) -> Look | None:
    """Return the newest cuts where they are to be looked at before anything is ground."""
    last = at.last
    cuts = newest_cuts(at.story)
    if last is None or not cuts or last.result.blocking:
        return None
    words = "; ".join(
        f"{c.plane} {clock_of(at.model, c.plane, c.angle_deg)}, {fixed(c.depth_mm)} mm"
        for c in cuts
    )
    return Look(words, any(w.code in KNOWINGLY for w in last.result.advice.why_said))


def doubted_of(at: At, path: Sequence[PathPoint]) -> Doubted | None:
    """Return what may explain a cut that did not do what it should."""
    last = at.last
    cuts = newest_cuts(at.story)
    if last is None or not last.result.advice.doubts or not cuts:
        return None
    cut = cuts[0]
    told = last.result.advice.doubts
    others = [d for d in told if d.code != AS_RECORDED][:3]
    likeliest = told[0].code == AS_RECORDED
    shown = [None, *others] if likeliest else [*others, None]
    rows = [_doubt(at, d, cut, len(cuts)) if d else _as_written(at, cut, told) for d in shown]
    rows = [_lettered(r, "ABCD"[i], hot=i == 0 and not likeliest) for i, r in enumerate(rows)]
    plane = at.model.find_plane(cut.plane)
    letters = [
        Letter(float(angle), r.letter, r.hot)
        for r, d in zip(rows, shown, strict=True)
        if (angle := _place_of(d, cut)) is not None
    ]
    dial = dial_of(at.model, plane, (374, 290), letters=letters, language=at.language)
    worst = last.result.worst
    before = at.story.runs[-2].result.advice.predicted if len(at.story.runs) > 1 else None
    should = [g for g in before.amplitude_g if g is not None] if before else []
    amplitude = [r.result.worst.amplitude_g if r.result.worst else None for r in at.story.runs]
    return Doubted(
        view_said(plane), dial, _vectors(at, path),
        Said("bench.at_speed", {"speed_rpm": worst.speed_rpm if worst else 0.0}),
        fixed(amplitude[-2] if len(amplitude) > 1 else None), fixed(max(should, default=None)),
        fixed(amplitude[-1]), tuple(rows),
    )  # fmt: skip


TURNED = ("half_a_turn", "mirrored")


def _place_of(doubt: Explanation | None, cut: Cut) -> float | None:
    """Where the cut would be seen; None where it would not be on this face."""
    if doubt is None:
        return cut.angle_deg
    if doubt.code == "half_a_turn":
        return (cut.angle_deg + 180.0) % 360.0
    return -cut.angle_deg % 360.0 if doubt.code == "mirrored" else None


def _doubt(at: At, d: Explanation, cut: Cut, cuts: int) -> Doubt:
    title = Said(f"bench.doubt_title.{d.code}", {"angle_deg": d.angle_deg, "factor": d.factor})
    place = _place_of(d, cut)
    amendable = cuts == 1 and (d.code in TURNED or d.code == "not_made")
    fields: tuple[tuple[str, str], ...] = ()
    if amendable:
        angle = cut.angle_deg if place is None else place
        fields = (
            ("plane", cut.plane), ("angle_deg", degrees(angle)), ("depth_mm", fixed(cut.depth_mm)),
            ("why", in_words(explanation_said(d))), *((("never", "yes"),) if d.code == "not_made" else ()),
        )  # fmt: skip
    sub = check_said(d) if place is None else _at(at, cut, place)
    return Doubt("", title, sub, d.chance, cut_id=cut.id, fields=fields)


def _at(at: At, cut: Cut, angle_deg: float) -> Said:
    return Said("bench.doubt.at", {"clock": clock_of(at.model, cut.plane, angle_deg)})


def _as_written(at: At, cut: Cut, told: Sequence[Explanation]) -> Doubt:
    chance = told[0].chance if told[0].code == AS_RECORDED else None
    place = _at(at, cut, cut.angle_deg)
    return Doubt("", Said("bench.doubt.as_written"), place, chance, looked=True)


def _lettered(row: Doubt, letter: str, *, hot: bool) -> Doubt:
    return Doubt(letter, row.title, row.sub, row.chance, hot, row.cut_id, row.fields, row.looked)


def _vectors(at: At, path: Sequence[PathPoint]) -> Pictures:
    """The vector before the cut and now; a share of twice the limit in, one of the face out."""
    looks = {len(path) - 1: "ggot", len(path) - 2: "gwas"}
    reach = max((p.share for p in path[-2:]), default=1.0)
    scale = min(2 * RING_SHARE, 0.85 / max(reach, 1e-9))
    arrows = [
        Vector(p.angle_deg, p.share * scale, looks[i]) for i, p in enumerate(path) if i in looks
    ]
    dial = Dial(
        in_words(Said("bench.vectors"), at.language), at.model.rotation == "clockwise",
        vectors=arrows, limit_share=scale / 2,
        limit_word=in_words(Said("bench.chart.limit"), at.language),
    )  # fmt: skip
    return Pictures(dial_svg(dial, 212), dial_svg(dial, 186))
