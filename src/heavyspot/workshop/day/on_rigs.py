"""What is on each rig: the piece spun there last, and what is to be done with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from ...quantities.angles import clock_text
from ...quantities.clock import utc_text
from ...signal.curve import Curve
from ..cartridge import CartridgeStory, cartridge_story, next_question, past_runs
from ..rig import RigRecord, all_rigs
from ..shop import Workshop, find_piece

State = Literal["grind", "spin", "again", "look", "passed", "stopped", "free", "new"]

STATES: dict[str, State] = {"grind": "grind", "prepare": "spin", "again": "again", "fix": "look"}
"""What the bench asks of the piece, as the state of its rig; what is done passed or was stopped."""


@dataclass(frozen=True)
class OnRig:
    """A rig and the piece on it.

    Attributes
    ----------
    serial, model, by : str
        Of the piece and who spun it last; empty on a free rig.
    run : int
    highest_g, limit_g : float or None
        Of its last run.
    cuts : tuple of (plane, angle_deg, clock, depth_mm)
        What is to be ground.
    curve : Curve or None
    """

    rig: str
    building: str
    state: State
    serial: str = ""
    model: str = ""
    by: str = ""
    run: int = 0
    highest_g: float | None = None
    limit_g: float | None = None
    cuts: tuple[tuple[str, float, str, float], ...] = ()
    clockwise: bool = True
    curve: Curve | None = None


def on_rigs(
    shop: Workshop, *, since: datetime, put: Mapping[str, str] | None = None
) -> list[OnRig]:
    """Return the high-speed rigs in order of their names; one not spun since then is free.

    Parameters
    ----------
    since : datetime
        With its zone: the morning.
    put : mapping of rig -> serial
        Rigs that are connected here, whether the ledger knows them or not, and what was put on each; a loose rotor
        counts as nothing.
    """
    found = []
    put = put or {}
    known = {
        name: r for name, r in all_rigs(shop).items() if r.kind == "high-speed rig" or name in put
    }
    for name, record in sorted(({name: RigRecord() for name in put} | known).items()):
        if put.get(name) and find_piece(shop, put[name]).kind != "rotor":
            found.append(_on_rig(shop, name, record.building, put[name]))
            continue
        last = shop.book.cartridges.newest_on(name, since=utc_text(since))
        if last is None:
            found.append(OnRig(name, record.building, "free"))
        else:
            (piece,) = shop.book.jobs.pieces_by_id([last])
            found.append(_on_rig(shop, name, record.building, piece.serial))
    return found


def _on_rig(shop: Workshop, rig: str, building: str, serial: str) -> OnRig:
    story = cartridge_story(shop, serial)
    last = story.last
    if last is None:
        return OnRig(rig, building, "new", serial, story.model.name)
    worst, curves, state = last.result.worst, past_runs(shop, story)[-1].curves, _state(story)
    rotation = story.model.rotation
    wanted = last.result.advice.wanted if state == "grind" else ()
    return OnRig(
        rig,
        building,
        state,
        serial,
        story.model.name,
        last.entry.by,
        last.number,
        worst.amplitude_g if worst else None,
        worst.limit_g if worst else None,
        tuple(
            (c.plane, c.angle_deg, clock_text(c.angle_deg, rotation), c.depth_mm) for c in wanted
        ),
        rotation == "clockwise",
        curves[0] if curves else None,
    )


def _state(story: CartridgeStory) -> State:
    assert story.last is not None
    done: State = "passed" if story.last.result.verdict == "pass" else "stopped"
    return STATES.get(next_question(story), done)
