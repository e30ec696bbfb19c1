"""A job and its pieces as their templates show them."""

from __future__ import annotations

from dataclasses import dataclass

from ...workshop.cartridge.story import CartridgeStory
from ...workshop.records import Piece
from ..formats import counted, fixed, grouped
from ..speaking import told

NOT_SPUN = "not spun"


@dataclass(frozen=True)
class MemberView:
    """One piece of a job.

    Attributes
    ----------
    place, place_words : str
        Where it is worked on, quoted, and what that is called.
    done : str
        Its model, what was done to it, and where it stands.
    has_sheet : bool
        Whether there is anything a sheet could show.
    """

    serial: str
    position: str
    verdict: str
    place: str
    place_words: str
    done: str
    has_sheet: bool


def member_view(piece: Piece, story: CartridgeStory | None, *, serial_in_path: str) -> MemberView:
    """Return a piece of a job as its page shows it; a rotor has no story here."""
    rotor = piece.kind == "rotor"
    room, words = ("rotor", told("member.machine")) if rotor else ("bench", told("word.bench"))
    return MemberView(
        piece.serial,
        piece.position,
        piece.verdict or "",
        f"/{room}/{serial_in_path}",
        words,
        _done(piece.model, story),
        bool(piece.number),
    )


def _done(model: str, story: CartridgeStory | None) -> str:
    if story is None or story.last is None:
        return model
    worst = story.last.result.worst
    at = worst and told(
        "member.at", amplitude=fixed(worst.amplitude_g), speed=grouped(worst.speed_rpm)
    )
    done = f"{model}, {counted(story.runs, 'run')}, {counted(story.made, 'cut')}"
    return f"{done}; {at}" if at else done
