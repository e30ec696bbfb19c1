"""The sentence and the buttons of every state of the bench."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote

from ....quantities.finding import finding_said, remedy_said
from ....quantities.said import Said
from .asked import Asked, Press
from .at import At
from .ready import rows_of
from .seen import order_values

NOT_UNBALANCE = ("oil.sub_synchronous", "contact.half_order", "mount.resonance")
"""Findings that say: what shakes is not unbalance."""

ONCE_MORE = Press(Said("bench.go.once_more"), Said("bench.small.asked_first"), verb="prepare")


def asked_of(at: At) -> Asked:
    """Return what the bench says and what its buttons do."""
    return STATES[at.question](at)


def _place(at: At, *parts: str) -> str:
    return "/".join(["/bench", quote(at.serial, safe="/"), *parts])


def _prepare(at: At) -> Asked:
    number = {"number": at.next_number}
    back = (Press(Said("bench.go.back"), verb="no-more"),) if _out_of_turn(at) else ()
    if at.rig.kind == "choose":
        return Asked(
            (Said("bench.say.which_rig"),), off=Said("bench.off.which_rig"),
            others=(*_rigs(at), *back), now=Said("bench.now.next", {**number}),
        )  # fmt: skip
    if at.rig.agent is not None:
        spins = at.rig.agent.spins == at.serial
        return Asked(
            (Said("agent.spins") if spins else Said("agent.ready", {"number": number["number"]}),),
            off=Said("agent.give_air"), others=back, now=Said("bench.now.next", {**number}),
        )  # fmt: skip
    if at.rig.kind == "none":
        sub = (Said("as_it_is", {"text": at.rig.lost}),) if at.rig.lost else ()
        look = Press(Said("bench.go.look_again"), Said("bench.small.look_again"), verb="listen")
        return Asked(
            (Said("bench.say.no_rig"),), sub, pedal=look, others=back,
            now=Said("bench.now.next", {**number}),
        )  # fmt: skip
    now = Said("bench.now.next", {**number})
    if at.busy:
        return Asked(
            (Said("bench.say.busy", {"serial": at.busy}),), off=Said("bench.off.busy"), now=now
        )
    made = at.story.made_after(at.story.number)
    undo = (Press(Said("bench.go.undo"), verb="undo", over=not at.undo_s),) if made else ()
    failed = [r for r in rows_of(at) if r.sign == "no"]
    simulated = at.rig.kind == "simulated"
    spin = Press(
        Said("bench.go.spin_simulated" if simulated else "bench.go.spin", _speed(at)),
        Said("bench.small.spin_simulated" if simulated else "bench.small.spin", _model(at)),
        verb="spin", hold=True, form="set-up",
    )  # fmt: skip
    if failed:
        remedy = failed[0].remedy
        anyway = Press(Said("bench.go.spin_anyway"), verb="spin", hold=True, form="set-up")
        again = Press(Said("bench.go.listen_again"), verb="listen")
        others = (again, *((anyway,) if at.set_up.ready else ()), *undo, *back)
        return Asked(
            (Said("bench.say.not_ready", {"what": failed[0].title}),),
            (remedy,) if remedy else (),
            off=Said("bench.off.check"), others=others, now=now, size="long",
        )  # fmt: skip
    if not at.set_up.ready:
        off, pedal = Said("bench.off.yes"), None
    else:
        off, pedal = None, spin
    line = _ready_line(at, simulated)
    size = "" if simulated else "one"
    sub = (Said("bench.sub.armed"),) if at.armed else ()
    return Asked((line,), sub, off=off, pedal=pedal, others=(*undo, *back), now=now, size=size)


def _rigs(at: At) -> tuple[Press, ...]:
    """Return a press for each rig the piece can be put on."""
    return tuple(
        Press(
            Said("bench.go.on_rig", {"rig": other.name}),
            verb="place",
            whole=True,
            fields=(("rig", other.name),),
        )
        for other in at.rig.others
    )


def _ready_line(at: At, simulated: bool) -> Said:
    number = {"number": float(at.next_number)}
    if simulated:
        return Said("bench.say.ready_simulated", number)
    if not at.set_up.ready:
        return Said("bench.say.set_up", number)
    if at.foretold and at.story.made_after(at.story.number):
        return Said("bench.say.ready_expect", number | {"expected_g": at.foretold.likely_g})
    return Said("bench.say.ready", number)


def _out_of_turn(at: At) -> bool:
    """Whether one more spin was asked for in spite of what the last advice says."""
    return at.last is not None and not at.story.made_after(at.story.number)


def _speed(at: At) -> dict[str, float | str | Said]:
    return {"speed_rpm": at.model.test_speed_rpm}


def _model(at: At) -> dict[str, float | str | Said]:
    return {
        "model": at.model.name,
        "turning": Said(f"bench.turning.{at.model.rotation}"),
        "rated_rpm": at.model.rated_speed_rpm,
    }


def _grind(at: At) -> Asked:
    last = at.last
    advice = last.result.advice if last else None
    lines = []
    several = len(at.advised) > 1
    for cut in at.advised:
        values = order_values(at.model, cut)
        if advice and advice.trial:
            lines.append(Said("bench.say.trial", {**values}))
        else:
            lines.append(Said("bench.say.cut_of" if several else "bench.say.grind", {**values}))
    if advice and advice.trial:
        lines = (
            lines[:1]
            if not several
            else [Said("bench.say.cut_of", {**order_values(at.model, c)}) for c in at.advised]
        )
    go = Press(
        _ground_words(len(at.advised)),
        _ground_small(at), verb="as-advised",
    )  # fmt: skip
    other = Press(
        Said("bench.go.some_or_differently" if several else "bench.go.differently"),
        place=_place(at, "differently"),
    )
    leave = Press(Said("bench.go.not_yet"), place="/")
    trial = bool(advice and advice.trial)
    return Asked(
        tuple(lines), _short_of_speed(at), warn=_worst(at) if trial else None, pedal=go,
        others=(other, leave), now=_grind_now(at, trial),
        size="one" if len(lines) == 1 and not trial else "",
    )  # fmt: skip


def _ground_words(cuts: int) -> Said:
    if cuts == 1:
        return Said("bench.go.ground")
    if cuts == 2:
        return Said("bench.go.ground_both")
    return Said("bench.go.ground_all", {"count": float(cuts)})


def _ground_small(at: At) -> Said | None:
    planes = [c.plane for c in at.advised]
    return Said("bench.small.both_written") if len(planes) > len(set(planes)) else None


def _grind_now(at: At, trial: bool) -> Said:
    if trial:
        return Said("bench.now.trial")
    count = len(at.advised)
    if count > 1:
        planes = len({c.plane for c in at.advised})
        return Said("bench.now.grind_several", {"cuts": float(count), "planes": float(planes)})
    return Said("bench.now.grind")


def _short_of_speed(at: At) -> tuple[Said, ...]:
    """What is not known leads: a run that did not reach test speed says so before any chance."""
    short = at.finding("speed.not_reached")
    if short is None:
        return ()
    values = {k: short.evidence.get(k, 0.0) for k in ("speed_rpm", "test_rpm")}
    return (Said("bench.sub.short_of_speed", {**values}),)


def _worst(at: At) -> Said | None:
    told = at.foretold
    if told is None:
        return None
    values = {"worst_g": told.worst_g, "times": told.worst_ratio}
    if told.worst_ratio <= 1.0:
        return Said("bench.warn.under", {**values})
    return Said(
        "bench.warn.worse" if told.worst_ratio > told.now_ratio else "bench.warn.at_worst",
        {**values},
    )


def _again(at: At) -> Asked:
    last = at.last
    worst = last.result.worst if last else None
    others: tuple[Press, ...] = ()
    one_more = at.last.result.advice.one_more if at.last else ()
    if one_more:
        values = order_values(at.model, one_more[0])
        others = (Press(Said("bench.go.ground_instead", {**values}), verb="as-advised"),)
    short = _short_of_speed(at)
    if short or worst is None:
        say = Said("bench.say.again")
        sub = short or _why(at)
    else:
        say = Said("bench.say.too_close")
        sub = _why(at)
    look = Press(Said("bench.go.look_closer"), place=f"/look/{at.story.number}/{quote(at.serial)}")
    return Asked((say,), sub, pedal=ONCE_MORE, others=(*others, look))


def _why(at: At, most: int = 1) -> tuple[Said, ...]:
    last = at.last
    if last is None:
        return ()
    said = last.result.advice.why_said
    return tuple(said[:most]) if said else (Said("as_it_is", {"text": last.result.advice.why}),)


def _fix(at: At) -> Asked:
    last = at.last
    blocking = last.result.blocking if last else ()
    look = Press(Said("bench.go.look_closer"), place=f"/look/{at.story.number}/{quote(at.serial)}")
    again = Press(Said("bench.go.fixed_spin"), Said("bench.small.asked_first"), verb="prepare")
    if last and last.result.advice.doubts and not blocking:
        return _contradiction(at)
    if not blocking:
        return Asked(
            (Said("bench.say.do_not_grind"),), _why(at, 2), off=Said("bench.off.look"),
            others=(Press(again.words, verb="prepare"), look), now=Said("bench.now.held"), size="long",
        )  # fmt: skip
    first = blocking[0]
    if first.code in NOT_UNBALANCE:
        return Asked(
            (Said("bench.say.not_unbalance"),), (finding_said(first),),
            pedal=again, others=(look,), now=Said("bench.now.held"),
        )  # fmt: skip
    return Asked(
        (Said("bench.say.fix", {"finding": finding_said(first)}),),
        (remedy_said(first),),
        pedal=again, others=(look,), now=Said("bench.now.held"), size="long",
    )  # fmt: skip


def _contradiction(at: At) -> Asked:
    doubts = at.last.result.advice.doubts if at.last else ()
    opposite = bool(doubts) and doubts[0].code == "half_a_turn"
    say = Said("bench.say.opposite") if opposite else Said("bench.say.contradiction")
    why = at.last.result.advice.why_said if at.last else ()
    first = any(w.code == "advice.look_first" for w in why)
    tell = (Said("bench.tell.look"), Said("bench.tell.look_small"))
    spin = Press(Said("bench.go.spin_no_cut"), verb="prepare")
    look = Press(Said("bench.go.look_closer"), place=f"/look/{at.story.number}/{quote(at.serial)}")
    return Asked(
        (Said("bench.say.look_first") if first else say,),
        _why(at, 1) if first else (Said("bench.sub.held"),),
        tell=tell, others=(spin, look), now=Said("bench.now.held"), size="long",
    )  # fmt: skip


def _done(at: At) -> Asked:
    last = at.last
    result = last.result if last else None
    worst = result.worst if result else None
    passed = bool(result and result.verdict == "pass")
    sheet = Press(Said("bench.go.sheet"), verb="sheet", download=True)
    once = Press(ONCE_MORE.words, verb="prepare")
    others: tuple[Press, ...] = (sheet, once)
    if result and result.advice.one_more:
        values = order_values(at.model, result.advice.one_more[0])
        others = (Press(Said("bench.go.one_more", {**values}), verb="as-advised"), *others)
    amplitude = {"amplitude_g": worst.amplitude_g} if worst else {}
    if passed and at.tiers:
        line = Said("bench.say.passed_tier", {"tier": at.tiers[-1], **amplitude})
    elif passed:
        line = Said("bench.say.passed", amplitude)
    elif result and result.overruled:
        line = Said("bench.say.overruled", {"by": result.overruled.by or "–"})
    else:
        line = Said("bench.say.stop", amplitude) if worst else Said("bench.say.stop_blind")
    sub = () if passed else _why(at)
    following = at.following
    pedal: Press | None = None
    if following:
        rig = f"?rig={quote(at.rig.on_rig)}" if at.rig.on_rig else ""
        place = f"/bench/{quote(following.serial, safe='/')}{rig}"
        pedal = Press(
            Said("bench.go.next", {"serial": following.serial}),
            Said("bench.small.next"),
            place=place,
        )
    elif passed:
        pedal, others = sheet, tuple(o for o in others if o is not sheet)
    return Asked((line,), sub, pedal=pedal, others=others, size="one" if passed else "")


def _build(at: At) -> Asked:
    if at.build.state == "out":
        return Asked((Said("bench.say.build_out"),), off=Said("bench.off.build"), size="")
    write = Press(Said("bench.go.write"), verb="build", form="build")
    return Asked((Said("bench.say.build"),), pedal=write)


def _rescue(at: At) -> Asked:
    keep = Press(
        Said("bench.go.rescue"),
        Said("bench.small.rescue"),
        verb="rescue",
        fields=(("keep", "yes"),),
    )
    remove = Press(Said("bench.go.remove"), verb="rescue", fields=(("keep", "no"),))
    return Asked((Said("bench.say.rescue"),), pedal=keep, others=(remove,))


def _reading(at: At) -> Asked:
    return Asked(
        (Said("bench.say.reading", {"number": float(at.next_number)}),),
        (Said("bench.sub.reading"),), off=Said("bench.off.reading"),
    )  # fmt: skip


def _spinning(at: At) -> Asked:
    now = Said("bench.now.running", {"number": float(at.next_number)})
    if at.rig.agent is not None:  # nobody stops it from here
        off = Said("agent.off")
        return Asked((Said("bench.live.waiting"),), off=off, now=now, size="one")
    stop = Press(Said("bench.go.stop"), Said("bench.small.stop", _speed(at)), verb="stop")
    return Asked((Said("bench.live.waiting"),), pedal=stop, now=now, size="one")


STATES: dict[str, Callable[[At], Asked]] = {
    "prepare": _prepare,
    "grind": _grind,
    "again": _again,
    "fix": _fix,
    "done": _done,
    "build": _build,
    "rescue": _rescue,
    "reading": _reading,
    "spinning": _spinning,
}
