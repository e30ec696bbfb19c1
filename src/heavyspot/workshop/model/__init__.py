"""Models of cartridges: their files, and what other units of one teach."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .model_file import FlowWindowFile, ModelFile, parse_model
    from .models import add_model, find_model, model_kind
    from .other_units import WITHDRAWN, known_of, learnt_response
else:
    __getattr__ = lazy_names(
        __name__,
        {
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
            "other_units": ("WITHDRAWN", "known_of", "learnt_response"),
        },
    )

__all__ = [
    "WITHDRAWN",
    "FlowWindowFile",
    "ModelFile",
    "add_model",
    "find_model",
    "known_of",
    "learnt_response",
    "model_kind",
    "parse_model",
]
