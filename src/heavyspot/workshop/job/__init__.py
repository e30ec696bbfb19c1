"""Jobs and their pieces: amended, built, documented, and everything that happened to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .build_record import BuildState, build_state_of, refuse_unbuilt
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "build_record": (
                "BuildState",
                "build_state_of",
                "refuse_unbuilt",
            ),
        },
    )

__all__ = [
    "BuildState",
    "build_state_of",
    "refuse_unbuilt",
]
