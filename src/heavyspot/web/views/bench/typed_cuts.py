"""Cuts typed in by hand: what cannot be is refused at its field, what hardly can is asked back in view."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from ....quantities.angles import angle_from_clock, clock_text, difference_deg, wrap_deg
from ....quantities.checks import positive, within
from ....quantities.errors import BadInput
from ....quantities.said import Said, Value
from ....quantities.typed import typed_number
from ....workshop.cartridge.grinding import TOO_DEEP
from ....workshop.model.model_file import ModelFile, PlaneFile
from ....workshop.reading.kept import KeptCut
from ...formats import degrees, fixed
from ...speaking import refused

FAR_DEG = 60.0
"""A cut this far from what was advised was hardly meant so: asked back (ours)."""

MIRRORED_DEG = 10.0
OTHER_DEPTH = 3.0
"""Times the advised depth, either way, from which a depth is asked back (ours)."""

CLOCK = re.compile(r"^\s*(\d{1,2})(?:[:.h](\d{2}))?\s*$")
FIELDS = ("plane", "clock", "clock_was", "angle_deg", "angle_was", "depth_mm", "sure")
MOST_ROWS = 3


@dataclass(frozen=True)
class Ask:
    """A number that hardly can be meant: the question, the likely value for a button, and what is asked of.

    Attributes
    ----------
    field : str
        ``clock`` or ``depth_mm``.
    """

    field: str
    said: Said
    likely: str
    likely_said: Said
    really: Said


@dataclass(frozen=True)
class TypedCut:
    """A cut as it is typed, and what it comes to; `angle_deg` and `depth_mm` are None where they are no numbers."""

    plane: PlaneFile
    clock: str = ""
    angle: str = ""
    depth: str = ""
    angle_deg: float | None = None
    depth_mm: float | None = None
    ask: Ask | None = None
    faults: tuple[tuple[str, str], ...] = ()
    sure: frozenset[str] = frozenset()

    @property
    def left_out(self) -> bool:
        """Whether it was not made: no depth is typed."""
        return not self.depth.strip()

    @property
    def clear(self) -> bool:
        """Whether it can be written down, or is left out."""
        return self.left_out or (not self.faults and self.ask is None)

    def fault(self, field: str) -> str:
        """Return what is wrong with a field; empty when nothing is."""
        return dict(self.faults).get(field, "")


def read_cuts(
    model: ModelFile, advised: Sequence[KeptCut], typed: Mapping[str, str]
) -> tuple[TypedCut, ...]:
    """Return the cuts of a form, one for each advised and each row asked for; as advised where nothing is typed."""
    said = typed.get("rows", "")
    more = said.endswith("+")  # "2+" asks for a row more than two
    said = said.removesuffix("+")
    rows = int(said) if said.isdigit() else len(advised)
    rows = min(max(rows + more, 1), MOST_ROWS)
    out = []
    for i in range(rows):
        mine = {f: typed[f"{f}-{i}"] for f in FIELDS if f"{f}-{i}" in typed}
        asked = advised[i] if i < len(advised) else None
        out.append(_read(model, asked, mine))
    return tuple(out)


def _read(model: ModelFile, asked: KeptCut | None, typed: Mapping[str, str]) -> TypedCut:
    name = typed.get("plane") or (asked.plane if asked else model.plane[0].name)
    plane = model.find_plane(name)
    if not typed:
        return _as_asked(model, plane, asked)
    turning = plane.seen_turning(model.rotation)
    faults: list[tuple[str, str]] = []
    angle: float | None = None
    depth: float | None = None
    try:
        angle = _angle(typed, lambda hour: angle_from_clock(hour, turning))
    except BadInput as fault:
        faults.append(("clock", refused(fault)))
    if (typed.get("depth_mm") or "").strip():
        try:
            depth = positive("depth", typed_number("depth", typed.get("depth_mm", "")))
            within("depth", depth, 0.0, plane.as_plane().cutter.deepest_mm, "mm")
        except BadInput as fault:
            faults.append(("depth_mm", refused(fault)))
    sure = frozenset((typed.get("sure") or "").split())
    cut = TypedCut(
        plane,
        clock_text(angle, turning) if angle is not None else typed.get("clock", ""),
        degrees(angle) if angle is not None else typed.get("angle_deg", ""),
        typed.get("depth_mm", ""),
        angle, depth, None, tuple(faults), sure,
    )  # fmt: skip
    ask = None if faults or cut.left_out else _ask(model, cut, asked)
    return TypedCut(cut.plane, cut.clock, cut.angle, cut.depth, angle, depth, ask, cut.faults, sure)


def _as_asked(model: ModelFile, plane: PlaneFile, asked: KeptCut | None) -> TypedCut:
    if asked is None:
        return TypedCut(plane)
    clock = clock_text(asked.angle_deg, plane.seen_turning(model.rotation))
    return TypedCut(
        plane,
        clock,
        degrees(asked.angle_deg),
        fixed(asked.depth_mm),
        asked.angle_deg,
        asked.depth_mm,
    )


def _angle(typed: Mapping[str, str], of_hour: Callable[[float], float]) -> float:
    """Return the angle typed: of clock and degrees the one that was changed; they may not disagree."""
    clock, by_degrees = typed.get("clock", "").strip(), typed.get("angle_deg", "").strip()
    clock_changed = bool(clock) and clock != typed.get("clock_was", "").strip()
    degrees_changed = bool(by_degrees) and by_degrees != typed.get("angle_was", "").strip()
    if by_degrees and (degrees_changed or not clock_changed):
        angle = wrap_deg(within("angle", typed_number("angle", by_degrees), 0.0, 360.0, "degrees"))
        if clock_changed and abs(difference_deg(of_hour(_hour(clock)), angle)) > 3.0:
            raise BadInput(
                Said("refusal.o_clock_and_are_two", {"clock": clock, "by_degrees": by_degrees}),
                remedy=Said("remedy.type_one_of_them"),
            )
        return angle
    return float(of_hour(_hour(clock)))


def _hour(text: str) -> float:
    """Return a clock time in hours."""
    found = CLOCK.match(text)
    if not found:
        raise BadInput(
            Said("refusal.is_no_clock_time", {"text": repr(text)}),
            remedy=Said("remedy.type_it_like"),
        )
    hour = within("clock", int(found[1]), 0, 12, "hours")
    return hour + within("minutes", int(found[2] or 0), 0, 59, "minutes") / 60


def _ask(model: ModelFile, cut: TypedCut, asked: KeptCut | None) -> Ask | None:
    depth, angle = cut.depth_mm, cut.angle_deg
    if depth is None or angle is None:
        return None
    if "depth_mm" not in cut.sure:
        ask = _ask_depth(cut.plane, depth, asked)
        if ask:
            return ask
    if asked and asked.plane == cut.plane.name and "clock" not in cut.sure:
        return _ask_angle(model, cut, angle, asked)
    return None


def _ask_depth(plane: PlaneFile, depth: float, asked: KeptCut | None) -> Ask | None:
    most = plane.deepest_mm
    wanted = asked.depth_mm if asked and asked.plane == plane.name else None
    values: dict[str, Value] = {"plane": plane.name, "most_mm": most, "asked_mm": wanted or 0.0}
    tenth = depth / 10
    ten_times = wanted is not None and wanted / 2 <= tenth <= 2 * wanted
    likely = tenth if ten_times else wanted
    if depth > TOO_DEEP * most and ten_times:
        said = Said("bench.ask.ten_times", {**values, "likely_mm": tenth})
    elif depth > TOO_DEEP * most:
        said = Said("bench.ask.too_deep", values)
    elif wanted and not wanted / OTHER_DEPTH <= depth <= OTHER_DEPTH * wanted:
        said = Said("bench.ask.other_depth", values)
    else:
        return None
    likely = likely or most
    return Ask(
        "depth_mm", said, fixed(likely), Said("bench.depth", {"depth_mm": likely}),
        Said("bench.ask.really_mm", {"depth_mm": depth}),
    )  # fmt: skip


def _ask_angle(model: ModelFile, cut: TypedCut, angle: float, asked: KeptCut) -> Ask | None:
    if abs(difference_deg(angle, asked.angle_deg)) <= FAR_DEG:
        return None
    turning = cut.plane.seen_turning(model.rotation)
    clock = clock_text(asked.angle_deg, turning)
    mirrored = abs(difference_deg(angle, -asked.angle_deg)) <= MIRRORED_DEG
    return Ask(
        "clock",
        Said("bench.ask.mirrored" if mirrored else "bench.ask.elsewhere", {"clock": clock}),
        clock, Said("as_it_is", {"text": clock}),
        Said("bench.ask.really_at", {"clock": cut.clock}),
    )  # fmt: skip
