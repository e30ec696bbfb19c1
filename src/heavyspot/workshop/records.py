"""The ledger's values that the faces show; they take them from here and know no ledger."""

from __future__ import annotations

from ..ledger.find.search import Found
from ..ledger.records import Amendment, Clash, Content, Cut, Job, OnBothRigs, Piece, User, View

__all__ = [
    "Amendment",
    "Clash",
    "Content",
    "Cut",
    "Found",
    "Job",
    "OnBothRigs",
    "Piece",
    "User",
    "View",
]
