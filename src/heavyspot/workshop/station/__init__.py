"""A second building: its exchange with the main house."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...quantities.lazy import lazy_names

if TYPE_CHECKING:
    from .station import exchange, joined_of, line_of
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "station": (
                "exchange",
                "joined_of",
                "line_of",
            ),
        },
    )

__all__ = [
    "exchange",
    "joined_of",
    "line_of",
]
