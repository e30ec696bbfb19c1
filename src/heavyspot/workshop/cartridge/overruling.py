"""An inspector lets a verdict stand that a finding made undecided, with a reason that is printed."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ...ledger.records import Overruling
from ...quantities.errors import BadInput
from ...quantities.said import Said
from ..shop import Workshop
from .story import cartridge_story


@dataclass(frozen=True)
class Overruled:
    """What stands now, and against what."""

    serial: str
    number: int
    verdict: str
    finding: str
    why: str
    by: str

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON-ready values."""
        return asdict(self)


def overrule(shop: Workshop, serial: str, *, why: str, by: str = "") -> Overruled:
    """Let what the curve of a piece's last run says stand, against the finding that blocks it.

    The run and its finding stay as they are; the entry says who overruled it and why, and the sheet prints that.

    Raises
    ------
    NotThere
        No such piece.
    BadInput
        No reason, no run, nothing that could be judged, or nothing to overrule.
    """
    story = cartridge_story(shop, serial)
    why = why.strip()
    if not why:
        raise BadInput(
            Said("refusal.an_overruling_needs_a_reason"),
            remedy=Said("remedy.say_why_the_finding_does"),
        )
    last = story.last
    if last is None or not last.result.blocking or last.result.overruled:
        raise BadInput(
            Said("refusal.nothing_stands_against_the_last", {"serial": serial}),
            remedy=Said("remedy.look_it_up_with_show"),
        )
    measured = last.result.measured
    if not measured:
        raise BadInput(
            Said("refusal.the_last_run_gave_no"),
            remedy=Said("remedy.mend_what_is_said_and"),
        )
    finding = " ".join(f.text for f in last.result.blocking)[:400]
    shop.book.overrulings.add(
        Overruling(
            piece_id=story.piece.id,
            run_id=last.entry.id,
            number=last.number,
            verdict=measured,
            finding=finding,
            by=by,
            why=why,
        )
    )
    return Overruled(serial, last.number, measured, finding, why, by)
