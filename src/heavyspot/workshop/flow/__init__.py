"""Flow tests of pieces, and what a flow bench measures with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .kept import FlowTestKept, KeptStop, flow_tests_of_piece
    from .testing import COVERAGE_K
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "kept": (
                "FlowTestKept",
                "KeptStop",
                "flow_tests_of_piece",
            ),
            "testing": ("COVERAGE_K",),
        },
    )

__all__ = [
    "COVERAGE_K",
    "FlowTestKept",
    "KeptStop",
    "flow_tests_of_piece",
]
