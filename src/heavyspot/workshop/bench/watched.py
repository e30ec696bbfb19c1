"""What a piece's coming spin is watched against: its limit, its rated speed, what was foretold."""

from __future__ import annotations

from ..cartridge import CartridgeStory, cartridge_story, expected_run
from ..shop import Workshop, find_piece
from .foresee import foreseer_of
from .watch import Expected, Watch


def watch_of(shop: Workshop, serial: str, rig: str = "") -> Watch | None:
    """Return who watches a cartridge's spin on a rig; a loose rotor turns slowly and has no such limit."""
    if find_piece(shop, serial).kind == "rotor":
        return None
    story = cartridge_story(shop, serial)
    model = story.model
    sensor = story.last.result.sensor if story.last else ""
    return Watch(
        model.house_limit(sensor),
        model.from_rpm,
        model.rated_speed_rpm,
        expected_of(story),
        foreseer_of(shop, story, rig),
    )


def expected_of(story: CartridgeStory) -> Expected | None:
    """Return what the coming run is expected to stay under; None where nothing was foretold, or no more."""
    told = expected_run(story)
    if told is None:
        return None
    points = [(s, g) for s, g in zip(told.speed_rpm, told.high_g, strict=True) if g is not None]
    return Expected(tuple(s for s, _ in points), tuple(g for _, g in points)) if points else None
