"""Cuts really made: written down, as advised or differently, amended, taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from ...ledger.records import Cut, withdrawn
from ...quantities.angles import wrap_deg
from ...quantities.checks import positive, within
from ...quantities.clock import now, time_of
from ...quantities.errors import BadInput, NotThere
from ...quantities.said import Said
from ..model import ModelFile
from ..shop import Workshop
from .answering import answered
from .story import CartridgeStory, cartridge_story

TOO_DEEP = 1.05
"""So much deeper than the model allows is no rounding any more."""


@dataclass(frozen=True)
class Ground:
    """A cut as it was written down.

    Attributes
    ----------
    left_mg : float
        What may still come off that plane.
    """

    serial: str
    cut: Cut
    left_mg: float

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values (a contract: docs/reference/cli.md)."""
        about = asdict(self.cut)
        return {"cut": about.pop("id"), "serial": self.serial, **about, "left_mg": self.left_mg}


def ground(
    shop: Workshop,
    serial: str,
    plane: str,
    angle_deg: float,
    *,
    mass_mg: float | None = None,
    depth_mm: float | None = None,
    unbalance_gmm: float | None = None,
    by: str = "",
    replaces: str | None = None,
    why: str = "",
    sure: bool = False,
) -> Ground:
    """Record a cut really made, by one of mass, depth or unbalance; the others follow.

    Parameters
    ----------
    angle_deg : float
        On the rotor from the mark, against rotation, seen from the nut; -360 to 360.
    sure : bool
        It is deeper than the model allows and was made all the same.
    replaces : str, optional
        Identifier of an earlier entry that this one amends; `why` is then needed.

    Raises
    ------
    BadInput
        No such plane, an angle that is none, not exactly one amount, more than such a cut can take off, or
        deeper than the model allows and nobody is `sure`.
    NotThere
        No such piece, or no such cut to amend.
    """
    story = cartridge_story(shop, serial)
    if replaces and not why.strip():
        raise BadInput(Said("refusal.an_amendment_needs_a_reason"), remedy=Said("remedy.say_why"))
    amended = _amended(story.made, replaces) if replaces else None
    cut = _cut(
        story.model,
        plane,
        angle_deg,
        mass_mg=mass_mg,
        depth_mm=depth_mm,
        unbalance_gmm=unbalance_gmm,
    )
    deepest = story.model.find_plane(cut.plane).max_depth_mm
    if deepest is not None and cut.depth_mm > TOO_DEEP * deepest and not sure:
        raise BadInput(
            Said(
                "refusal.mm_is_deeper_than_may",
                {"depth_mm": cut.depth_mm, "plane": cut.plane, "deepest": deepest},
            ),
            remedy=Said("remedy.measure_it_again_if_it"),
        )
    cut = replace(
        cut,
        piece_id=story.piece.id,
        after_run=amended.after_run if amended else story.number,
        by=by,
        replaces=replaces,
        why=why,
    )
    (cut_id,) = shop.book.cartridges.add_cuts([cut])
    if (
        amended and amended.after_run < story.number
    ):  # a run has shown it: what follows is another now
        answered(shop, cartridge_story(shop, serial), knowingly={cut_id}, by=by, why=why)
    used = sum(c.mass_mg for c in story.made if c.plane == cut.plane and c.id != replaces)
    left = story.model.find_plane(plane).as_plane().budget_mg - used - cut.mass_mg
    return Ground(serial, replace(cut, id=cut_id), left)


def _cut(
    model: ModelFile,
    plane: str,
    angle_deg: float,
    *,
    mass_mg: float | None = None,
    depth_mm: float | None = None,
    unbalance_gmm: float | None = None,
) -> Cut:
    """Return a cut by one of its amounts, of no piece yet."""
    found = model.find_plane(plane)
    given = [v for v in (mass_mg, depth_mm, unbalance_gmm) if v is not None]
    if len(given) != 1:
        raise BadInput(
            Said("refusal.amounts_are_given", {"given": len(given)}),
            remedy=Said("remedy.give_exactly_one_of_mass"),
        )
    angle = wrap_deg(within("angle", angle_deg, -360.0, 360.0, "degrees"))
    body = found.as_plane()
    offset = body.corner_offset_deg(angle)
    if depth_mm is not None:
        depth = positive("depth", depth_mm)
    elif unbalance_gmm is not None:
        depth = body.cutter.depth_for(positive("unbalance", unbalance_gmm), offset)
    else:
        depth = body.cutter.depth_for_mass(positive("mass", mass_mg), offset)
    removed = body.cutter.removed(depth, offset)
    return Cut(
        piece_id="",
        after_run=0,
        kind="made",
        plane=found.name,
        angle_deg=angle,
        unbalance_gmm=unbalance_gmm if unbalance_gmm is not None else removed.unbalance_gmm,
        mass_mg=mass_mg if mass_mg is not None else removed.mass_mg,
        depth_mm=depth,
    )


def ground_as_advised(shop: Workshop, serial: str, *, by: str = "") -> CartridgeStory:
    """Record the last advice's cuts as made, all of them at once; said twice, it is done once.

    Returns
    -------
    CartridgeStory
        The piece as it stands now.

    Raises
    ------
    BadInput
        There is nothing advised.
    """
    story = cartridge_story(shop, serial)
    wanted = story.last.result.advice.wanted if story.last else ()
    if not wanted:
        raise BadInput(Said("refusal.no_cut_is_advised"), remedy=Said("remedy.spin_first"))
    made = [
        replace(
            _cut(story.model, c.plane, c.angle_deg, depth_mm=c.depth_mm),
            piece_id=story.piece.id,
            after_run=story.number,
            by=by,
        )
        for c in wanted
    ]
    ids = shop.book.cartridges.add_cuts(made, once=True)
    if len(ids) != len(made):  # some stood there already: which, the ledger says
        return cartridge_story(shop, serial)
    written = tuple(replace(m, id=i) for m, i in zip(made, ids, strict=True))
    return replace(story, cuts=(*story.cuts, *written))


def unground(shop: Workshop, serial: str, cut_id: str, *, why: str, by: str = "") -> None:
    """Amend a cut that was written down but never made; the entry stays in the ledger.

    Raises
    ------
    BadInput
        No reason is given.
    NotThere
        No such piece, or no such cut.
    """
    story: CartridgeStory = cartridge_story(shop, serial)
    if not why.strip():
        raise BadInput(Said("refusal.an_amendment_needs_a_reason"), remedy=Said("remedy.say_why"))
    amended = _amended(story.made, cut_id)
    shop.book.cartridges.add_cuts([withdrawn(amended, by=by, why=why.strip())])
    if amended.after_run < story.number:
        answered(shop, cartridge_story(shop, serial), by=by, why=why)


UNDO_S = 5.0
"""So long a cut that was written down by one press can be taken back by one more (ours)."""

UNDO_LATE_S = 3.0
"""What the way to the server may take beyond that."""


def take_back(shop: Workshop, serial: str, *, by: str = "") -> CartridgeStory:
    """Take back the cuts written down since the last run, just now: they were not made.

    Returns
    -------
    CartridgeStory
        The piece as it stands now.

    Raises
    ------
    NotThere
        No such piece.
    BadInput
        There is nothing to take back, or it was written down too long ago.
    """
    story = cartridge_story(shop, serial)
    fresh = [c for c in story.made_after(story.number) if _age_s(c) <= UNDO_S + UNDO_LATE_S]
    if not fresh:
        raise BadInput(
            Said("refusal.nothing_was_written_down_just"),
            remedy=Said("remedy.touch_the_cut_in_the"),
        )
    back = [withdrawn(c, by=by, why="taken back at once") for c in fresh]
    shop.book.cartridges.add_cuts(back)
    return cartridge_story(shop, serial)


def just_ground(story: CartridgeStory) -> float | None:
    """Return how many seconds the newest cuts can still be taken back by one press; None when no more."""
    left = [UNDO_S - _age_s(c) for c in story.made_after(story.number)]
    most = max(left, default=0.0)
    return most if most > 0 else None


def _age_s(cut: Cut) -> float:
    return (now() - time_of(cut.at)).total_seconds() if cut.at else 0.0


def find_cut(story: CartridgeStory, cut_id: str) -> Cut:
    """Return a cut that stands; raises `NotThere` when there is none, or it was amended already."""
    return _amended(story.made, cut_id)


def _amended(made: Sequence[Cut], cut_id: str) -> Cut:
    """Return the cut to amend."""
    found = next((c for c in made if c.id == cut_id), None)
    if found is None:
        raise NotThere(
            Said("refusal.there_is_no_cut_to", {"cut_id": cut_id}),
            remedy=Said("remedy.look_it_up_with_show"),
        )
    return found
