"""The bench's panel as an answer: what was asked is done, and the next question is shown."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from fastapi import Request, Response

from ....quantities.clock import now
from ....quantities.errors import HeavyspotError
from ....quantities.said import Said
from ....workshop.bench.bench import Bench
from ....workshop.cartridge.curves_view import foretold, path_of, view_of
from ....workshop.cartridge.grinding import just_ground
from ....workshop.cartridge.past import PastRun, past_runs
from ....workshop.cartridge.story import CartridgeStory, cartridge_story
from ....workshop.day.jobs import next_piece
from ....workshop.job.build_record import build_state_of
from ....workshop.job.lookup import siblings_of
from ....workshop.keep.retention import little_room
from ....workshop.reading.kept import KeptCut
from ....workshop.rig.health import words_at_bench
from ....workshop.shop import Workshop
from ....workshop.taking.oil import measured_oil
from ...access import person_of
from ...deps import benches_of
from ...page import by_script, goto, page
from ...speaking import language, spoken
from ...views.bench.at import At, OtherRig, RigState
from ...views.bench.panel import Panel, differently_of, panel_of
from ...views.bench.typed_cuts import read_cuts

RIG_SIGNS = {"ok": "ok", "simulated": "ask", "none": "no", "choose": "ask", "agent": "ok"}


def rig_state(request: Request, bench: Bench, serial: str) -> RigState:
    """Return the rig of a piece's bench: real, simulated, or none."""
    if request.app.state.simulated:
        return RigState("simulated")
    benches = benches_of(request)
    name = bench.rig.name if bench.rig else ""
    others = tuple(
        OtherRig(n, benches.at(n).on_it) for n in benches.names() if n != benches.rig_of(serial)
    )
    on_rig = benches.rig_of(serial)
    if agent := benches.agent_of(serial):
        return RigState("agent", on_rig, others=others, on_rig=on_rig, agent=agent)
    if benches.several and not name:
        return RigState("choose", others=others)
    if not name or not bench.connected or bench.lost:
        return RigState("none", lost=bench.lost, others=others, on_rig=on_rig)
    return RigState("ok", name, others=others, on_rig=on_rig)


def at_of(
    request: Request,
    story: CartridgeStory,
    shop: Workshop,
    bench: Bench,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> tuple[At, tuple[PastRun, ...]]:
    """Return where the bench stands with a piece, and the piece's runs with their curves."""
    piece = story.piece
    past = tuple(past_runs(shop, story))
    build = build_state_of(shop, piece, story.model)
    question = bench.question_of(story, build)
    busy = bench.capture.about.serial if bench.capture else ""
    who, set_up = person_of(request), bench.set_ups.of(story)
    if who.name:  # with accounts on, whoever is logged in is not the one of the last run
        set_up = replace(set_up, operator=who.name)
    at = At(
        question=question,
        story=story,
        rig=rig_state(request, bench, piece.serial),
        build=build,
        set_up=set_up,
        advised=advised_of(story) if question == "grind" else (),
        heard=bench.heard.get(piece.serial, ()),
        siblings=siblings_of(shop, piece),
        following=next_piece(shop, piece, now=now()) if question == "done" else None,
        foretold=foretold(story),
        tiers=tuple(t.name for t in view_of(story, past).tiers if t.kept),
        undo_s=just_ground(story),
        busy=busy if busy not in (piece.serial, bench.armed) else "",
        measured=measured_oil(bench.slow),
        armed=bench.armed == piece.serial,
        inspector=who.may("inspector"),
        typed=typed or {},
        faults=faults or {},
    )
    return at, past


def advised_of(story: CartridgeStory) -> tuple[KeptCut, ...]:
    """Return the cuts that are advised."""
    return story.last.result.advice.cuts if story.last else ()


def panel_values(
    request: Request,
    story: CartridgeStory,
    shop: Workshop,
    bench: Bench,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> dict[str, object]:
    """Return what the bench's templates need."""
    at, past = at_of(request, story, shop, bench, typed, faults)
    warnings = [
        w for w in (little_room(shop.folder), *words_at_bench(shop, at.rig.name, language())) if w
    ]
    return _values(at, panel_of(at, path=path_of(story, past), warnings=warnings), bench)


def _values(at: At, panel: Panel, bench: Bench) -> dict[str, object]:
    piece, agent = at.story.piece, at.rig.agent
    prepares = at.question == "prepare" and at.rig.kind in ("ok", "simulated")
    return {
        "panel": panel,
        "story": at.story,
        "job_id": piece.job_id,
        "siblings": at.siblings,
        "serial": piece.serial,
        "question": at.question,
        "stamp": bench.stamp(piece.serial) + (agent.stamp() if agent else ""),
        "last": at.last,
        "tiers": at.tiers,
        "build": at.build,
        "problem": bench.problem(piece.serial),
        "typed": at.typed,
        "rig": at.rig,
        "rig_sign": "ask" if agent and not agent.there else RIG_SIGNS[at.rig.kind],
        "rig_words": Said(f"bench.rig.{at.rig.kind}", {"name": at.rig.name}),
        "listens": prepares
        and not (at.heard or at.busy or at.armed or bench.listening == piece.serial),
    }


def typed_page(
    request: Request,
    story: CartridgeStory,
    shop: Workshop,
    bench: Bench,
    typed: Mapping[str, str],
    *,
    status: int = 200,
    whole: bool = False,
) -> Response:
    """Return the form of cuts made differently; the state itself where nothing is to be ground any more."""
    at, _ = at_of(request, story, shop, bench, typed)
    name = "bench/bench.html" if whole or not by_script(request) else "bench/panel.html"
    if at.question != "grind":
        return page(request, name, panel_values(request, story, shop, bench))
    cuts = read_cuts(story.model, at.advised, typed)
    return page(request, name, _values(at, differently_of(at, cuts), bench), status=status)


def done(
    request: Request,
    serial: str,
    shop: Workshop,
    bench: Bench,
    act: Callable[[], object],
    typed: Mapping[str, str] | None = None,
    after: Callable[[], Bench] | None = None,
) -> Response:
    """Do it and show the next question; a fault stands above the question with all that was typed.

    Without the page's script, a redirect or a page of its own. `after` gives the bench where it is another then.
    """
    if not by_script(request):
        act()
        return goto("/bench", serial)
    try:
        did = act()
    except HeavyspotError as fault:
        story = cartridge_story(shop, serial)  # no such piece: a page of its own
        return refused(request, story, shop, bench, fault, typed)
    bench = after() if after else bench
    story = did if isinstance(did, CartridgeStory) else cartridge_story(shop, serial)
    return page(request, "bench/panel.html", panel_values(request, story, shop, bench))


def refused(
    request: Request,
    story: CartridgeStory,
    shop: Workshop,
    bench: Bench,
    fault: HeavyspotError,
    typed: Mapping[str, str] | None = None,
) -> Response:
    """Return the question as it stands with a fault above it, at the field it names where it names one."""
    named = [k for k in (typed or {}) if fault.message.startswith(FIELDS.get(k, k))]
    faults = {k: spoken(fault.told) for k in named}
    values = panel_values(request, story, shop, bench, typed, faults) | {"fault": fault}
    return page(request, "bench/panel.html", values, status=422)


FIELDS = {
    "oil_temperature_c": "oil temperature",
    "oil_pressure_kpa": "oil pressure",
}
"""What a field is called in what is said of it."""
