"""A model's response card, made of what its units taught on one rig."""

from __future__ import annotations

from collections import Counter

from ..model import (
    Lesson,
    ResponseCard,
    UnitResponse,
    find_model,
    lessons_of,
    make_card,
)
from ..reading import conditions_of, result_of
from ..shop import Workshop


def response_card(shop: Workshop, model: str, *, rig: str = "") -> ResponseCard:
    """Return a model's signed response card.

    Parameters
    ----------
    rig : str
        Whose units it is made of; the rig of most of them when empty. One rig a card: each has a gain of its own.

    Raises
    ------
    NotThere
        There is no such model.
    BadInput
        Too few units taught something, or their rig does not say at which hour its sensors sit.
    """
    lessons = lessons_of(shop.book, find_model(shop, model), not_piece="", rig=rig)
    rig = rig or _most_used(lessons)
    units = [u for x in lessons if x.rig == rig and (u := _unit(shop, x)) is not None]
    return make_card(shop, model, units)


def _most_used(lessons: list[Lesson]) -> str:
    return Counter(x.rig for x in lessons).most_common(1)[0][0] if lessons else ""


def _unit(shop: Workshop, lesson: Lesson) -> UnitResponse | None:
    """Return what a unit taught of a plane; None where its rig did not say where its first sensor sits."""
    runs = [r for r in shop.book.cartridges.runs(lesson.piece) if r.rig == lesson.rig]
    if not runs:
        return None
    result, names = result_of(runs[-1]), conditions_of(runs[-1]).sensors
    lags = result.lags_deg or (result.sensor_lag_deg,)
    responses, known = {}, []
    told = {names[0] if names else "": lesson.response, **lesson.further}
    for name, lag in zip(names, lags, strict=False):
        if lag is None or name not in told:
            break
        responses[name] = told[name]
        known.append(lag)
    if not responses:
        return None
    return UnitResponse(lesson.plane, lesson.spread, lesson.share, responses, tuple(known))
