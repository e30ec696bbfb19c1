"""Models of cartridges: their files, and what other units of one teach."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .card import ResponseCard, UnitResponse, make_card
    from .model_file import FlowWindowFile, ModelFile, parse_model
    from .models import add_model, find_model, model_kind
    from .other_units import WITHDRAWN, Lesson, known_of, learnt_response, lessons_of
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "card": ("ResponseCard", "UnitResponse", "make_card"),
            "model_file": (
                "FlowWindowFile",
                "ModelFile",
                "parse_model",
            ),
            "models": (
                "add_model",
                "find_model",
                "learnt_response",
                "model_kind",
            ),
            "other_units": ("WITHDRAWN", "Lesson", "known_of", "learnt_response", "lessons_of"),
        },
    )

__all__ = [
    "WITHDRAWN",
    "FlowWindowFile",
    "Lesson",
    "ModelFile",
    "ResponseCard",
    "UnitResponse",
    "add_model",
    "find_model",
    "known_of",
    "learnt_response",
    "lessons_of",
    "make_card",
    "model_kind",
    "parse_model",
]
