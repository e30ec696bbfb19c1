"""Connecting a rig as its page shows it: what was typed as a rig's file, levels, the drawing with clock places."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from ....quantities.errors import BadInput
from ....quantities.typed import typed_or_none
from ....sources.sound_card import RigFile
from ....workshop.rig.kept_rig import parse_rig_file
from ....workshop.rig.listening import Heard, InputHeard
from ...drawings.shapes import towards
from ...formats import fixed
from ...speaking import told

MOST_CHANNELS = 8
ROLES = ("acceleration", "phase", "other")
FLOOR_DB = -80.0
TURNS = 5
"""Marks of the test by hand."""

SIZE, RADIUS = 320, 86
FULL_SCALE_V = "10"


@dataclass(frozen=True)
class Level:
    """An input's level: the bar and its tick as per cent of the whole, and what is said of it."""

    number: int
    name: str
    rms: int
    peak: int
    value: str
    words: str
    mark: str


@dataclass(frozen=True)
class Turned:
    """The test by hand: marks seen, those still wanted, and the strip of the pickup."""

    seen: int
    wanted: int
    strip: Markup


def first_typed(channels: int) -> dict[str, str]:
    """Return the form as it begins: a sensor and a pickup, the rest not used."""
    typed = {"source": "", "rate": "48000", "rotation": "clockwise", "channels": str(channels)}
    for i in range(channels):
        role = ROLES[min(i, 2)]
        typed |= {
            f"role-{i}": role,
            f"name-{i}": ("housing", "pickup")[i] if i < 2 else f"input {i + 1}",
        }
        typed |= {f"full-{i}": FULL_SCALE_V, f"clock-{i}": ("3", "12")[i] if i < 2 else ""}
    return typed | {"value-0": "100", "unit-0": "mV/g"}


def channel_count(typed: Mapping[str, str]) -> int:
    """Return how many inputs the form speaks of."""
    text = typed.get("channels", "")
    return min(max(int(text), 2), MOST_CHANNELS) if text.isdecimal() else 2


def rig_of(typed: Mapping[str, str]) -> RigFile:
    """Return the rig's file as it was typed; inputs after the last that is used are left out.

    Raises
    ------
    BadInput
        Something is missing or no number; it is named.
    """
    channels = [_channel(typed, i) for i in range(channel_count(typed))]
    while len(channels) > 2 and channels[-1]["quantity"] == "other":
        channels.pop()
    roles = [c["quantity"] for c in channels]
    for role in ("acceleration", "phase"):
        if role not in roles:
            raise BadInput(told(f"connect.no_{role}"), remedy=told("connect.say_role"))
    device = typed.get("device", "")
    return parse_rig_file(
        {
            "name": typed.get("name", "").strip(),
            "device": int(device) if device.isdecimal() else device,
            "sample_rate_hz": typed_or_none("rate", typed.get("rate", "")) or 0.0,
            "rotation": typed.get("rotation") or None,
            "channel": channels,
        }
    )


def _channel(typed: Mapping[str, str], i: int) -> dict[str, object]:
    name = typed.get(f"name-{i}", "").strip()
    role = typed.get(f"role-{i}", "other")
    out: dict[str, object] = {
        "name": name,
        "quantity": role if role in ROLES else "other",
        "unit": "V",
        "full_scale": typed_or_none(name, typed.get(f"full-{i}", "")) or 1.0,
    }
    clock = typed_or_none(name, typed.get(f"clock-{i}", ""))
    if clock is not None and role != "other":
        out["clock"] = clock
    if role == "acceleration":
        value = typed_or_none(name, typed.get(f"value-{i}", ""))
        if value is None:
            raise BadInput(
                told("connect.no_sensitivity", name=name), remedy=told("connect.certificate")
            )
        out["sensitivity"] = {"value": value, "unit": typed.get(f"unit-{i}", "mV/g")}
    return out


def levels(heard: Heard) -> list[Level]:
    """Return the level of each input in decibels of full scale, and a word."""
    return [_level(i, h) for i, h in enumerate(heard.inputs)]


def _level(i: int, h: InputHeard) -> Level:
    mark, words = {
        "silent": ("waits", told("connect.silent")),
        "full": ("over", told("connect.full")),
        "alive": ("good", told("connect.alive")),
    }[h.state]
    if h.state == "silent":
        value = "–"
    elif h.rms_g is not None:
        value = f"{1000 * h.rms_g:.1f} mg"
    else:
        value = f"{fixed(100 * h.peak, 1)} %"
    return Level(i + 1, h.name, _of_scale(h.rms), _of_scale(h.peak), value, words, mark)


def _of_scale(share: float) -> int:
    decibels = 20 * math.log10(share) if share > 0 else FLOOR_DB
    return round(100 * min(max(1 - decibels / FLOOR_DB, 0.0), 1.0))


def turned(heard: Heard) -> Turned | None:
    """Return the test by hand of the first pickup; None where there is none."""
    pickup = next((h for h in heard.inputs if h.marks or "pickup" in h.name), None)
    if pickup is None:
        return None
    top = max(max(pickup.strip, default=0.0), 1e-9)
    step = 440 / max(len(pickup.strip) - 1, 1)
    on = " ".join(f"{i * step:.1f},{62 - 56 * v / top:.1f}" for i, v in enumerate(pickup.strip))
    strip = Markup(
        f'<svg class="strip" viewBox="0 0 440 66" aria-hidden="true"><polyline points="{on}"/></svg>'
    )
    return Turned(pickup.marks, max(0, TURNS - pickup.marks), strip)


def clock_drawing(typed: Mapping[str, str]) -> Markup:
    """Return the housing from the nut with every sensor and pickup at its hour."""
    c = SIZE / 2
    parts = [f'<circle class="rim" cx="{c}" cy="{c}" r="{RADIUS}"/>']
    for hour in range(1, 13):
        x, y = _hour(hour)
        parts.append(
            f'<text class="hour" x="{c + (RADIUS + 20) * x:.1f}" y="{c + (RADIUS + 20) * y + 6:.1f}">{hour}</text>'
        )
        parts.append(_spoke("tick", x, y, RADIUS - 8, RADIUS))
    parts.append(f'<circle class="shaft" cx="{c}" cy="{c}" r="16"/>')
    for i in range(channel_count(typed)):
        role = typed.get(f"role-{i}", "other")
        try:
            place = typed_or_none("clock", typed.get(f"clock-{i}", ""))
        except BadInput:
            place = None
        if place is None or role == "other" or not 0 <= place <= 12:
            continue
        movable = typed.get("source") == "sound"  # where it has a field that takes its hour
        parts.append(_hand(i, role, place, escape(typed.get(f"name-{i}", "")), movable))
    return Markup(
        f'<svg class="clock-places" role="group" aria-label="{escape(told("connect.drawing"))}" '
        f'viewBox="0 0 {SIZE} {SIZE}">{"".join(parts)}</svg>'
    )


def _hand(i: int, role: str, place: float, name: str, movable: bool) -> str:
    """Return a sensor or a pickup at its hour; one that is movable is dragged, or moved by the arrow keys."""
    c = SIZE / 2
    x, y = _hour(place)
    at = (c + (RADIUS + 46) * x, c + (RADIUS + 46) * y)
    spoke = _spoke(role, x, y, 22 if role == "phase" else RADIUS + 2, RADIUS + 40)
    drawn = (
        f'{spoke}<circle class="{role}" cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="10"/>'
        f'<text class="{role}" x="{at[0]:.1f}" y="{at[1] - 16:.1f}">{name}</text>'
    )
    if not movable:
        return drawn
    return (
        f'<g class="hand" data-clock="clock-{i}" role="slider" tabindex="0" aria-label="{name}" '
        f'aria-valuemin="0" aria-valuemax="12" aria-valuenow="{place:g}">'
        f'<circle class="reach" cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="26"/>{drawn}</g>'
    )


def _hour(hour: float) -> tuple[float, float]:
    return towards(30.0 * hour, clockwise=False)


def _spoke(look: str, x: float, y: float, inner: float, outer: float) -> str:
    c = SIZE / 2
    return (
        f'<line class="{look}" x1="{c + inner * x:.1f}" y1="{c + inner * y:.1f}" '
        f'x2="{c + outer * x:.1f}" y2="{c + outer * y:.1f}"/>'
    )
