"""The pictures of advice: faces and sections to scale, and the chance that it goes well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ....quantities.said import Said
from ....workshop.reading.kept import KeptCut
from ....workshop.reading.results import percent
from ...drawings.evidence import pips_svg
from .at import At
from .seen import Pictures, dial_of, paper_said, section_of, view_said

SURE, DOUBTFUL = 0.95, 0.60
"""Outside these a chance is said in per cent: ten discs do not show it."""

TRIAL_HALF_DEG = 60.0
"""Half the sector in which a trial cut's heavy spot may lie, as its advice says."""


@dataclass(frozen=True)
class Card:
    """A picture with its heading; `number` is the order's, empty when there is only one."""

    heading: Said
    pictures: Pictures
    number: str = ""
    below: Pictures | None = None


@dataclass(frozen=True)
class Chance:
    """The chance that the next run passes: large words, small words, discs."""

    words: Said
    small: Said
    pips: Markup


@dataclass(frozen=True)
class AdvicePictures:
    """What stands beside an order.

    Attributes
    ----------
    layout : str
        ``one``, ``trial``, ``planes`` (two faces), ``same`` (two cuts on one face).
    angle, doubt : Said or None
        The angle on the rotor, and how far it may be off.
    """

    layout: str
    dials: tuple[Card, ...]
    sections: tuple[Card, ...]
    paper: Said | None = None
    angle: Said | None = None
    doubt: Said | None = None
    note: Said | None = None
    chance: Chance | None = None


def advice_pictures(at: At, cuts: Sequence[KeptCut] | None = None) -> AdvicePictures:
    """Return the pictures of the cuts to make."""
    wanted = list(at.advised if cuts is None else cuts)
    advice = at.last.result.advice if at.last else None
    chance = None
    if advice and not advice.trial and at.finding("speed.not_reached") is None:
        chance = chance_of(advice.chance_of_pass)
    planes = list(dict.fromkeys(c.plane for c in wanted))
    if len(wanted) == 1:
        return _one(at, wanted[0], chance, trial=bool(advice and advice.trial))
    if len(planes) == 1:
        return _same(at, wanted, chance)
    return _planes(at, wanted, planes, chance)


def chance_of(chance: float | None) -> Chance | None:
    """Return a chance as it is shown; None where there is none."""
    if chance is None:
        return None
    small = Said("bench.chance.will_pass")
    if DOUBTFUL <= chance <= SURE:
        tenths = float(int(chance * 10 + 0.5))
        return Chance(Said("bench.chance.of_ten", {"tenths": tenths}), small, pips_svg(chance))
    return Chance(Said("as_it_is", {"text": percent(chance)}), small, Markup(""))


def _one(at: At, cut: KeptCut, chance: Chance | None, *, trial: bool) -> AdvicePictures:
    plane = at.model.find_plane(cut.plane)
    advice = at.last.result.advice if at.last else None
    anywhere = any(w.code == "advice.trial_anywhere" for w in (advice.why_said if advice else ()))
    sector = (cut.angle_deg, TRIAL_HALF_DEG) if trial and not anywhere else None
    dial = dial_of(
        at.model, plane, (342, 336) if trial else (404, 352),
        cuts=[(cut.angle_deg, cut.depth_mm)], old=at.story.made, sector=sector, language=at.language,
    )  # fmt: skip
    sizes = ((236, 164), (368, 140)) if trial else ((236, 216), (356, 176))
    section = section_of(plane, cut.depth_mm, *sizes, language=at.language)
    return AdvicePictures(
        "trial" if trial else "one",
        (Card(view_said(plane), dial),),
        (Card(Said("bench.heading.section"), section),),
        paper=None if trial else paper_said(cut.depth_mm),
        angle=Said("bench.angle", {"angle_deg": cut.angle_deg}),
        doubt=Said("bench.angle_doubt", {"half_deg": TRIAL_HALF_DEG}) if sector else None,
        note=_trial_note(anywhere) if trial else None,
        chance=chance,
    )


def _trial_note(anywhere: bool) -> Said:
    return Said("bench.trial_anywhere_note" if anywhere else "bench.trial_note")


def _same(at: At, cuts: Sequence[KeptCut], chance: Chance | None) -> AdvicePictures:
    plane = at.model.find_plane(cuts[0].plane)
    flags = [(c.angle_deg, c.depth_mm) for c in cuts]
    dial = dial_of(at.model, plane, (340, 346), cuts=flags, old=at.story.made, language=at.language)
    sections = tuple(
        Card(
            Said("bench.heading.at_angle", {"angle_deg": c.angle_deg}),
            section_of(plane, c.depth_mm, (274, 150), (360, 140), language=at.language),
            str(i),
        )
        for i, c in enumerate(cuts, start=1)
    )
    return AdvicePictures("same", (Card(view_said(plane), dial),), sections, chance=chance)


def _planes(
    at: At, cuts: Sequence[KeptCut], planes: Sequence[str], chance: Chance | None
) -> AdvicePictures:
    dials = []
    for name in planes:
        plane = at.model.find_plane(name)
        mine = [(i, c) for i, c in enumerate(cuts, start=1) if c.plane == name]
        dial = dial_of(
            at.model, plane, (304, 270), cuts=[(c.angle_deg, c.depth_mm) for _, c in mine],
            old=at.story.made, language=at.language,
        )  # fmt: skip
        below = section_of(plane, mine[0][1].depth_mm, (180, 158), (340, 112), language=at.language)
        number = ", ".join(str(i) for i, _ in mine)
        dials.append(Card(view_said(plane), dial, number, below))
    return AdvicePictures("planes", tuple(dials), (), chance=chance)
