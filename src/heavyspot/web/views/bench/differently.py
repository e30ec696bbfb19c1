"""The form of cuts that were made otherwise than advised."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from ....quantities.said import Said
from .asked import Asked, Press
from .at import At
from .seen import Pictures, clock_of, dial_of, view_said
from .typed_cuts import MOST_ROWS, TypedCut


@dataclass(frozen=True)
class Differently:
    """The rows of the form, and the face with the cuts as they are typed."""

    cuts: tuple[TypedCut, ...]
    heading: Said
    dial: Pictures
    planes: tuple[str, ...]


def differently_view(at: At, cuts: tuple[TypedCut, ...]) -> Differently:
    """Return the form as it stands; the face is the first row's plane."""
    first = cuts[0]
    made = [
        (c.angle_deg, c.depth_mm)
        for c in cuts
        if c.plane.name == first.plane.name and c.angle_deg is not None and c.depth_mm is not None
        and c.depth_mm <= 1.05 * c.plane.deepest_mm
    ]  # fmt: skip
    heading = view_said(first.plane)
    advised = [c for c in at.advised if c.plane == first.plane.name]
    if advised and first.clock:
        asked = clock_of(at.model, first.plane.name, advised[0].angle_deg)
        heading = Said("bench.heading.asked_ground", {"asked": asked, "ground": first.clock})
    dial = dial_of(
        at.model, first.plane, (356, 300), cuts=made, old=at.story.made, language=at.language
    )
    return Differently(cuts, heading, dial, tuple(p.name for p in at.model.plane))


def differently_asked(at: At, cuts: tuple[TypedCut, ...]) -> Asked:
    """Return the sentence and the buttons: nothing is written while a question stands."""
    back = Press(Said("bench.go.as_advised"), place=f"/bench/{quote(at.serial, safe='/')}")
    more: tuple[Press, ...] = ()
    if len(cuts) < MOST_ROWS:
        more = (
            Press(
                Said("bench.go.second_cut"),
                verb="typed",
                form="ground",
                fields=(("answer", "more"),),
            ),
        )
    open_ones = [c for c in cuts if not c.clear]
    now = None
    if at.advised:
        first = at.advised[0]
        values = {"plane": first.plane, "clock": clock_of(at.model, first.plane, first.angle_deg)}
        now = Said("bench.now.advised", {**values, "depth_mm": first.depth_mm})
    nothing = all(c.left_out for c in cuts)
    off = None
    if nothing:
        off = Said("bench.off.nothing_typed")
    elif open_ones:
        ask = any(c.ask for c in open_ones)
        off = Said("bench.off.answer_first" if ask else "bench.off.mend_first")
    go = Press(Said("bench.go.write"), verb="ground", form="ground")
    return Asked(
        (Said("bench.say.differently"),), pedal=None if off else go, off=off,
        others=(*more, back), now=now,
    )  # fmt: skip
