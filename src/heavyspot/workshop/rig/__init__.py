"""Rigs: their sensors, their health, the simulated ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...quantities.lazy import lazy_names

if TYPE_CHECKING:
    from .checks import newest_study, shaker_checks
    from .record import RigRecord, add_rig, all_rigs, known_rig, parse_rig, rig_names
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "checks": (
                "newest_study",
                "shaker_checks",
            ),
            "record": (
                "RigRecord",
                "add_rig",
                "all_rigs",
                "known_rig",
                "parse_rig",
                "rig_names",
            ),
        },
    )

__all__ = [
    "RigRecord",
    "add_rig",
    "all_rigs",
    "known_rig",
    "newest_study",
    "parse_rig",
    "rig_names",
    "shaker_checks",
]
