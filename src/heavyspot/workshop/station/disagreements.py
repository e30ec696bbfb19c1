"""Where two buildings disagree: what is held, what clashes, and what a person decides."""

from __future__ import annotations

from dataclasses import dataclass

from ...ledger.exchange.conflicts import HeldPiece
from ...ledger.records import Clash, Station
from ..shop import Workshop


@dataclass(frozen=True)
class NamedClash:
    """A clash, and the serial or name of what it is about."""

    clash: Clash
    name: str


def held_pieces(shop: Workshop) -> list[HeldPiece]:
    """Return the pieces that wait for a decision, oldest first."""
    return shop.book.conflicts.pieces()


def open_clashes(shop: Workshop) -> list[NamedClash]:
    """Return the clashes nobody has settled yet, oldest first."""
    return [NamedClash(c, _name(shop, c)) for c in shop.book.exchange.clashes()]


def waiting_count(shop: Workshop) -> int:
    """Return how much waits for a person."""
    return len(shop.book.conflicts.pieces()) + len(shop.book.exchange.clashes())


def decide_held(
    shop: Workshop, store: str, piece_id: str, *, serial: str = "", by: str = "", why: str = ""
) -> str:
    """Let held entries of a piece in; returns its serial; raises as `Conflicts.decide` does."""
    return shop.book.conflicts.decide(store, piece_id, serial=serial, by=by, why=why)


def settle_clash(shop: Workshop, clash_id: str, *, by: str, why: str) -> None:
    """Say that a clash was looked at; raises `NotThere` when there is none."""
    shop.book.exchange.settle(clash_id, by=by, why=why)


def known_stations(shop: Workshop) -> list[Station]:
    """Return the stations that have not ended."""
    return shop.book.stations.all()


def _name(shop: Workshop, clash: Clash) -> str:
    if clash.kind in ("piece", "cut"):
        return next((p.serial for p in shop.book.jobs.pieces_by_id([clash.of])), "")
    if clash.kind == "job":
        job = shop.book.jobs.job(clash.of)
        return " ".join(w for w in (job.customer, job.invoice) if w) if job else ""
    return clash.of
