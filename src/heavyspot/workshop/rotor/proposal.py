"""A proposal of which parts to put together, as it is kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ...ledger.records import Matching
from ..shop import Workshop
from ..stored import stored
from .machines import find_matching


@dataclass(frozen=True)
class Assembly:
    """One assembly: a part of each kind, how each is turned, and what should stay."""

    parts: dict[str, str]
    turned_deg: dict[str, float]
    residual_gmm: float
    angle_deg: float


@dataclass(frozen=True)
class Proposal:
    """Which parts to put together.

    Attributes
    ----------
    total_gmm, bound_gmm, as_they_come_gmm : float
        What stays in all; what no choice can go below; what would stay with the parts as they come.
    """

    kinds: tuple[str, ...]
    steps_deg: dict[str, float]
    total_gmm: float
    bound_gmm: float
    as_they_come_gmm: float
    assemblies: tuple[Assembly, ...]


@dataclass(frozen=True)
class Matched:
    """A proposal; `id` is empty when it was not kept."""

    proposal: Proposal
    id: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values."""
        return {**asdict(self.proposal), **({"id": self.id} if self.id else {})}


def kept_proposal(shop: Workshop, id_: str) -> tuple[Matching, Proposal]:
    """Return a proposal of the ledger; raises `NotThere` when there is none."""
    entry = find_matching(shop, id_)
    return entry, stored(Proposal, entry.content, what="The proposal")
