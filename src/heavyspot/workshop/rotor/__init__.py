"""Rotors on the low-speed machines: measured, judged, corrected; the machines proved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .kept import KeptResidual, MadeCorrection, RotorReadingKept, reading_of, rotor_story
    from .measuring import measure_signals
    from .models import add_rotor_model
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "kept": (
                "KeptResidual",
                "MadeCorrection",
                "RotorReadingKept",
                "reading_of",
                "rotor_story",
            ),
            "measuring": ("measure_signals",),
            "models": ("add_rotor_model",),
        },
    )

__all__ = [
    "KeptResidual",
    "MadeCorrection",
    "RotorReadingKept",
    "add_rotor_model",
    "measure_signals",
    "reading_of",
    "rotor_story",
]
