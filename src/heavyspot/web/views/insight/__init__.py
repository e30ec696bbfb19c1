"""How the shop does, in pictures: what each says, its marks, and where they lead."""

from .overview import (
    Panel,
    band_words,
    behind,
    claims_panel,
    first_spin_panel,
    hands_panel,
    limits_panel,
    runs_panel,
    suppliers_panel,
)
from .taught import gains_panels
from .told import advice_panel, claims_panels, group_panel, limits_panels, suppliers_panels

__all__ = [
    "Panel",
    "advice_panel",
    "band_words",
    "behind",
    "claims_panel",
    "claims_panels",
    "first_spin_panel",
    "gains_panels",
    "group_panel",
    "hands_panel",
    "limits_panel",
    "limits_panels",
    "runs_panel",
    "suppliers_panel",
    "suppliers_panels",
]
