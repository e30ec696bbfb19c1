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
        first_share_of(story),
    )


WHOLE = 0.98
"""Share of the speeds that a run has to cover to be what later ones are held against."""


def first_share_of(story: CartridgeStory) -> float:
    """Return the highest share of the limit in the first whole run that can be trusted; infinite without one."""
    shares = (
        run.result.worst.ratio
        for run in story.runs
        if run.result.worst and (run.result.covered or 0.0) >= WHOLE and not run.result.blocking
    )
    return next(shares, float("inf"))


def expected_of(story: CartridgeStory) -> Expected | None:
    """Return what the coming run is expected to stay under; None where nothing was foretold, or no more."""
    told = expected_run(story)
    if told is None:
        return None
    points = [(s, g) for s, g in zip(told.speed_rpm, told.high_g, strict=True) if g is not None]
    return Expected(tuple(s for s, _ in points), tuple(g for _, g in points)) if points else None
