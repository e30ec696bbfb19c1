"""The day book: pieces and jobs, made and amended."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import HeavyspotError
from ...sheet.plots import ON_PAGE, runs_svg
from ...workshop.cartridge.curves_view import curves_view
from ...workshop.job.editing import POSITIONS, Member, add_job, amend_job, amend_piece, find_job
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import Shop, TheBench
from ..files import Language, job_sheets_answer, label_answer
from ..page import Text, goto, page
from ..tables_out import MOST_ROWS, pieces_as

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])
ROWS = 4
SHOWN = 60


@router.get("/")
def home(request: Request, shop: Shop, bench: TheBench) -> Response:
    """The day's pieces, and the box that takes a scan."""
    spinning = bench.capture.about["serial"] if bench.capture else None
    rows = list(reversed(shop.book.pieces(most=SHOWN)))
    return page(request, "home.html", {"pieces": rows, "spinning": spinning})


@router.get("/find")
def find(request: Request, shop: Shop, q: str = "") -> Response:
    """Where what was scanned or typed leads: a serial to its bench, other words to what holds them."""
    typed = q.strip()
    if typed and shop.book.piece(typed):
        return goto("/bench", typed)
    found: dict[str, Any] = _found(shop, typed) if typed else {"pieces": [], "exact": True}
    if found["pieces"] and found["exact"]:
        return page(request, "search.html", found)
    alike = found["pieces"][:5]
    return page(request, "new_piece.html", _form(shop, {"serial": typed}) | {"alike": alike})


@router.get("/pieces")
def new_piece(request: Request, shop: Shop, serial: str = "") -> Response:
    """The form for a new piece."""
    return page(request, "new_piece.html", _form(shop, {"serial": serial.strip()}))


@router.get("/search/rows")
def search_rows(request: Request, shop: Shop, q: str = "") -> Response:
    """The rows alone, as one types."""
    return page(request, "search_rows.html", _found(shop, q))


@router.get("/search.csv")
def search_csv(shop: Shop, who: Who, q: str = "") -> Response:
    """What was found as text for other programs."""
    return _table(shop, who.name, q, "csv")


@router.get("/search.xlsx")
def search_xlsx(shop: Shop, who: Who, q: str = "") -> Response:
    """What was found as a workbook."""
    return _table(shop, who.name, q, "xlsx")


@router.get("/search.parquet")
def search_parquet(shop: Shop, who: Who, q: str = "") -> Response:
    """What was found as typed columns."""
    return _table(shop, who.name, q, "parquet")


def _table(shop: Workshop, by: str, q: str, kind: str) -> Response:
    rows = shop.book.search.find(q, most=MOST_ROWS).rows
    shop.book.looks.saw(by, "list", q)
    content, media = pieces_as(kind, rows)
    headers = {"Content-Disposition": f'attachment; filename="pieces.{kind}"'}
    return Response(content, media_type=media, headers=headers)


def _found(shop: Workshop, q: str) -> dict[str, Any]:
    found = shop.book.search.find(q)
    return {"q": q.strip(), "pieces": found.rows, "exact": found.exact}


@router.post("/pieces")
def add_piece(
    request: Request,
    shop: Shop,
    who: Who,
    serial: Text = "",
    model: Text = "",
    customer: Text = "",
    invoice: Text = "",
    position: Text = "",
) -> Response:
    """Add a piece and go to its bench; a fault stands at the form with all that was typed."""
    typed = {"customer": customer, "invoice": invoice, "position": position}
    try:
        shop.add_piece(serial, model, by=who.name, **typed)
    except HeavyspotError as fault:
        values = _form(shop, typed | {"serial": serial, "model": model}) | {"fault": fault}
        return page(request, "new_piece.html", values, status=422)
    return goto("/bench", serial.strip())


@router.get("/pieces/{serial:path}")
def piece_page(request: Request, serial: str, shop: Shop) -> Response:
    """A piece: what is written of it, and the form that amends it."""
    return page(request, "piece.html", _piece(shop, serial))


@router.post("/pieces/{serial:path}")
def change_piece(
    request: Request,
    serial: str,
    shop: Shop,
    who: Who,
    new_serial: Text = "",
    model: Text = "",
    position: Text = "",
    why: Text = "",
    seen: Text | None = None,
) -> Response:
    """Amend a piece."""
    typed = {"serial": new_serial, "model": model, "position": position}
    try:
        now = amend_piece(shop, serial, typed, by=who.name, why=why, seen=seen)
    except HeavyspotError as fault:
        values = _piece(shop, serial) | {"fault": fault, "typed": typed | {"why": why}}
        return page(request, "piece.html", values, status=422)
    return goto("/pieces", now)


@router.get("/jobs")
def jobs(request: Request, shop: Shop) -> Response:
    """The newest jobs."""
    rows = shop.book.recent_jobs(SHOWN)
    members = {r["id"]: shop.book.pieces(job_id=r["id"]) for r in rows}
    return page(request, "jobs.html", {"jobs": rows, "members": members})


@router.get("/jobs/new")
def new_job(request: Request, shop: Shop) -> Response:
    """The form for a job with its pieces."""
    return page(request, "new_job.html", _job_form(shop, {}))


@router.post("/jobs")
async def make_job(request: Request, shop: Shop, who: Who) -> Response:
    """Add a job with up to four pieces."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    members = [
        Member(*(typed.get(f"{field}-{i}", "") for field in ("serial", "model", "position")))
        for i in range(ROWS)
    ]
    about = {k: typed.get(k, "") for k in ("customer", "invoice", "due", "note")}
    try:
        job_id = add_job(shop, members, by=who.name, **about)
    except HeavyspotError as fault:
        values = _job_form(shop, typed) | {"fault": fault}
        return page(request, "new_job.html", values, status=422)
    return goto("/jobs", job_id)


@router.get("/jobs/{job_id}/sheets.zip")
def job_sheets(job_id: str, shop: Shop, who: Who, language: Language = "") -> Response:
    """Issue the sheets of all of a job's pieces."""
    find_job(shop, job_id)
    return job_sheets_answer(shop, job_id, by=who.name, language=language)


@router.get("/jobs/{job_id}")
def job_page(request: Request, job_id: str, shop: Shop) -> Response:
    """A job's pieces side by side."""
    return page(request, "job.html", _job(shop, job_id))


@router.post("/jobs/{job_id}")
def change_job(
    request: Request,
    job_id: str,
    shop: Shop,
    who: Who,
    customer: Text = "",
    invoice: Text = "",
    due: Text = "",
    note: Text = "",
    why: Text = "",
    seen: Text | None = None,
) -> Response:
    """Amend a job."""
    typed = {"customer": customer, "invoice": invoice, "due": due, "note": note}
    try:
        amend_job(shop, job_id, typed, by=who.name, why=why, seen=seen)
    except HeavyspotError as fault:
        values = _job(shop, job_id) | {"fault": fault, "typed": typed | {"why": why}}
        return page(request, "job.html", values, status=422)
    return goto("/jobs", job_id)


@router.get("/labels.pdf")
def labels(shop: Shop, job: str, size: str = "a4") -> Response:
    """Make the labels of a job's pieces."""
    find_job(shop, job)
    return label_answer(shop, [p["serial"] for p in shop.book.pieces(job_id=job)], size)


def _form(shop: Shop, typed: dict[str, str]) -> dict[str, Any]:
    return {"models": shop.book.model_names(), "positions": POSITIONS, **typed}


def _job_form(shop: Shop, typed: dict[str, str]) -> dict[str, Any]:
    values = {"models": shop.book.model_names(), "positions": POSITIONS}
    return values | {"typed": typed, "rows": range(ROWS)}


def _piece(shop: Shop, serial: str) -> dict[str, Any]:
    piece = shop.piece(serial)
    return {
        "piece": piece,
        "job": find_job(shop, piece["job_id"]),
        "story": shop.story(serial),
        "amendments": shop.book.amendments(piece["id"]),
        "models": shop.book.model_names(shop.kind_of(piece["model"])),
        "rotor": shop.kind_of(piece["model"]) == "rotor",
        "positions": POSITIONS,
        "typed": {},
    }


def _job(shop: Shop, job_id: str) -> dict[str, Any]:
    job = find_job(shop, job_id)
    members = shop.book.pieces(job_id=job_id)
    rotors = {m["serial"] for m in members if shop.kind_of(m["model"]) == "rotor"}
    drawn = {
        m["serial"]: runs_svg(
            curves_view(shop, m["serial"]),
            name=f"Vibration of {m['serial']} against speed",
            look=ON_PAGE,
            width=560,
            height=320,
        )
        for m in members
        if m["number"] and m["serial"] not in rotors
    }
    return {
        "job": job,
        "members": members,
        "drawn": drawn,
        "rotors": rotors,
        "stories": {m["serial"]: shop.story(m["serial"]) for m in members},
        "amendments": shop.book.amendments(job_id),
        "typed": {},
    }
