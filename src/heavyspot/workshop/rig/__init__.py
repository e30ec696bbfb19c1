"""Rigs: their sensors, their health, the simulated ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .measuring import Measuring, measuring_of
    from .record import (
        AnglesRecord,
        RigRecord,
        add_rig,
        all_rigs,
        find_rig,
        known_rig,
        parse_rig,
        rig_names,
    )
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "measuring": (
                "Measuring",
                "measuring_of",
            ),
            "record": (
                "AnglesRecord",
                "RigRecord",
                "add_rig",
                "all_rigs",
                "find_rig",
                "known_rig",
                "parse_rig",
                "rig_names",
            ),
        },
    )

__all__ = [
    "AnglesRecord",
    "Measuring",
    "RigRecord",
    "add_rig",
    "all_rigs",
    "find_rig",
    "known_rig",
    "measuring_of",
    "parse_rig",
    "rig_names",
]
