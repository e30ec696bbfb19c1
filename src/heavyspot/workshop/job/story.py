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
from ...quantities.finding import finding_said
from ...quantities.said import Said, Value, as_it_is, in_words_each
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
        corrected, old, parts, attached, flow, mailed.
    text : str
        In English, as it is read by programs.
    number : int
        Of the run or reading; 0 for other kinds.
    verdict : str
    well : bool
        Whether nothing in it is outside what the model asks for.
    said : tuple of Said
        The same as `text`, one after the other, for a person's language.
    """

    at: str
    by: str
    kind: str
    text: str
    number: int = 0
    verdict: str = ""
    well: bool = True
    said: tuple[Said, ...] = ()

    def words(self, language: str) -> str:
        """Return what happened in a language."""
        return in_words_each(self.said, ", ", language) if self.said else self.text


def _event(
    at: str,
    by: str,
    kind: str,
    *said: Said | None,
    number: int = 0,
    verdict: str = "",
    well: bool = True,
) -> Event:
    there = tuple(s for s in said if s is not None)
    return Event(at, by, kind, in_words_each(there, ", "), number, verdict, well, there)


def _own(text: str) -> Said | None:
    """Words of the shop's own: a name, a reason; None where there are none."""
    return as_it_is(text) if text else None


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
    customer = Said("story_text.for", {"customer": job.customer}) if job and job.customer else None
    invoice = _invoice(job.invoice if job else "")
    return _event(piece.at, piece.by, "written", _own(piece.model), customer, invoice)


def _invoice(invoice: str) -> Said | None:
    return Said("story_text.invoice", {"invoice": invoice}) if invoice else None


def _amended(a: Amendment) -> Event:
    nothing = Said("story_text.nothing")
    changed = [
        Said("story_text.changed", {"name": str(k), "value": as_it_is(str(v)) if v else nothing})
        for k, v in a.content.items()
    ]
    return _event(a.at, a.by, "amended", *changed, _own(f"({a.why})" if a.why else ""))


def _run(r: Run) -> Iterator[Event]:
    result = result_of(r)
    worst = result.worst
    highest = Said("story_text.no_curve")
    if worst:
        at: dict[str, Value] = {"amplitude_g": worst.amplitude_g, "speed_rpm": worst.speed_rpm}
        highest = Said("story_text.highest", at)
    told = (f for f in result.findings if f.severity != "note" or f.code.startswith("table."))
    found = [finding_said(f) for f in told]
    verdict = "undecided" if result.overruled else r.verdict
    yield _event(r.at, r.by, "run", highest, _own(r.rig), *found, number=r.number, verdict=verdict)
    if let := result.overruled:
        against = Said("story_text.against", {"why": let.why, "finding": let.finding})
        yield _event(let.at, let.by, "overruled", against, number=r.number, verdict=r.verdict)


def _looked(a: Answer) -> Event:
    said = as_it_is(a.why) if a.why else Said("story_text.as_written")
    return _event(a.at, a.by, "looked", said, number=a.number)


def _cut(c: Cut) -> Event:
    made: dict[str, Value] = {
        "plane": c.plane,
        "depth_mm": c.depth_mm,
        "angle_deg": c.angle_deg,
        "mass_mg": c.mass_mg,
    }
    return _event(
        c.at, c.by, "cut", Said("story_text.cut", made), _own(f"({c.why})" if c.why else "")
    )


def _reading(r: RotorReadingKept) -> Event:
    ratios = [
        Said("story_text.of_limit", {"plane": p.name, "ratio": p.ratio})
        for p in r.reading.tolerance
    ]
    return _event(
        r.entry.at, r.entry.by, "reading", *ratios, number=r.number, verdict=r.entry.verdict
    )


def _corrected(c: RotorCorrection) -> Event:
    made = stored(MadeCorrection, c.content, what="A correction")
    values: dict[str, Value] = {
        "plane": made.plane,
        "amount_gmm": made.amount_gmm,
        "angle_deg": made.angle_deg,
    }
    return _event(
        c.at,
        c.by,
        "corrected",
        Said("story_text.off" if made.way == "remove" else "story_text.added", values),
    )


def _flow(t: FlowTestKept) -> Event:
    told = [
        Said("story_text.window", {"name": w.name, "flow": w.corrected})
        for w in t.flow.windows
        if w.corrected is not None
    ]
    housings = Said("story_text.with", {"what": t.flow.housings}) if t.flow.housings else None
    return _event(
        t.entry.at, t.entry.by, "flow", *told, housings, _own(t.entry.rig),
        number=t.number, verdict=t.entry.verdict,
    )  # fmt: skip


def _sheet(s: Sheet) -> Event:
    of = Said(
        "story_text.of_test" if s.kind == "flow" else "story_text.of_run",
        {"number": s.number, "run": str(s.run_number)},
    )
    return _event(s.at, s.by, "sheet", of, _own(s.why))


def _happened(e: PieceEvent) -> Event:
    if e.kind == "build":
        built = stored(Built, e.content, what="A build record")
        return Event(e.at, e.by, e.kind, _build(built), well=all(m.inside for m in built.measured))
    if e.kind == "mailed":
        sent = Said(
            "story_text.mailed",
            {"number": str(e.content.get("number", "")), "to": str(e.content.get("to", ""))},
        )
        return _event(e.at, e.by, e.kind, sent, _own(str(e.content.get("answer", ""))))
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
    line = {"file": told.file, "line": str(told.line)}
    to = Said("story_text.to_speed", {"speed_rpm": told.speed_rpm}) if told.speed_rpm else None
    return _event(
        told.date or r.at, told.operator or r.by, "old", _own(" → ".join(p for p in peaks if p)), to,
        _own(told.customer), _invoice(told.invoice), _own(told.rig), _own(told.supplier), _own(told.note),
        Said("story_text.line", line), verdict=told.verdict,
    )  # fmt: skip


def left_and_now(events: list[Event]) -> tuple[int, int] | None:
    """Return the run a piece left with and its newest one, when it came back and was spun again."""
    back = next((i for i, e in reversed(list(enumerate(events))) if e.kind == "returned"), None)
    if back is None:
        return None
    before = [e.number for e in events[:back] if e.kind == "run"]
    after = [e.number for e in events[back:] if e.kind == "run"]
    return (before[-1], after[-1]) if before and after else None
