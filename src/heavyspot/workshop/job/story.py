"""Everything that ever happened to a piece, in the order of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ...ledger.records import (
    Amendment,
    Answer,
    Content,
    Cut,
    Job,
    OldBookEntry,
    Piece,
    PieceEvent,
    RotorCorrection,
    Run,
    Sheet,
)
from ..flow import FlowTestKept, flow_tests_of_piece
from ..reading import result_of
from ..rotor import MadeCorrection, RotorReadingKept, reading_of
from ..shop import Workshop, find_piece
from ..stored import stored
from .build_record import Built
from .documents import Document, PartsList


@dataclass(frozen=True)
class Event:
    """One thing that happened.

    Attributes
    ----------
    at, by : str
    kind : str
        written, amended, build, signed, run, overruled, cut, looked, sheet, returned, claim, note, reading,
        corrected, old, parts, attached, flow.
    text : str
    number : int
        Of the run or reading; 0 for other kinds.
    verdict : str
    well : bool
        Whether nothing in it is outside what the model asks for.
    """

    at: str
    by: str
    kind: str
    text: str
    number: int = 0
    verdict: str = ""
    well: bool = True


def whole_story(shop: Workshop, serial: str) -> list[Event]:
    """Return what happened to a piece, oldest first; raises `NotThere` when there is no such piece."""
    return story_of_piece(shop, find_piece(shop, serial))


def story_of_piece(shop: Workshop, piece: Piece) -> list[Event]:
    """Return what happened to a piece that was looked up already, oldest first."""
    return sorted(_events(shop, piece), key=lambda e: e.at)


def _events(shop: Workshop, piece: Piece) -> Iterator[Event]:
    book = shop.book
    yield _written(piece, book.jobs.job(piece.job_id))
    yield from map(_amended, book.jobs.amendments(piece.id, piece.job_id))
    yield from map(_happened, book.events.of_piece(piece.id))
    yield from map(_from_old_book, book.old_book.of_piece(piece.id))
    if piece.kind == "rotor":
        yield from (_reading(reading_of(r)) for r in book.rotors.runs(piece.id))
        yield from map(_corrected, book.rotors.corrections(piece.id))
    else:
        for run in book.cartridges.runs(piece.id):
            yield from _run(run)
        yield from map(_cut, book.cartridges.cuts(piece.id, "made"))
        yield from map(_looked, book.cartridges.answers(piece.id))
    yield from map(_flow, flow_tests_of_piece(shop, piece.id))
    yield from map(_sheet, book.sheets.of_piece(piece.id))


def _written(piece: Piece, job: Job | None) -> Event:
    of = f" for {job.customer}" if job and job.customer else ""
    invoice = f", invoice {job.invoice}" if job and job.invoice else ""
    return Event(piece.at, piece.by, "written", f"{piece.model}{of}{invoice}")


def _amended(a: Amendment) -> Event:
    changed = ", ".join(f"{k} → {v or 'nothing'}" for k, v in a.content.items())
    return Event(a.at, a.by, "amended", f"{a.kind}: {changed} ({a.why})")


def _run(r: Run) -> Iterator[Event]:
    result = result_of(r)
    worst = result.worst
    text = f"{worst.amplitude_g:.2f} g at {worst.speed_rpm:,.0f} rpm" if worst else "no curve"
    text += f", {r.rig}" if r.rig else ""
    found = "; ".join(f.text for f in result.findings if f.severity != "note")
    verdict = "undecided" if result.overruled else r.verdict
    yield Event(r.at, r.by, "run", text + (f". {found}" if found else ""), r.number, verdict)
    if let := result.overruled:
        text = f"{let.why} (against: {let.finding})"
        yield Event(let.at, let.by, "overruled", text, r.number, r.verdict)


def _looked(a: Answer) -> Event:
    return Event(a.at, a.by, "looked", a.why or "the cut is there as written down", a.number)


def _cut(c: Cut) -> Event:
    text = f"{c.plane}, {c.depth_mm:.2f} mm at {c.angle_deg:.0f}°, {c.mass_mg:.0f} mg"
    return Event(c.at, c.by, "cut", text + (f" ({c.why})" if c.why else ""))


def _reading(r: RotorReadingKept) -> Event:
    ratios = ", ".join(f"{p.name} {p.ratio:.2f} of its limit" for p in r.reading.tolerance)
    return Event(r.entry.at, r.entry.by, "reading", ratios, r.number, r.entry.verdict)


def _corrected(c: RotorCorrection) -> Event:
    made = stored(MadeCorrection, c.content, what="A correction")
    way = "off" if made.way == "remove" else "added"
    text = f"{made.plane}, {made.amount_gmm:.3g} g·mm {way} at {made.angle_deg:.0f}°"
    return Event(c.at, c.by, "corrected", text)


def _flow(t: FlowTestKept) -> Event:
    told = [f"{w.name} {w.corrected:.4g} kg/s" for w in t.flow.windows if w.corrected is not None]
    housings = [f"with {t.flow.housings}"] if t.flow.housings else []
    text = ", ".join([*told, *housings, t.entry.rig])
    return Event(t.entry.at, t.entry.by, "flow", text, t.number, t.entry.verdict)


def _sheet(s: Sheet) -> Event:
    what = "flow test" if s.kind == "flow" else "run"
    why = f": {s.why}" if s.why else ""
    return Event(s.at, s.by, "sheet", f"{s.number}, of {what} {s.run_number}{why}")


def _happened(e: PieceEvent) -> Event:
    if e.kind == "build":
        built = stored(Built, e.content, what="A build record")
        return Event(e.at, e.by, e.kind, _build(built), well=all(m.inside for m in built.measured))
    return Event(e.at, e.by, e.kind, _WORDS.get(e.kind, _text)(e.content))


def _build(built: Built) -> str:
    text = "; ".join(("" if m.inside else "✗ ") + m.words() for m in built.measured)
    text += f"; nut {built.nut_torque_nm:g} Nm" if built.nut_torque_nm is not None else ""
    return text + (f"; gauge {built.gauge}" if built.gauge else "")


def _parts(content: Content) -> str:
    parts = stored(PartsList, content, what="A list of parts").parts
    return "; ".join(
        " ".join(w for w in (p.part, p.supplier, p.lot and f"lot {p.lot}") if w) for p in parts
    )


def _attached(content: Content) -> str:
    document = stored(Document, content, what="A document")
    return document.file + (f": {document.text}" if document.text else "")


def _text(content: Content) -> str:
    return str(content.get("text") or content.get("why", ""))


_WORDS = {"parts": _parts, "attached": _attached}
"""Kind of event to its words."""


@dataclass(frozen=True)
class OldTold:
    """What a row of the old book tells; `*_written` as it stood there, peaks in g."""

    file: str
    line: int
    customer: str = ""
    invoice: str = ""
    date: str = ""
    operator: str = ""
    rig: str = ""
    supplier: str = ""
    note: str = ""
    verdict: str = ""
    first_g: float | None = None
    last_g: float | None = None
    first_written: str = ""
    last_written: str = ""
    speed_rpm: float | None = None


def _from_old_book(r: OldBookEntry) -> Event:
    told = stored(OldTold, r.content, what="A row of the old book")
    peaks = [
        written or (f"{g:.2f} g" if g is not None else "")
        for written, g in ((told.first_written, told.first_g), (told.last_written, told.last_g))
    ]
    said = [
        " → ".join(p for p in peaks if p),
        f"to {told.speed_rpm:,.0f} rpm" if told.speed_rpm else "",
        told.customer,
        f"invoice {told.invoice}" if told.invoice else "",
        told.rig,
        told.supplier,
        told.note,
        f"({told.file}, line {told.line})",
    ]
    text = ", ".join(w for w in said if w)
    return Event(told.date or r.at, told.operator or r.by, "old", text, verdict=told.verdict)


def left_and_now(events: list[Event]) -> tuple[int, int] | None:
    """Return the run a piece left with and its newest one, when it came back and was spun again."""
    back = next((i for i, e in reversed(list(enumerate(events))) if e.kind == "returned"), None)
    if back is None:
        return None
    before = [e.number for e in events[:back] if e.kind == "run"]
    after = [e.number for e in events[back:] if e.kind == "run"]
    return (before[-1], after[-1]) if before and after else None
