"""Rotors, machines and proposals looked up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ...ledger.records import Content, Matching, Piece
from ...quantities.errors import NotThere
from ...quantities.said import Said
from ..rig import all_rigs
from ..shop import Workshop

LOW_SPEED = "low-speed rotor machine"


@dataclass(frozen=True)
class ProofKept:
    """The newest proof of a kind of a machine, its planes as they were judged."""

    kind: str
    at: str
    by: str
    content: Content

    @property
    def passed(self) -> bool:
        """Whether every plane passed."""
        return bool(self.content.get("passed"))

    @property
    def due(self) -> str:
        """Until when it holds."""
        return str(self.content.get("due", ""))

    @property
    def planes(self) -> dict[str, dict[str, Any]]:
        """Plane to what was judged there."""
        return dict(self.content.get("planes", {}))

    def as_json(self) -> dict[str, Any]:
        """Return it as one JSON-ready value."""
        return {"kind": self.kind, "at": self.at, **self.content}


def rotor_names(shop: Workshop) -> list[str]:
    """Return the names of all kinds of rotor."""
    return shop.book.models.names("rotor")


def newest_rotors(shop: Workshop, most: int = 60) -> list[Piece]:
    """Return the newest rotors, newest first, however many cartridges came since."""
    return shop.book.jobs.pieces(kind="rotor", most=most)[::-1]


def machine_names(shop: Workshop) -> list[str]:
    """Return the names of the low-speed machines."""
    return [n for n, record in all_rigs(shop).items() if record.kind == LOW_SPEED]


def proofs_of(shop: Workshop, rig: str) -> list[ProofKept]:
    """Return the newest proof of each kind of a machine."""
    return [ProofKept(p.of, p.at, p.by, p.content) for p in shop.book.rotors.proofs(rig)]


def find_matching(shop: Workshop, id_: str) -> Matching:
    """Return a proposal; raises `NotThere` when there is none."""
    found = shop.book.rotors.matching(id_)
    if found is None:
        raise NotThere(
            Said("refusal.there_is_no_such_proposal"), remedy=Said("remedy.ask_for_the_newest_ones")
        )
    return found


def newest_matchings(shop: Workshop, most: int = 20) -> list[Matching]:
    """Return the newest proposals, newest first."""
    return shop.book.rotors.newest_matchings(most)
