"""A cartridge looked up once: the piece, its model, its runs without their curves, its cuts."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

from ...ledger.records import Cut, Piece, Run
from ..model import ModelFile, find_model
from ..reading import KeptConditions, KeptResult, conditions_of, result_of
from ..shop import Workshop, find_piece


@dataclass(frozen=True)
class KeptRun:
    """A run of the ledger with what it said."""

    entry: Run
    result: KeptResult

    @cached_property
    def conditions(self) -> KeptConditions:
        """The conditions it was measured under."""
        return conditions_of(self.entry)

    @property
    def number(self) -> int:
        """1 for the first run of the piece."""
        return self.entry.number

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values."""
        entry = self.entry
        about = {"run": entry.id, "number": entry.number, "at": entry.at, "by": entry.by}
        about |= {"rig": entry.rig, "recording": entry.recording}
        return {**about, **entry.result}


@dataclass(frozen=True)
class CartridgeStory:
    """A cartridge, looked up once and passed down.

    Attributes
    ----------
    runs : tuple of KeptRun
        In order.
    cuts : tuple of Cut
        Asked and made, in order, without those amended or never made.
    """

    piece: Piece
    model: ModelFile
    runs: tuple[KeptRun, ...]
    cuts: tuple[Cut, ...]

    @property
    def number(self) -> int:
        """How many runs there are."""
        return len(self.runs)

    @property
    def last(self) -> KeptRun | None:
        """The newest run, or None."""
        return self.runs[-1] if self.runs else None

    @property
    def made(self) -> tuple[Cut, ...]:
        """The cuts really made."""
        return tuple(c for c in self.cuts if c.kind == "made")

    @property
    def looked(self) -> frozenset[str]:
        """Identifiers of the cuts that somebody looked at since."""
        return frozenset(c for r in self.runs for c in r.result.looked)

    @property
    def knowingly(self) -> frozenset[str]:
        """Of those in spite of which the work goes on knowingly."""
        return frozenset(c for r in self.runs for c in r.result.knowingly)

    @property
    def asked(self) -> tuple[Cut, ...]:
        """The cuts advised."""
        return tuple(c for c in self.cuts if c.kind == "asked")

    def made_after(self, number: int) -> tuple[Cut, ...]:
        """Return the cuts made between a run and the next one."""
        return tuple(c for c in self.made if c.after_run == number)

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values (a contract: docs/reference/cli.md)."""
        keys = ("serial", "model", "customer", "invoice", "position", "at")
        return {
            **{k: v for k, v in asdict(self.piece).items() if k in keys},
            "runs": [r.as_json() for r in self.runs],
            "cuts_made": [asdict(c) for c in self.made],
            "cuts_asked": [asdict(c) for c in self.asked],
        }


def cartridge_story(shop: Workshop, serial: str) -> CartridgeStory:
    """Return a cartridge with its model, runs and cuts.

    Raises
    ------
    NotThere
        No such piece, or its model is not in the ledger.
    BadInput
        The piece is no cartridge.
    """
    return story_of(shop, find_piece(shop, serial))


def story_of(shop: Workshop, piece: Piece) -> CartridgeStory:
    """Return the story of a piece that was looked up already; raises as `cartridge_story` does."""
    runs = shop.book.cartridges.runs(piece.id)
    return CartridgeStory(
        piece,
        find_model(shop, piece.model),
        tuple(KeptRun(r, result_of(r)) for r in runs),
        tuple(shop.book.cartridges.all_cuts(piece.id)),
    )
