"""A second building: its exchange with the main house."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .disagreements import held_pieces, open_clashes
    from .line import refuse_clear, refused
    from .station import exchange, joined_of, line_of
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "disagreements": (
                "held_pieces",
                "open_clashes",
            ),
            "line": (
                "refuse_clear",
                "refused",
            ),
            "station": (
                "exchange",
                "joined_of",
                "line_of",
            ),
        },
    )

__all__ = [
    "exchange",
    "held_pieces",
    "joined_of",
    "line_of",
    "open_clashes",
    "refuse_clear",
    "refused",
]
