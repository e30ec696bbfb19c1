"""What other programs are told: a verdict, the findings behind it, what an inspector let stand."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from ...ledger.find.news import New
from ...ledger.records import Entry, Piece
from ...quantities.errors import NotThere
from ...quantities.finding import Finding
from ..reading import result_of
from ..rig.simulated import is_simulated
from ..shop import Workshop

E = TypeVar("E", bound=Entry)

PRACTICE = "practice."
"""Before the type of an event that tells of no measurement: who passes over the body is not misled either."""

KIND = {
    "runs": "cartridge",
    "rotor_runs": "rotor",
    "flow_tests": "flow",
    "overrulings": "cartridge",
}


@dataclass(frozen=True)
class Event:
    """One thing to tell.

    Attributes
    ----------
    event : str
        As a hook asks for it: verdict, finding or overruled.
    key : str
        The same for the same thing, whenever it is made.
    at : str
        When it was written, UTC.
    """

    event: str
    key: str
    at: str
    body: str


def events_of(shop: Workshop, new: New) -> Iterator[Event]:
    """Yield what an entry is worth telling; nothing of a piece that has no line in the index."""
    piece = next(iter(shop.book.jobs.pieces_by_id([new.piece_id])), None)
    if piece is None:
        return
    if new.table == "runs":
        yield from _of_run(shop, piece, new)
    elif new.table == "rotor_runs":
        run = _one(shop.book.rotors.runs(piece.id), new.entry_id)
        about = {"run": run.id, "number": run.number, "by": run.by, "rig": run.rig}
        more = {"verdict": run.verdict, "ratio": run.worst_ratio}
        yield _event(shop, "verdict", new, piece, run.at, run.rig, about | more)
    elif new.table == "flow_tests":
        test = _one(shop.book.flow.of_piece(piece.id), new.entry_id)
        about = {"run": test.id, "by": test.by, "rig": test.rig, "verdict": test.verdict}
        yield _event(shop, "verdict", new, piece, test.at, test.rig, about)
    else:
        one = _one(shop.book.overrulings.of_piece(piece.id), new.entry_id)
        about = {
            "run": one.run_id,
            "number": one.number,
            "by": one.by,
            "verdict": one.verdict,
            "why": one.why,
        }
        rig = _one(shop.book.cartridges.runs(piece.id), one.run_id).rig
        yield _event(shop, "overruled", new, piece, one.at, rig, about)


def _of_run(shop: Workshop, piece: Piece, new: New) -> Iterator[Event]:
    run = _one(shop.book.cartridges.runs(piece.id), new.entry_id)
    result = result_of(run)
    about: dict[str, object] = {"run": run.id, "number": run.number, "by": run.by, "rig": run.rig}
    verdict = {
        "verdict": run.verdict, "ratio": run.worst_ratio, "margin": result.margin, "reason": result.reason,
        "action": result.advice.action,
    }  # fmt: skip
    findings = [_finding(f) for f in result.findings]
    yield _event(
        shop, "verdict", new, piece, run.at, run.rig, about | verdict | {"findings": findings}
    )
    grave = [_finding(f) for f in result.findings if f.severity != "note"]
    if grave:
        yield _event(shop, "finding", new, piece, run.at, run.rig, about | {"findings": grave})


def _one(entries: Sequence[E], id_: str) -> E:
    found = next((e for e in entries if e.id == id_), None)
    if found is None:
        raise NotThere(f"{id_} is not among its piece's entries.", remedy="heavyspot verify.")
    return found


def _finding(finding: Finding) -> dict[str, object]:
    return {
        "code": finding.code, "severity": finding.severity, "text": finding.text, "do": finding.do,
    }  # fmt: skip


def _event(
    shop: Workshop,
    event: str,
    new: New,
    piece: Piece,
    at: str,
    rig: str,
    about: Mapping[str, object],
) -> Event:
    """Return an event; the customer's name is nobody's business and stays here."""
    made_up = is_simulated(shop, rig)
    data = {
        "serial": piece.serial,
        "model": piece.model,
        "job": piece.job_id,
        "simulated": made_up,
        **about,
    }
    kind = f"{PRACTICE if made_up else ''}{KIND[new.table]}.{event}"
    body = {"type": kind, "timestamp": at, "data": data}
    return Event(
        event, f"{event}_{new.entry_id}", at, json.dumps(body, ensure_ascii=False, allow_nan=False)
    )
