"""The set-up on the screen: what the bench hears, what a person has to say, what is kept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ....quantities.said import Said
from ....workshop.bench.remote import Remote
from ....workshop.bench.set_up import OIL_LASTS_S, YES, outside_oil
from ....workshop.bench.setup_check import Check
from ...drawings.evidence import bars_svg, share_svg, trace_svg
from ...formats import figures
from .at import At, OtherRig
from .line import Sign

RIGHT_SHARE = 0.9
"""From this share of its power in the turning mark on, the pickup is right (common practice, no source)."""

NOTHING = Markup("")
SIGN_OF: dict[bool | None, Sign] = {True: "ok", False: "no", None: "ask"}


@dataclass(frozen=True)
class Row:
    """A check: its sign, its words, its evidence; `yes` is what a person has to say, `said` whether they did."""

    sign: Sign
    title: Said
    sub: Said
    evidence: Markup = NOTHING
    remedy: Said | None = None
    yes: str = ""
    said: bool = False


@dataclass(frozen=True)
class Tile:
    """A field that keeps its value from the last spin."""

    name: str
    label: Said
    value: str
    unit: str = ""
    decimal: bool = False
    fault: str = ""


def rows_of(at: At) -> tuple[Row, ...]:
    """Return the checks, failed ones first, then what a person has to say; where no rig is chosen, the rigs."""
    if at.rig.kind == "choose":
        return tuple(_rig(other) for other in at.rig.others)
    if at.rig.agent is not None:
        return tuple(_agent(at.rig.agent))
    rows = [*_heard(at), *_oil(at)]
    rows.sort(key=lambda r: r.sign != "no")
    return (*rows, *(_yes(at, what) for what in YES))


def _rig(other: OtherRig) -> Row:
    """What is on a rig that may be chosen."""
    on_it = Said("bench.small.on_it", {"serial": other.on_it}) if other.on_it else None
    title = Said("as_it_is", {"text": other.name})
    return Row("open", title, on_it or Said("bench.small.rig_free"))


def _agent(agent: Remote) -> Iterator[Row]:
    """What is known of a rig's agent: whether it speaks, what waits on its disk, what it says is wrong."""
    silent_s = agent.silent_s
    if agent.there:
        yield Row("ok", Said("agent.there"), Said("agent.by_itself"))
    elif silent_s is None:
        yield Row("ask", Said("agent.never"), Said("agent.keeps"))
    else:
        yield Row("no", Said("agent.silent", {"minutes": silent_s / 60}), Said("agent.keeps"))
    if agent.said.waiting:
        waiting = {"spins": float(agent.said.waiting)}
        yield Row("ask", Said("agent.waiting", waiting), Said("agent.not_here"))
    if agent.said.words:
        yield Row("ask", Said("agent.says"), Said("as_it_is", {"text": agent.said.words}))


def _heard(at: At) -> list[Row]:
    if at.rig.kind == "none":
        silent = Row("no", Said("check.title.no_rig"), Said("check.said.no_rig"), trace_svg(()))
        unknown = Row("ask", Said("check.title.hum_unknown"), Said("check.said.hum_unknown"))
        return [silent, unknown, *_mark(at, ())]
    sensors = [c for c in at.heard if not c.state.startswith("pickup")]
    if not at.heard:
        wait = Row("open", Said("check.title.listening"), Said("check.said.listening"))
        return [wait, *_mark(at, ())]
    first = _worst_of([c for c in sensors if c.state not in ("hum", "no_hum")])
    hum = _worst_of([c for c in sensors if c.state in ("hum", "no_hum")])
    rows = [_row(c) for c in (first, hum) if c]
    return [*rows, *_mark(at, [c for c in at.heard if c.state.startswith("pickup")])]


def _worst_of(checks: Sequence[Check]) -> Check | None:
    return min(checks, key=lambda c: c.good is not False, default=None)


def _row(check: Check) -> Row:
    drawn = Markup("")
    if check.allowed:
        drawn = bars_svg(check.evidence, check.allowed)
    elif check.evidence:
        drawn = trace_svg(check.evidence)
    return Row(SIGN_OF[check.good], check.title, check.said, drawn, check.remedy)


def _mark(at: At, pickup: Sequence[Check]) -> list[Row]:
    """Magnet and gap: what is wrong while it stands; else how much of the last spin's pickup was the mark."""
    bad = next((c for c in pickup if c.good is False), None)
    if bad:
        return [_row(bad)]
    told = at.last.result.pickup if at.last else None
    if told is None:
        return [Row("ask", Said("check.title.pickup_new"), Said("check.said.pickup_new"))]
    share = told[1]
    right = share > RIGHT_SHARE
    state = "pickup_right" if right else "pickup_weak"
    remedy = None if right else Said("check.do.pickup_weak")
    values = {"share": share}
    drawn = share_svg(share, RIGHT_SHARE)
    sign: Sign = "ok" if right else "ask"
    return [
        Row(
            sign,
            Said("check.title.pickup_new"),
            Said(f"check.said.{state}", {**values}),
            drawn,
            remedy,
        )
    ]


def _oil(at: At) -> list[Row]:
    kept = at.set_up.fresh_oil()
    now = tuple(m if m is not None else k for m, k in zip(at.measured, kept, strict=True))
    out = outside_oil(at.model, (now[0], now[1]))
    if out is None:
        return []
    key, value, low, high = out
    values = {"value": value, "low": low, "high": high}
    return [
        Row(
            "no", Said(f"check.title.oil_{key}", {**values}), Said(f"check.said.oil_{key}", {**values}),
            remedy=Said("check.do.oil", {"low": low, "high": high}),
        )
    ]  # fmt: skip


def _yes(at: At, what: str) -> Row:
    said = what in at.set_up.said
    return Row(
        "ok" if said else "open", Said(f"check.title.{what}"), Said("check.said.yours"),
        yes=what, said=said,
    )  # fmt: skip


def tiles_of(at: At) -> tuple[Tile, ...]:
    """Return operator and oil, as typed, else as kept; oil read too long ago is asked anew."""
    if at.rig.kind in ("choose", "agent"):
        return ()
    kept = at.set_up
    oil, age = kept.fresh_oil(), kept.oil_age_s()
    if age is None:
        oil_words = Said("bench.kept.oil")
    elif age > OIL_LASTS_S:
        oil_words = Said("bench.kept.oil_anew")
    else:
        oil_words = Said("bench.kept.oil_ago", {"minutes": age / 60})
    by = Said("bench.kept.operator_kept" if kept.operator else "bench.kept.operator")

    def by_hand(name: str, value: str) -> str:
        return at.typed.get(name) or value

    temperature, pressure = (figures(v) if v is not None else "" for v in oil)
    pressure_words = Said("bench.kept.pressure")
    if (
        at.measured[0] is not None
    ):  # shown, not typed: what is measured when it begins is written down
        oil_words, temperature = Said("bench.kept.oil_measured", {"value": at.measured[0]}), ""
    if at.measured[1] is not None:
        pressure_words, pressure = (
            Said("bench.kept.pressure_measured", {"value": at.measured[1]}),
            "",
        )
    return (
        Tile("operator", by, by_hand("operator", kept.operator), fault=at.faults.get("operator", "")),
        Tile(
            "oil_temperature_c", oil_words, by_hand("oil_temperature_c", temperature), "°C", True,
            at.faults.get("oil_temperature_c", ""),
        ),
        Tile(
            "oil_pressure_kpa", pressure_words, by_hand("oil_pressure_kpa", pressure), "kPa", True,
            at.faults.get("oil_pressure_kpa", ""),
        ),
    )  # fmt: skip
