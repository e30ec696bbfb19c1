"""Jobs with their pieces, and amendments: what an entry was stays in the ledger."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ...ledger.entries.job import JOB_FIELDS, PIECE_FIELDS
from ...ledger.records import Job
from ...quantities.checks import iso_date, one_line, serial_number
from ...quantities.errors import BadInput, NotThere
from ..model import find_model, model_kind
from ..shop import Workshop, find_piece
from .pieces import known_position


@dataclass(frozen=True)
class Member:
    """A piece of a job, as it is taken in."""

    serial: str
    model: str
    position: str = ""


def find_job(shop: Workshop, job_id: str) -> Job:
    """Return a job; raises `NotThere` when there is none."""
    found = shop.book.jobs.job(job_id)
    if found is None:
        raise NotThere("There is no job of that name.", remedy="Look in the day book.")
    return found


def add_job(
    shop: Workshop,
    members: list[Member],
    *,
    customer: str = "",
    invoice: str = "",
    due: str = "",
    note: str = "",
    by: str = "",
) -> str:
    """Add a job with its pieces, all or nothing; returns its id.

    Raises
    ------
    BadInput
        No piece, an empty or doubled serial, two pieces in one position, or a date that is none.
    LedgerFault
        No such model, or a serial is taken.
    """
    members = [
        Member(serial_number(m.serial), m.model, known_position(m.position))
        for m in members
        if m.serial.strip()
    ]
    if not members:
        raise BadInput("The job has no piece.", remedy="Type at least one serial.")
    for what, values in (
        ("serial", [m.serial for m in members]),
        ("position", [m.position for m in members if m.position]),
    ):
        twice = next((v for v in values if values.count(v) > 1), None)
        if twice is not None:
            raise BadInput(f'The {what} "{twice}" is there twice.', remedy="Give each its own.")
    for m in members:
        find_model(shop, m.model)
    job = Job(
        customer=one_line("customer", customer, most=200),
        invoice=one_line("invoice", invoice, most=80),
        note=note.strip(),
        due=iso_date("due", due),
        by=by,
    )
    return shop.book.jobs.add_job(job, [(m.serial, m.model, m.position) for m in members])


def amend_piece(
    shop: Workshop,
    serial: str,
    changes: dict[str, str],
    *,
    by: str,
    why: str,
    seen: str | None = None,
) -> str:
    """Amend a piece's serial, model or position; returns the serial it now has.

    Parameters
    ----------
    seen : str, optional
        Identifier of the last amendment that was looked at; empty: there was none.

    Raises
    ------
    BadInput
        No reason, nothing changed, an unknown field, an empty serial, or the model of a piece that
        has been spun: its runs were judged by that model.
    LedgerFault
        No such piece or model, the serial is taken, or somebody else amended it meanwhile.
    """
    piece = find_piece(shop, serial)
    changed = _changed(asdict(piece), changes, PIECE_FIELDS, why)
    if "serial" in changed:
        changed["serial"] = serial_number(changed["serial"])
    if "position" in changed:
        known_position(changed["position"])
    model = changed.get("model")
    if model is not None:
        if model_kind(shop, model) != piece.kind:
            raise BadInput(
                f'There is no such model "{model}" for this kind of piece.',
                remedy="Choose one of the same kind, or add it as a new piece.",
            )
        if piece.number:
            raise BadInput(
                f"{serial} has runs that were judged as {piece.model}.",
                remedy="Add it as a new piece of the right model, and spin it there.",
            )
    shop.book.jobs.amend_piece(piece.id, changed, by=by, why=why.strip(), seen=seen)
    return changed.get("serial", serial)


def amend_job(
    shop: Workshop,
    job_id: str,
    changes: dict[str, str],
    *,
    by: str,
    why: str,
    seen: str | None = None,
) -> None:
    """Amend a job's customer, invoice, due date or note; raises as `amend_piece` does."""
    job = find_job(shop, job_id)
    if "due" in changes:
        changes = changes | {"due": iso_date("due", changes["due"])}
    changed = _changed(asdict(job), changes, JOB_FIELDS, why)
    shop.book.jobs.amend_job(job_id, changed, by=by, why=why.strip(), seen=seen)


def _changed(
    now: dict[str, Any], changes: dict[str, str], known: tuple[str, ...], why: str
) -> dict[str, Any]:
    unknown = set(changes) - set(known)
    if unknown:
        raise BadInput(
            f"{sorted(unknown)[0]} cannot be amended.", remedy="Fields: " + ", ".join(known) + "."
        )
    changed = {k: v.strip() for k, v in changes.items() if v.strip() != (now[k] or "")}
    if not changed:
        raise BadInput("Nothing is different.", remedy="Change a field, or go back.")
    if not why.strip():
        raise BadInput("An amendment needs a reason.", remedy="Say why.")
    return changed
