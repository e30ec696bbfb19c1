"""Jobs with their pieces, and amendments: what an entry was stays in the ledger."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ...ledger.entries.job import JOB_FIELDS, PIECE_FIELDS
from ...ledger.records import Job
from ...quantities.checks import iso_date, one_line, serial_number
from ...quantities.errors import BadInput, NotThere
from ...quantities.said import Said
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
        raise NotThere(
            Said("refusal.there_is_no_job_of"), remedy=Said("remedy.look_in_the_day_book")
        )
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
        raise BadInput(
            Said("refusal.the_job_has_no_piece"), remedy=Said("remedy.type_at_least_one_serial")
        )
    for what, values in (
        ("serial", [m.serial for m in members]),
        ("position", [m.position for m in members if m.position]),
    ):
        twice = next((v for v in values if values.count(v) > 1), None)
        if twice is not None:
            raise BadInput(
                Said(
                    "refusal.the_is_there_twice",
                    {"what": Said(f"refused_noun.{what}"), "twice": twice},
                ),
                remedy=Said("remedy.give_each_its_own"),
            )
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
                Said("refusal.there_is_no_such_model", {"model": model}),
                remedy=Said("remedy.choose_one_of_the_same"),
            )
        if piece.number:
            raise BadInput(
                Said("refusal.has_runs_that_were_judged", {"serial": serial, "model": piece.model}),
                remedy=Said("remedy.add_it_as_a_new"),
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
            Said("refusal.cannot_be_amended", {"unknown": sorted(unknown)[0]}),
            remedy=Said("remedy.fields", {"known": ", ".join(known)}),
        )
    changed = {k: v.strip() for k, v in changes.items() if v.strip() != (now[k] or "")}
    if not changed:
        raise BadInput(
            Said("refusal.nothing_is_different"), remedy=Said("remedy.change_a_field_or_go")
        )
    if not why.strip():
        raise BadInput(Said("refusal.an_amendment_needs_a_reason"), remedy=Said("remedy.say_why"))
    return changed
