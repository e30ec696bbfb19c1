"""A picture of numbers for the desk pages: lines, marks with intervals, a limit; every mark may lead somewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from markupsafe import Markup

from ...sheet.plots import step_of

LETTER_PX = 7.4
"""Width of a letter, on average; labels are kept clear of each other by it."""
LINE_PX = 18.0


@dataclass(frozen=True)
class Axis:
    """One axis.

    Attributes
    ----------
    ticks : tuple of (float, str)
        None given: round steps.
    log : bool
        Equal ratios are equally far apart.
    """

    low: float
    high: float
    title: str = ""
    ticks: Sequence[tuple[float, str]] = ()
    log: bool = False

    def share(self, value: float) -> float:
        """Return how far along the axis a value is, from 0 to 1; what is outside stands at its end."""
        low, high = self.low, self.high
        if self.log:
            low, high, value = math.log(low), math.log(high), math.log(max(value, self.low))
        return min(max((value - low) / ((high - low) or 1.0), 0.0), 1.0)

    def shown(self, most: int) -> list[tuple[float, str]]:
        """Return the ticks with their words."""
        if self.ticks:
            return list(self.ticks)
        step = step_of(self.high - self.low, most)
        first = math.ceil(self.low / step - 1e-9)
        count = int((self.high - first * step) / step + 1e-9) + 1
        return [((first + i) * step, f"{(first + i) * step:.6g}") for i in range(count)]


@dataclass(frozen=True)
class Line:
    """A line, cut where a value is None; `look` is now, before, expect or good; `word` stands at its end."""

    points: Sequence[tuple[float, float | None]]
    look: str = "now"
    word: str = ""


@dataclass(frozen=True)
class Dot:
    """A mark with its interval; it leads to `place`, and says `words` there.

    Attributes
    ----------
    few : bool
        Made of few pieces: hollow.
    lying : bool
        The interval lies along the x axis.
    label : str
        Written beside it.
    shape : str
        One of `SHAPES`.
    """

    x: float
    y: float
    low: float | None = None
    high: float | None = None
    place: str = ""
    words: str = ""
    few: bool = False
    lying: bool = False
    label: str = ""
    look: str = "now"
    shape: str = "circle"


SHAPES = ("circle", "square", "wedge", "diamond")
"""Of a mark: persons are told apart by them, and a signal is a diamond."""


@dataclass(frozen=True)
class Plot:
    """What a picture shows.

    Attributes
    ----------
    limit : tuple of ((x, y), ...)
        The limit's line; what is under it is washed.
    upright : float or None
        Where a limit stands on the x axis.
    rows : tuple of str
        Names beside the y axis instead of figures, at 0, 1, 2 ... from the top.
    """

    title: str
    x: Axis
    y: Axis
    lines: Sequence[Line] = ()
    dots: Sequence[Dot] = ()
    limit: Sequence[tuple[float, float]] = ()
    limit_word: str = ""
    upright: float | None = None
    rows: Sequence[str] = ()
    bands: Sequence[Sequence[tuple[float, float, float]]] = ()
    wide: int = 364
    high: int = 236
    ends: float = field(default=12.0)


def round_axis(
    values: Sequence[float], title: str = "", *, most: int = 5, least: float = 0.0
) -> Axis:
    """Return an axis from round figure to round figure around values; ``least`` is the narrowest span there is.

    >>> a = round_axis([0.412, 0.451])
    >>> a.low, a.high, [words for _, words in a.shown(5)]
    (0.41, 0.46, ['0.41', '0.42', '0.43', '0.44', '0.45', '0.46'])
    >>> round_axis([100.0, 100.0]).shown(5)[0]
    (95.0, '95')
    """
    low, high = min(values), max(values)
    span = max(high - low, least, 0.1 * abs(high) if high == low else 0.0) or 1.0
    middle = 0.5 * (low + high)
    low, high = min(low, middle - 0.5 * span), max(high, middle + 0.5 * span)
    step = step_of(high - low, most)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return Axis(_tidy(first * step), _tidy(last * step), title)


def ratio_axis(values: Sequence[float], title: str = "") -> Axis:
    """Return an axis of ratios with 1, 2 and 5 of each decade that fall near the values.

    >>> [words for _, words in ratio_axis([0.4, 2.6]).ticks]
    ['0.2', '0.5', '1', '2', '5']
    """
    all_of = [f * 10.0**power for power in range(-4, 5) for f in (1, 2, 5)]
    low = max((t for t in all_of if t <= min(values) * 1.0001), default=all_of[0])
    high = min((t for t in all_of if t >= max(values) * 0.9999), default=all_of[-1])
    if low == high:
        at = all_of.index(low)
        low, high = all_of[max(at - 1, 0)], all_of[min(at + 1, len(all_of) - 1)]
    return Axis(low, high, title, [(t, f"{t:g}") for t in all_of if low <= t <= high], log=True)


def _tidy(value: float) -> float:
    """Return a value without the dust of floating point, so that an axis ends where it says."""
    return float(f"{value:.12g}")


def plot_svg(plot: Plot) -> Markup:
    """Return the picture; its marks are links, its title is read aloud."""
    return Markup(
        f'<svg class="plot-svg" role="group" aria-label="{escape(plot.title)}" '
        f'viewBox="0 0 {plot.wide} {plot.high}">{"".join(_Drawn(plot).parts())}</svg>'
    )


class _Drawn:
    """A plot in pixels."""

    def __init__(self, plot: Plot) -> None:
        self.plot = plot
        self.taken: list[tuple[float, float, float]] = []
        words = [t for _, t in plot.y.shown(5)]
        named = max((len(r) for r in plot.rows), default=0)
        longest = named or max((len(w) for w in words), default=1)
        self.left = min(12 + LETTER_PX * longest, 0.36 * plot.wide)
        ends = max((len(line.word) for line in plot.lines), default=0)
        self.right = plot.wide - max(plot.ends, 8 + LETTER_PX * ends)
        self.top = 24.0 if plot.y.title else 10.0
        self.foot = plot.high - (44.0 if plot.x.title else 26.0)

    def x(self, value: float) -> float:
        return self.left + (self.right - self.left) * self.plot.x.share(value)

    def y(self, value: float) -> float:
        if self.plot.rows:
            return self.top + (self.foot - self.top) * (value + 0.5) / len(self.plot.rows)
        return self.foot - (self.foot - self.top) * self.plot.y.share(value)

    def parts(self) -> list[str]:
        return [
            *self._under(),
            *self._axes(),
            *self._limit(),
            *[p for line in self.plot.lines for p in self._line(line)],
            *[self._dot(d) for d in self.plot.dots],
            *self._names(),
        ]

    def _under(self) -> list[str]:
        out = []
        if self.plot.limit:
            on = " ".join(f"{self.x(a):.1f},{self.y(b):.1f}" for a, b in self.plot.limit)
            out.append(
                f'<polygon class="wash" points="{self.left:.1f},{self.foot} {on} {self.right:.1f},{self.foot}"/>'
            )
        for band in self.plot.bands:
            high = [f"{self.x(x):.1f},{self.y(h):.1f}" for x, _, h in band]
            low = [f"{self.x(x):.1f},{self.y(v):.1f}" for x, v, _ in reversed(band)]
            out.append(f'<polygon class="band" points="{" ".join(high + low)}"/>')
        return out

    def _axes(self) -> list[str]:
        plot, out = self.plot, []
        for value, words in [] if plot.rows else plot.y.shown(5):
            y = self.y(value)
            out.append(
                f'<line class="grid" x1="{self.left:.1f}" x2="{self.right:.1f}" y1="{y:.1f}" y2="{y:.1f}"/>'
            )
            out.append(_text(self.left - 7, y + 5, words, "end faded"))
        for i, name in enumerate(plot.rows):
            most = int((self.left - 10) / LETTER_PX)
            short = name if len(name) <= most else name[: most - 1] + "…"
            out.append(_text(self.left - 8, self.y(i) + 5, short, "end"))
        out.append(
            f'<line class="axis" x1="{self.left:.1f}" x2="{self.right:.1f}" y1="{self.foot}" y2="{self.foot}"/>'
        )
        room = int((self.right - self.left) / 64)
        for value, words in plot.x.shown(max(2, room)):
            x = self.x(value)
            out.append(
                f'<line class="axis" x1="{x:.1f}" x2="{x:.1f}" y1="{self.foot}" y2="{self.foot + 5}"/>'
            )
            out.append(_text(x, self.foot + 20, words, "middle faded"))
        if plot.x.title:
            out.append(_text(self.right, self.foot + 39, plot.x.title, "end faded"))
        if plot.y.title:
            out.append(_text(4, 13, plot.y.title, "faded"))
        return out

    def _limit(self) -> list[str]:
        plot, out = self.plot, []
        if plot.limit:
            on = " ".join(f"{self.x(a):.1f},{self.y(b):.1f}" for a, b in plot.limit)
            out.append(f'<polyline class="limit" points="{on}"/>')
            out.append(
                _text(self.left + 6, self.y(plot.limit[0][1]) - 6, plot.limit_word, "bold halo")
            )
        if plot.upright is not None:
            x = self.x(plot.upright)
            out.append(
                f'<line class="limit" x1="{x:.1f}" x2="{x:.1f}" y1="{self.top}" y2="{self.foot}"/>'
            )
            out.append(_text(x + 5, self.top + 12, plot.limit_word, "bold halo"))
        return out

    def _line(self, line: Line) -> list[str]:
        out, stretch = [], []
        for a, b in [*line.points, (0.0, None)]:
            if b is not None:
                stretch.append(f"{self.x(a):.1f},{self.y(b):.1f}")
            elif stretch:
                out.append(f'<polyline class="{line.look}" points="{" ".join(stretch)}"/>')
                stretch = []
        return out

    def _dot(self, dot: Dot) -> str:
        x, y, look = self.x(dot.x), self.y(dot.y), f"{dot.look}{' few' if dot.few else ''}"
        parts = []
        if dot.low is not None and dot.high is not None:
            ends = (
                (self.x(dot.low), y, self.x(dot.high), y)
                if dot.lying
                else (x, self.y(dot.low), x, self.y(dot.high))
            )
            parts.append(
                '<line class="interval" x1="{:.1f}" y1="{:.1f}" x2="{:.1f}" y2="{:.1f}"/>'.format(
                    *ends
                )
            )
        parts.append(_shape(dot.shape, f"dot {look}", x, y))
        if dot.label:
            parts.append(self._label(dot.label, x, y))
        told = f"<title>{escape(dot.words)}</title>" if dot.words else ""
        if not dot.place:
            return f"<g>{told}{''.join(parts)}</g>"
        target = f'<circle class="target" cx="{x:.1f}" cy="{y:.1f}" r="16"/>'
        return f'<a href="{escape(dot.place)}" aria-label="{escape(dot.words)}">{told}{target}{"".join(parts)}</a>'

    def _label(self, words: str, x: float, y: float) -> str:
        """Write beside a mark, and over what stands there already."""
        wide = LETTER_PX * len(words)
        side = "end" if x > self.right - wide - 8 else ""
        left, at = (x - 9 - wide if side else x + 9), y - 7
        while any(
            abs(at - b) < LINE_PX and left < a + w and a < left + wide for a, b, w in self.taken
        ):
            at -= LINE_PX - 1
        self.taken.append((left, at, wide))
        return _text(x - 9 if side else x + 9, at, words, f"{side} bold halo")

    def _names(self) -> list[str]:
        """Names at the ends of the lines, none on another."""
        ends = sorted(
            (self.y(known[-1]), line.word, line.look)
            for line in self.plot.lines
            if line.word and (known := [y for _, y in line.points if y is not None])
        )
        placed, low = [], self.top
        for at, words, look in ends:
            placed.append((max(at, low), words, look))
            low = placed[-1][0] + LINE_PX
        over = max(0.0, low - LINE_PX - self.foot)
        return [_text(self.right + 5, y - over + 5, w, f"name {look}") for y, w, look in placed]


def _shape(shape: str, look: str, x: float, y: float) -> str:
    if shape == "circle":
        return f'<circle class="{look}" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
    corners = {
        "square": ((-4.5, -4.5), (4.5, -4.5), (4.5, 4.5), (-4.5, 4.5)),
        "wedge": ((0.0, -6.0), (6.0, 5.0), (-6.0, 5.0)),
        "diamond": ((0.0, -7.5), (7.5, 0.0), (0.0, 7.5), (-7.5, 0.0)),
    }[shape]
    on = " ".join(f"{x + a:.1f},{y + b:.1f}" for a, b in corners)
    return f'<polygon class="{look}" points="{on}"/>'


def _text(x: float, y: float, words: str, look: str = "") -> str:
    return f'<text class="{look}" x="{x:.1f}" y="{y:.1f}">{escape(words)}</text>'
