"""What is said of another serial that was scanned at the bench."""

from __future__ import annotations

from dataclasses import dataclass

from ....quantities.said import Said
from ....workshop.cartridge.story import CartridgeStory
from ....workshop.records import Piece
from ...formats import listed
from .seen import order_values


@dataclass(frozen=True)
class Scanned:
    """What the scanned piece is, what the one on the bench waits for, and the words of the two answers."""

    lines: tuple[Said, Said]
    about: tuple[Said, ...]
    change: Said


def scanned_view(
    serial: str, text: str, piece: Piece | None, story: CartridgeStory | None
) -> Scanned:
    """Return the question; `piece` is None where no book knows the serial."""
    about = [_known(text, piece) if piece else Said("bench.scanned.unknown", {"serial": text})]
    waits = _waits(serial, story)
    if waits:
        about.append(waits)
    about.append(Said("bench.scanned.nothing"))
    return Scanned(
        (
            Said("bench.scanned.say", {"serial": text}),
            Said("bench.scanned.still", {"serial": serial}),
        ),
        tuple(about),
        Said("bench.scanned.change" if piece else "bench.scanned.look_up", {"serial": text}),
    )


def _known(text: str, piece: Piece) -> Said:
    about = listed(piece.model, piece.customer, piece.invoice, piece.position)
    runs = float(piece.number or 0)
    return Said(
        "bench.scanned.known" if runs else "bench.scanned.not_spun",
        {"serial": text, "about": about, "runs": runs},
    )


def _waits(serial: str, story: CartridgeStory | None) -> Said | None:
    """What is asked for on the bench and not yet written down as done."""
    last = story.last if story else None
    if (
        story is None
        or last is None
        or not last.result.advice.cuts
        or story.made_after(last.number)
    ):
        return None
    cut = last.result.advice.cuts[0]
    return Said("bench.scanned.waits", {"serial": serial, **order_values(story.model, cut)})
