"""What needs a person: few things, the most harmful first, each with the one place where it is put right.

A line goes when its cause is gone, never by being dismissed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal

from ...quantities.clock import utc_text
from ...quantities.said import Said, Value, as_it_is
from ..cartridge import cartridge_story
from ..keep.retention import little_room
from ..rig import all_rigs
from ..rig.checks import shaker_checks_of
from ..rig.health import master_state
from ..shop import Workshop
from ..station import held_pieces, open_clashes

SOON = timedelta(days=14)
"""So long before a calibration ends it is said (common practice, no source)."""

CLAIM_DAYS = 60
"""So long a claim nobody has answered stays in view."""


@dataclass(frozen=True)
class Need:
    """One thing.

    Attributes
    ----------
    sort : str
        ``wrong``: judgements or records may be; ``person``: somebody has to say; ``date``: it comes.
    what, about : str
    place, verb : str
        Where it is put right, and what is done there.
    """

    sort: Literal["wrong", "person", "date"]
    what: Said
    about: Said
    place: str
    verb: Said


def needs_of(shop: Workshop, *, now: datetime | None = None) -> list[Need]:
    """Return what needs a person, the most harmful first."""
    now = now or datetime.now(UTC)
    rigs = _rigs(shop, now)
    return [
        *(n for n in rigs if n.sort == "wrong"),
        *_between_buildings(shop),
        *_doubts(shop, now),
        *_claims(shop, now),
        *(n for n in rigs if n.sort == "date"),
        *_disk(shop),
    ]


def _rigs(shop: Workshop, now: datetime) -> list[Need]:
    found = []
    for name, record in sorted(all_rigs(shop).items()):
        place = f"/rigs/{name}"
        shakers = shaker_checks_of(shop, name)
        if shakers and not shakers[-1].check.good:
            off: dict[str, Value] = {"rig": name, "off_share": shakers[-1].check.deviation}
            found.append(
                Need(
                    "wrong",
                    Said("need.shaker", off),
                    Said("need.on_day", {"day": shakers[-1].at[:10]}),
                    place,
                    Said("need.find_out"),
                )
            )
        master = master_state(shop, name)
        if master is not None and master.outside:
            found.append(
                Need(
                    "wrong",
                    Said("need.reads_other", {"rig": name}),
                    Said("need.since", {"day": master.outside[:10], "serial": master.serial}),
                    place,
                    Said("need.look_rig"),
                )
            )
        elif master is not None and not master.fresh(now):
            found.append(
                Need(
                    "date",
                    Said("need.spin_master", {"rig": name}),
                    _last_of(master.serial, master.last),
                    f"/bench/{master.serial}",
                    Said("need.to_bench"),
                )
            )
        due = record.next_due()
        if due and date.fromisoformat(due) - now.date() <= SOON:
            found.append(
                Need(
                    "date",
                    Said("need.calibration", {"rig": name}),
                    _until(due, now.date()),
                    place,
                    Said("need.renew"),
                )
            )
    return found


def _last_of(serial: str, last: str) -> Said:
    if not last:
        return Said("need.last_never", {"serial": serial})
    return Said("need.last_on", {"serial": serial, "day": last[:10]})


def _until(due: str, today: date) -> Said:
    days = (date.fromisoformat(due) - today).days
    if days < 0:
        return Said("need.was_due", {"day": due})
    if days < 2:
        return Said("need.ends_tomorrow" if days else "need.ends_today")
    return Said("need.ends_in", {"days": float(days)})


def _between_buildings(shop: Workshop) -> list[Need]:
    found = [
        Need(
            "wrong",
            Said("need.disagree"),
            Said("need.about", {"name": c.name}),
            "/buildings",
            Said("need.say_which"),
        )
        for c in open_clashes(shop)
    ]
    held = held_pieces(shop)
    if held:
        found.append(
            Need(
                "wrong",
                Said("need.held"),
                Said("need.pieces", {"pieces": float(len(held))}),
                "/buildings",
                Said("need.look_them"),
            )
        )
    return found


def _doubts(shop: Workshop, now: datetime) -> list[Need]:
    """Pieces spun this week on which nothing more is ground until somebody has looked."""
    found = []
    ids = shop.book.cartridges.spun_since(utc_text(now - timedelta(days=7)))
    for piece in shop.book.jobs.pieces_by_id(ids):
        last = cartridge_story(shop, piece.serial).last
        if last is not None and last.result.advice.action == "fix" and piece.verdict != "pass":
            found.append(
                Need(
                    "person",
                    Said("need.doubt", {"serial": piece.serial}),
                    as_it_is(piece.customer),
                    f"/bench/{piece.serial}",
                    Said("need.look_it"),
                )
            )
    return found


def _claims(shop: Workshop, now: datetime) -> list[Need]:
    """Claims after which nothing was written of the piece: no run, no note."""
    found = []
    since = utc_text(now - timedelta(days=CLAIM_DAYS))
    for claim in shop.book.events.newest("claim", since=since):
        (piece,) = shop.book.jobs.pieces_by_id([claim.piece_id])
        later = [
            e for e in shop.book.events.of_piece(piece.id) if e.id > claim.id and e.kind == "note"
        ]
        if not later and piece.id not in shop.book.cartridges.spun_since(claim.at):
            about = ", ".join(w for w in (piece.serial, piece.customer) if w)
            text = str(claim.content.get("text", ""))
            found.append(
                Need(
                    "person",
                    Said("need.claim", {"text": text}),
                    as_it_is(about),
                    f"/pieces/{piece.serial}",
                    Said("need.look_it"),
                )
            )
    return found


def _disk(shop: Workshop) -> list[Need]:
    words = little_room(shop.folder)
    return (
        [Need("date", Said("need.disk"), as_it_is(words), "/ledger", Said("need.make_room"))]
        if words
        else []
    )
