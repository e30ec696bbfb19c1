"""A plane as it is seen from where it is ground, its clock and its pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ....quantities.angles import clock_text
from ....quantities.said import Said, Value, in_words
from ....workshop.model.model_file import ModelFile, PlaneFile
from ....workshop.reading.kept import KeptCut
from ....workshop.records import Cut
from ...drawings.dial import Dial, Flag, Letter, Part, Vector, dial_svg
from ...drawings.section import section_svg

PAPER_MM = 0.1
"""A sheet of office paper, to tell a depth by (common practice, no source)."""


@dataclass(frozen=True)
class Pictures:
    """One drawing at its two sizes: for a bench's screen and for a tablet held upright."""

    wide: Markup
    tall: Markup


def clock_of(model: ModelFile, plane: str, angle_deg: float) -> str:
    """Return the clock time of an angle, seen from where the plane is ground.

    Raises
    ------
    BadInput
        The model has no such plane.
    """
    return clock_text(angle_deg, model.find_plane(plane).seen_turning(model.rotation))


def view_said(plane: PlaneFile) -> Said:
    """Return whose dial it is and from where it is seen."""
    return Said(f"bench.seen.{plane.seen_from}", {"plane": plane.name})


def part_of(model: ModelFile, plane: PlaneFile) -> Part:
    """Return the part a plane is on."""
    cutter = plane.as_plane().cutter
    tool = cutter.tool_mm if cutter.kind in ("ball", "drill", "scallop") else 0.62 * plane.radius_mm
    return Part(
        plane.cutter == "hex_flat",
        plane.radius_mm,
        plane.corner_at_deg,
        plane.seen_turning(model.rotation) == "clockwise",
        tool,
    )


def dial_of(
    model: ModelFile,
    plane: PlaneFile,
    sizes: tuple[int, int],
    *,
    cuts: Sequence[tuple[float, float]] = (),
    old: Sequence[Cut] = (),
    letters: Sequence[Letter] = (),
    sector: tuple[float, float] | None = None,
    vectors: Sequence[Vector] = (),
    language: str = "en",
) -> Pictures:
    """Return a plane's face with cuts (angle, depth) to be made and those made already."""
    part = part_of(model, plane)
    flags = [Flag(a, d, clock_of(model, plane.name, a)) for a, d in cuts]
    said = [in_words(view_said(plane), language)]
    said += [
        in_words(Said("bench.dial_cut", {"angle_deg": f.angle_deg, "clock": f.words}), language)
        for f in flags
    ]
    dial = Dial(
        "; ".join(said),
        part.clockwise,
        part,
        cuts=flags,
        old=[Flag(c.angle_deg, c.depth_mm) for c in old if c.plane == plane.name],
        letters=letters,
        vectors=vectors,
        sector=sector,
        mark_word=in_words(Said("bench.mark"), language),
    )
    return Pictures(dial_svg(dial, sizes[0]), dial_svg(dial, sizes[1]))


def section_of(
    plane: PlaneFile,
    depth_mm: float,
    wide: tuple[int, int],
    tall: tuple[int, int],
    language: str = "en",
) -> Pictures:
    """Return a plane cut through, to scale."""
    most = plane.deepest_mm
    values: dict[str, Value] = {"plane": plane.name, "depth_mm": depth_mm, "most_mm": most}
    label = in_words(Said("bench.section", values), language)
    depth = in_words(Said("bench.depth", values), language)
    deepest = in_words(Said("bench.deepest", values), language)

    def drawn(size: tuple[int, int]) -> Markup:
        return section_svg(
            *size, depth_mm=depth_mm, most_mm=most, label=label, depth=depth, most=deepest
        )

    return Pictures(drawn(wide), drawn(tall))


def paper_said(depth_mm: float) -> Said:
    """Return a depth in sheets of paper."""
    sheets = depth_mm / PAPER_MM
    if sheets < 1.5:
        return Said("bench.paper_one" if sheets >= 0.75 else "bench.paper_less")
    return Said("bench.paper", {"sheets": float(math.floor(sheets + 0.5))})


def order_values(model: ModelFile, cut: KeptCut) -> dict[str, float | str]:
    """Return the values of a sentence that orders a cut."""
    return {
        "plane": cut.plane,
        "clock": clock_of(model, cut.plane, cut.angle_deg),
        "depth_mm": cut.depth_mm,
    }
