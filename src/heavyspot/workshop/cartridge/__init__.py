"""Cartridges on the high-speed rig: a recording read, judged, advised on, learnt from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .curves_view import expected_run
    from .cut_scatter import angle_spread, share_spread
    from .past import SensedCurve, history_of, past_runs
    from .question import next_question
    from .spinning import spin
    from .story import CartridgeStory, cartridge_story
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "curves_view": ("expected_run",),
            "cut_scatter": (
                "angle_spread",
                "share_spread",
            ),
            "past": (
                "SensedCurve",
                "history_of",
                "past_runs",
            ),
            "question": ("next_question",),
            "spinning": ("spin",),
            "story": (
                "CartridgeStory",
                "cartridge_story",
            ),
        },
    )

__all__ = [
    "CartridgeStory",
    "SensedCurve",
    "angle_spread",
    "cartridge_story",
    "expected_run",
    "history_of",
    "next_question",
    "past_runs",
    "share_spread",
    "spin",
]
