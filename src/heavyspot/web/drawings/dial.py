"""The clock face of a rotor: the part drawn to scale, and what is to come off it the only red there is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from .shapes import Point, arrow, flat_on, points, reach, text, towards

PART_SHARE = 0.56
"""The part's radius as a share of the face's."""

SMALL_PX = 300
"""A face smaller than this has twelve ticks and four numerals."""

LEAST_TEXT_PX = 18.0


@dataclass(frozen=True)
class Part:
    """A part as it is seen from where it is ground.

    Attributes
    ----------
    hexagon : bool
        A nut; else a round.
    radius_mm : float
        To its corners, or of the round.
    corner_deg : float
        Angle of one corner from the mark.
    clockwise : bool
        Whether it is seen to turn clockwise.
    tool_mm : float
        Width of what takes material off, across the shaft.
    """

    hexagon: bool
    radius_mm: float
    corner_deg: float
    clockwise: bool
    tool_mm: float

    def outline(self) -> list[Point]:
        """Return its outline, mm, y downwards."""
        steps = range(0, 360, 60 if self.hexagon else 3)
        start = self.corner_deg if self.hexagon else 0.0
        ways = (towards(start + s, clockwise=self.clockwise) for s in steps)
        return [(self.radius_mm * x, self.radius_mm * y) for x, y in ways]


@dataclass(frozen=True)
class Flag:
    """A cut on the face: where, how deep, and the words on its flag; no words, no pointer."""

    angle_deg: float
    depth_mm: float
    words: str = ""


@dataclass(frozen=True)
class Letter:
    """A letter at a place of the rim: a place to look at."""

    angle_deg: float
    words: str
    hot: bool = False


@dataclass(frozen=True)
class Vector:
    """A vector from the centre, its length as a share of the face's radius; `look` is its style."""

    angle_deg: float
    share: float
    look: str


@dataclass(frozen=True)
class Dial:
    """What a face shows.

    Attributes
    ----------
    part : Part or None
        None: an empty face for vectors.
    sector : (float, float) or None
        Middle and half width, degrees, of where the heavy spot may be.
    limit_share : float or None
        Radius of the ring that is the limit.
    live : bool
        Room for a vector and its path that a script draws.
    """

    label: str
    clockwise: bool
    part: Part | None = None
    cuts: Sequence[Flag] = ()
    old: Sequence[Flag] = ()
    letters: Sequence[Letter] = ()
    vectors: Sequence[Vector] = ()
    path: Sequence[Vector] = ()
    sector: tuple[float, float] | None = None
    limit_share: float | None = None
    limit_word: str = ""
    mark_word: str = ""
    live: bool = False


def dial_svg(dial: Dial, size: int) -> Markup:
    """Return the face as an SVG of `size` pixels."""
    inside = _Face(dial, size).parts()
    return Markup(
        f'<svg class="dial" role="img" aria-label="{escape(dial.label)}" width="{size}" height="{size}" '
        f'viewBox="0 0 {size} {size}">{"".join(inside)}</svg>'
    )


class _Face:
    def __init__(self, dial: Dial, size: int) -> None:
        self.d, self.size = dial, size
        self.c = size / 2
        self.r = size / 2 - 3
        self.letter_px = max(LEAST_TEXT_PX, size * 0.064)
        part = dial.part
        self.mm = PART_SHARE * self.r / part.radius_mm if part else 0.0
        self.outline = part.outline() if part else []

    def parts(self) -> list[str]:
        """Everything, from the back to the front."""
        d = self.d
        return [
            *self._rim(), *self._blades(), *self._sector(), *self._part(),
            *(self._flat(f, "oldcut") for f in d.old),
            *(p for f in d.cuts for p in self._cut(f)),
            *self._mark(), self._turning(), *self._limit(), *self._path(),
            *self._vectors(), *(p for x in d.letters for p in self._letter(x)),
        ]  # fmt: skip

    def _way(self, angle_deg: float) -> Point:
        return towards(angle_deg, clockwise=self.d.clockwise)

    def _at(self, way: Point, share: float) -> Point:
        return self.c + way[0] * self.r * share, self.c + way[1] * self.r * share

    def _px(self, polygon: Sequence[Point]) -> str:
        return points([(self.c + x * self.mm, self.c + y * self.mm) for x, y in polygon])

    def _rim(self) -> list[str]:
        ring, large = 0.985, self.size >= SMALL_PX
        out = [f'<circle class="face" cx="{self.c}" cy="{self.c}" r="{self.r * ring:.1f}"/>']
        count = 60 if large else 12
        for i in range(count):
            hour = i * 12 % count == 0
            way = towards(i * 360 / count, clockwise=False)
            (x1, y1), (x2, y2) = (
                self._at(way, ring * (0.935 if hour else 0.965)),
                self._at(way, ring),
            )
            look = "hour" if hour else "minute"
            out.append(
                f'<line class="{look}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'
            )
        for hour_number in range(1, 13):
            main = hour_number % 3 == 0
            if (not large and not main) or (self.d.part is None and hour_number == 12):
                continue
            px = max(LEAST_TEXT_PX, self.letter_px * (1.18 if main else 0.86))
            x, y = self._at(towards(30.0 * hour_number, clockwise=False), 0.84)
            look = "num main" if main else "num"
            out.append(text((x, y + 0.35 * px), str(hour_number), look, px))
        return out

    def _blades(self) -> list[str]:
        """The wheel behind the part, bent the way it turns."""
        if self.d.part is None:
            return []
        bend = 1 if self.d.clockwise else -1
        out = []
        for i in range(12):
            start = i * math.tau / 12
            line = []
            for k in range(7):
                turn = start - bend * 0.32 * k / 6
                line.append(self._at((math.cos(turn), math.sin(turn)), 0.58 + 0.17 * k / 6))
            out.append(f'<polyline class="blade" points="{points(line)}"/>')
        return out

    def _sector(self) -> list[str]:
        if self.d.sector is None:
            return []
        middle, half = self.d.sector
        rim = [self._at(self._way(middle + half * (k / 12 - 1)), 0.80) for k in range(25)]
        corners = points([(self.c, self.c), *rim])
        return [f'<polygon class="doubt" fill="url(#excess)" points="{corners}"/>']

    def _part(self) -> list[str]:
        part = self.d.part
        if part is None:
            return []
        out = [f'<polygon class="part" points="{self._px(self.outline)}"/>']
        hole = 0.383 if part.hexagon else 0.15
        rings = [("bore", hole)]
        if part.hexagon:  # the flange's round, and the shaft's end in the nut
            rings = [("inner", 0.758), ("bore", hole), ("shaft", 0.292)]
        for look, share in rings:
            r = share * part.radius_mm * self.mm
            fill = ' fill="url(#steel)"' if look == "shaft" else ""
            out.append(f'<circle class="{look}"{fill} cx="{self.c}" cy="{self.c}" r="{r:.1f}"/>')
        return out

    def _flat(self, flag: Flag, look: str) -> str:
        part = self.d.part
        if part is None:
            return ""
        off = flat_on(self.outline, self._way(flag.angle_deg), flag.depth_mm, part.tool_mm / 2)
        return f'<polygon class="{look}" points="{self._px(off)}"/>' if off else ""

    def _cut(self, flag: Flag) -> list[str]:
        """What comes off, a wedge that points at it, and its clock time."""
        out = [self._flat(flag, "cut")]
        if not flag.words:
            return out
        way = self._way(flag.angle_deg)
        side = (-way[1], way[0])
        skin = min(reach(self.outline, way, 0.6) * self.mm + 3, self.r * 0.60)
        foot, half = self.r * 0.80, self.size * 0.040
        tip = (self.c + way[0] * skin, self.c + way[1] * skin)
        wedge = [
            (
                self.c + way[0] * foot + s * side[0] * half,
                self.c + way[1] * foot + s * side[1] * half,
            )
            for s in (1, -1)
        ]
        ray = (self.c + way[0] * (skin - 14), self.c + way[1] * (skin - 14))
        px = max(20.0, self.size * 0.075)
        width = max(self.size * 0.17, 66.0, 0.55 * px * len(flag.words))
        x, y = self._at(way, 0.84)
        x = min(max(x, width / 2), self.size - width / 2)
        out += [
            f'<polygon class="point" points="{points([tip, *wedge])}"/>',
            f'<line class="ray" x1="{self.c}" y1="{self.c}" x2="{ray[0]:.1f}" y2="{ray[1]:.1f}"/>',
            f'<rect class="flag" x="{x - width / 2:.1f}" y="{y - 0.74 * px:.1f}" width="{width:.1f}" '
            f'height="{1.48 * px:.1f}"/>',
            text((x, y + 0.36 * px), escape(flag.words), "flagt", px),
        ]
        return out

    def _mark(self) -> list[str]:
        """The mark: a solid tooth at 12."""
        skin = self.r * 0.66
        if self.d.part is not None:
            skin = self.mm * reach(self.outline, (0.0, -1.0), 0.05)
        top, half = self.c - skin, max(9.0, self.size * 0.03)
        tooth = [
            (self.c - half, top - 1.7 * half),
            (self.c + half, top - 1.7 * half),
            (self.c, top + 1),
        ]
        out = [f'<polygon class="mark" points="{points(tooth)}"/>']
        if self.d.mark_word and self.size >= SMALL_PX:
            place = (self.c - 1.4 * half, top - 0.45 * half)
            px = max(LEAST_TEXT_PX, 0.85 * self.letter_px)
            out.append(text(place, escape(self.d.mark_word), "marklab", px, "end"))
        return out

    def _turning(self) -> str:
        """The way it turns, in the quarter with the most room."""
        taken = [270.0]
        for angle in [*(f.angle_deg for f in self.d.cuts), *(x.angle_deg for x in self.d.letters)]:
            x, y = self._way(angle)
            taken.append(math.degrees(math.atan2(y, x)) % 360)
        room = lambda a: min(abs((a - t + 180) % 360 - 180) for t in taken)  # noqa: E731  # short
        middle = max((200.0, 325.0, 35.0, 145.0), key=room)
        if self.d.part is None:
            middle = 318.0
        way = 1 if self.d.clockwise else -1
        r = self.r * 0.685
        from_, to = (math.radians(middle + s * 24 * way) for s in (-1, 1))
        x0, y0 = self.c + r * math.cos(from_), self.c + r * math.sin(from_)
        x1, y1 = self.c + r * math.cos(to), self.c + r * math.sin(to)
        h = self.size * 0.028
        tx, ty, nx, ny = -math.sin(to) * way, math.cos(to) * way, math.cos(to), math.sin(to)
        tip = [
            (x1 + tx * h * 1.6, y1 + ty * h * 1.6),
            (x1 + nx * h, y1 + ny * h),
            (x1 - nx * h, y1 - ny * h),
        ]
        sweep = 1 if way > 0 else 0
        return (
            f'<path class="turn" d="M{x0:.1f} {y0:.1f} A{r:.1f} {r:.1f} 0 0 {sweep} {x1:.1f} {y1:.1f}"/>'
            f'<polygon class="turnh" points="{points(tip)}"/>'
        )

    def _limit(self) -> list[str]:
        share = self.d.limit_share
        if share is None:
            return []
        px = max(LEAST_TEXT_PX, 0.82 * self.letter_px)
        out = [f'<circle class="lring" cx="{self.c}" cy="{self.c}" r="{self.r * share:.1f}"/>']
        if self.d.limit_word:
            place = (self.c, self.c + self.r * share + 1.05 * px)
            out.append(text(place, escape(self.d.limit_word), "lringt", px))
        return out

    def _path(self) -> list[str]:
        if not self.d.path and not self.d.live:
            return []
        line = points([self._at(self._way(v.angle_deg), v.share) for v in self.d.path])
        return [f'<polyline class="trail" points="{line}"/>']

    def _vectors(self) -> list[str]:
        out = [
            arrow(
                (self.c, self.c),
                self._at(self._way(v.angle_deg), v.share),
                v.look,
                self.size * 0.04,
            )
            for v in self.d.vectors
        ]
        if self.d.live:
            out.append(arrow((self.c, self.c), (self.c, self.c - 1), "vec", self.size * 0.05))
        if self.d.vectors or self.d.live:
            out.append(
                f'<circle class="hub" cx="{self.c}" cy="{self.c}" r="{self.size * 0.02:.1f}"/>'
            )
        return out

    def _letter(self, letter: Letter) -> list[str]:
        way = self._way(letter.angle_deg)
        skin = reach(self.outline, way, 0.05) * self.mm if self.outline else 0.0
        (x1, y1), (x2, y2) = (self.c + way[0] * skin, self.c + way[1] * skin), self._at(way, 0.66)
        r = max(17.0, self.size * 0.055)
        hot = " hot" if letter.hot else ""
        return [
            f'<line class="leader" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>',
            f'<circle class="let{hot}" cx="{x2:.1f}" cy="{y2:.1f}" r="{r:.1f}"/>',
            text((x2, y2 + 0.42 * r), escape(letter.words), f"lett{hot}", 1.2 * r),
        ]
