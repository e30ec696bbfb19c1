"""A piece's story as one picture: the curves of all its runs, and the way of its vector to the centre."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ...quantities.said import in_words
from ...sheet.drawn import CurvesView, PathPoint
from ...workshop.cartridge.curves_view import path_of, view_of
from ...workshop.cartridge.past import PastRun
from ...workshop.cartridge.story import CartridgeStory
from ..drawings.dial import Dial, Flag, Vector, dial_svg
from ..drawings.plot import Axis, Line, Plot, plot_svg
from ..formats import counted, fixed
from ..speaking import language, told
from .bench.seen import clock_of, part_of, view_said

RING_SHARE, MOST_SHARE = 0.36, 0.78
"""Of the face's radius: the limit's ring where there is room for it, and the farthest a vector is drawn."""

WIDE, HIGH = 640, 290


@dataclass(frozen=True)
class MadeCut:
    """A cut as it is listed beside the face of its plane."""

    number: int
    clock: str
    depth_mm: float
    mass_mg: float
    why: str


@dataclass(frozen=True)
class Face:
    """One plane: from where it is seen, its face, its cuts."""

    view: str
    plane: str
    dial: Markup
    cuts: tuple[MadeCut, ...]


@dataclass(frozen=True)
class StoryPicture:
    """What the story shows before its lines."""

    title: str
    sub: str
    verdict: str
    curves: Markup
    faces: tuple[Face, ...]
    way: str


def story_picture(story: CartridgeStory, past: Sequence[PastRun]) -> StoryPicture | None:
    """Return the picture of a piece that was spun; None where no run has a curve."""
    runs = [r for r in past if r.curves and r.run.result.worst]
    if not runs:
        return None
    worst = [r.run.result.worst for r in runs if r.run.result.worst]
    first, last = worst[0].amplitude_g, worst[-1].amplitude_g
    ends = {"first_g": fixed(first), "last_g": fixed(last), "runs": counted(len(runs), "run")}
    title = told("story.only_run" if len(runs) == 1 else "story.from_to", **ends)
    taken = sum(c.mass_mg for c in story.made)
    newest = runs[-1].run.entry
    cuts = counted(len(story.made), "cut")
    sub = [
        told("story.cuts_taken", cuts=cuts, mass_mg=taken)
        if story.made
        else told("story.cuts_none"),
        ", ".join(w for w in (newest.rig, newest.by) if w),
    ]
    view, path = view_of(story, past), path_of(story, past)
    way = told("story.way", speed_rpm=worst[-1].speed_rpm)
    return StoryPicture(
        title,
        " · ".join(w for w in sub if w),
        runs[-1].run.result.verdict,
        curves_plot(view),
        _faces(story, path),
        way if len(path) > 1 else "",
    )


@dataclass(frozen=True)
class Waiting:
    """A piece that was not spun: what it will be judged by, and where it may be ground."""

    judged: str
    faces: tuple[Face, ...]
    deepest: tuple[str, ...]


def waiting_picture(story: CartridgeStory) -> Waiting:
    """Return what is known of a piece before its first spin: from its model."""
    model = story.model
    faces, deepest = [], []
    for plane in model.plane:
        part = part_of(model, plane)
        said = in_words(view_said(plane), language())
        faces.append(Face(said, plane.name, dial_svg(Dial(said, part.clockwise, part), 200), ()))
        deepest.append(
            told("story.deepest", plane=plane.name, depth_mm=plane.as_plane().max_depth_mm)
        )
    limit_g = float(min(model.house_limit().limit_g))
    judged = told("story.judged", speed_rpm=model.test_speed_rpm, limit_g=limit_g)
    return Waiting(judged, tuple(faces), tuple(deepest))


def highest_of(view: CurvesView) -> float:
    """Return how high the upright axis of a piece's curves reaches, g: over all measured, the limit in sight."""
    measured = [g for run in view.runs for g in run.amplitude_g if g is not None]
    limit = [g for g in view.limit_g if g is not None]
    return max(1.08 * max(measured, default=0.0), 1.4 * max(limit, default=0.0)) or 1.0


def curves_plot(
    view: CurvesView, *, high_g: float = 0.0, wide: int = WIDE, high: int = HIGH
) -> Markup:
    """Return the curves of all runs with the limit; ``high_g`` is the upright axis's end where pieces share one."""
    newest = view.runs[-1].number
    lines = []
    for run in view.runs:
        known = [g for g in run.amplitude_g if g is not None]
        word = (
            told("story.run_end", run=str(run.number), amplitude=fixed(max(known))) if known else ""
        )
        points = list(zip(view.speed_rpm, run.amplitude_g, strict=True))
        lines.append(Line(points, "now" if run.number == newest else "before", word))
    limit = [
        (float(s), g) for s, g in zip(view.speed_rpm, view.limit_g, strict=True) if g is not None
    ]
    top = float(view.speed_rpm[-1])
    plot = Plot(
        told("story.curves"),
        Axis(0, top, "rpm", [(v, f"{v / 1000:g}k") for v in range(0, int(top), _thousands(top))]),
        Axis(0, high_g or highest_of(view), told("story.axis")),
        lines,
        limit=limit,
        limit_word=told("story.limit", limit_g=limit[0][1]),
        wide=wide,
        high=high,
    )
    return plot_svg(plot)


def _thousands(top: float) -> int:
    return 30_000 if top > 100_000 else 20_000 if top > 50_000 else 10_000


def _faces(story: CartridgeStory, path: Sequence[PathPoint]) -> tuple[Face, ...]:
    """Return the face of each plane that was cut; where none was, the first plane's, for the vector's way."""
    cut = {c.plane for c in story.made}
    planes = [p for p in story.model.plane if p.name in cut] or list(story.model.plane[:1])
    reach = max((p.share for p in path), default=1.0)
    scale = min(2 * RING_SHARE, MOST_SHARE / max(reach, 1e-9))
    faces = []
    for i, plane in enumerate(planes):
        part = part_of(story.model, plane)
        made = [(n, c) for n, c in enumerate(story.made, start=1) if c.plane == plane.name]
        said = in_words(view_said(plane), language())
        dial = Dial(
            said,
            part.clockwise,
            part,
            old=[Flag(c.angle_deg, c.depth_mm) for _, c in made],
            path=[Vector(p.angle_deg, p.share * scale, "") for p in path] if i == 0 else (),
            vectors=[Vector(path[-1].angle_deg, path[-1].share * scale, "vec")]
            if path and i == 0
            else (),
            limit_share=scale / 2 if path and i == 0 else None,
        )
        cuts = tuple(
            MadeCut(
                n,
                clock_of(story.model, plane.name, c.angle_deg),
                c.depth_mm,
                c.mass_mg,
                c.why,
            )
            for n, c in made
        )
        faces.append(Face(said, plane.name, dial_svg(dial, 260), cuts))
    return tuple(faces)
