"""The day book: pieces and jobs, made and amended."""

from __future__ import annotations

from dataclasses import asdict
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import HeavyspotError
from ...workshop.cartridge.curves_view import view_of
from ...workshop.cartridge.past import past_runs
from ...workshop.cartridge.story import story_of
from ...workshop.job.editing import Member, add_job, amend_job, amend_piece, find_job
from ...workshop.job.lookup import (
    amendments_of,
    has_piece,
    newest_jobs,
    pieces_of_job,
    search_pieces,
)
from ...workshop.job.pieces import POSITIONS, add_piece
from ...workshop.job.seen import saw
from ...workshop.model.models import model_names
from ...workshop.records import Found
from ...workshop.rotor.machines import rotor_names
from ...workshop.sheets.issue import sheet_now
from ...workshop.shop import Workshop, find_piece
from ..access import Who, allowed
from ..deps import Shop
from ..files import job_sheets_answer, label_answer, sheets_of_job
from ..page import Text, goto, page
from ..tables_out import MOST_ROWS, pieces_as
from ..views.job import member_view
from ..views.story_picture import curves_plot, highest_of

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

JOB_FIELDS = ("customer", "invoice", "due", "note")
ROWS = 4
SHOWN = 60
FOUND = 50


@router.get("/find")
def find(request: Request, shop: Shop, q: str = "", rig: str = "") -> Response:
    """Where what was scanned or typed leads: a serial to its bench, on a named rig; else to what holds it."""
    typed = q.strip()
    if typed and has_piece(shop, typed):
        return goto(f"/bench/{quote(typed)}?rig={quote(rig)}") if rig else goto("/bench", typed)
    found = search_pieces(shop, typed, most=FOUND) if typed else None
    if found and found.rows and found.exact:
        return page(request, "find/search.html", _found(typed, found))
    alike = found.rows[:5] if found else []
    return page(
        request, "cartridge/new_piece.html", _form(shop, {"serial": typed}) | {"alike": alike}
    )


@router.get("/pieces")
def new_piece(request: Request, shop: Shop, serial: str = "") -> Response:
    """The form for a new piece."""
    return page(request, "cartridge/new_piece.html", _form(shop, {"serial": serial.strip()}))


@router.get("/search/rows")
def search_rows(request: Request, shop: Shop, q: str = "") -> Response:
    """The rows alone, as one types."""
    return page(request, "find/search_rows.html", _found(q, search_pieces(shop, q, most=FOUND)))


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
    rows = search_pieces(shop, q, most=MOST_ROWS).rows
    saw(shop, by, "list", q)
    content, media = pieces_as(kind, rows)
    headers = {"Content-Disposition": f'attachment; filename="pieces.{kind}"'}
    return Response(content, media_type=media, headers=headers)


def _found(q: str, found: Found) -> dict[str, object]:
    cut_short = len(found.rows) >= FOUND
    return {"q": q.strip(), "pieces": found.rows, "exact": found.exact, "cut_short": cut_short}


@router.post("/pieces")
def post_piece(
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
        add_piece(shop, serial, model, by=who.name, **typed)
    except HeavyspotError as fault:
        values = _form(shop, typed | {"serial": serial, "model": model}) | {"fault": fault}
        return page(request, "cartridge/new_piece.html", values, status=422)
    return goto("/bench", serial.strip())


@router.get("/pieces/{serial:path}")
def piece_page(request: Request, serial: str, shop: Shop) -> Response:
    """A piece: what is written of it, and the form that amends it."""
    return page(request, "cartridge/piece.html", _piece(shop, serial))


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
        typed = {"new_serial": new_serial, "model": model, "position": position, "why": why}
        values = _piece(shop, serial, typed) | {"fault": fault}
        return page(request, "cartridge/piece.html", values, status=422)
    return goto("/pieces", now)


@router.get("/jobs")
def jobs(request: Request, shop: Shop) -> Response:
    """The newest jobs."""
    rows = newest_jobs(shop, SHOWN)
    members = {r.id: pieces_of_job(shop, r.id) for r in rows}
    return page(request, "job/jobs.html", {"jobs": rows, "members": members})


@router.get("/jobs/new")
def new_job(request: Request, shop: Shop) -> Response:
    """The form for a job with its pieces."""
    return page(request, "job/new_job.html", _job_form(shop, {}))


@router.post("/jobs")
async def make_job(request: Request, shop: Shop, who: Who) -> Response:
    """Add a job with up to four pieces."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    members = [
        Member(*(typed.get(f"{field}-{i}", "") for field in ("serial", "model", "position")))
        for i in range(ROWS)
    ]
    about = {k: typed.get(k, "") for k in JOB_FIELDS}
    try:
        job_id = add_job(shop, members, by=who.name, **about)
    except HeavyspotError as fault:
        values = _job_form(shop, typed) | {"fault": fault}
        return page(request, "job/new_job.html", values, status=422)
    return goto("/jobs", job_id)


@router.get("/jobs/{job_id}/sheets.zip")
def job_sheets(job_id: str, shop: Shop) -> Response:
    """The sheets of all of a job's pieces, as they were issued."""
    find_job(shop, job_id)
    return job_sheets_answer(shop, job_id)


@router.post("/jobs/{job_id}/sheets")
def issue_job_sheets(
    job_id: str, shop: Shop, who: Who, language: Text = "", why: Text = ""
) -> Response:
    """Issue the sheets of all of a job's pieces; those that stand are given again."""
    find_job(shop, job_id)
    for serial in sheets_of_job(shop, job_id):
        sheet_now(shop, serial, by=who.name, language=language, why=why)
    return goto("/jobs", job_id, "sheets.zip")


@router.get("/jobs/{job_id}")
def job_page(request: Request, job_id: str, shop: Shop) -> Response:
    """A job's pieces side by side."""
    return page(request, "job/job.html", _job(shop, job_id))


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
        values = _job(shop, job_id, typed | {"why": why}) | {"fault": fault}
        return page(request, "job/job.html", values, status=422)
    return goto("/jobs", job_id)


@router.get("/labels.pdf")
def labels(shop: Shop, job: str, size: str = "a4") -> Response:
    """Make the labels of a job's pieces."""
    find_job(shop, job)
    return label_answer(shop, [p.serial for p in pieces_of_job(shop, job)], size)


def _form(shop: Shop, typed: dict[str, str]) -> dict[str, object]:
    return {"models": model_names(shop), "positions": POSITIONS, **typed}


def _job_form(shop: Shop, typed: dict[str, str]) -> dict[str, object]:
    values = {"models": model_names(shop), "positions": POSITIONS}
    return values | {"typed": typed, "rows": range(ROWS)}


def _piece(shop: Shop, serial: str, typed: dict[str, str] | None = None) -> dict[str, object]:
    piece = find_piece(shop, serial)
    is_rotor = piece.kind == "rotor"
    written = {"new_serial": piece.serial, "model": piece.model, "position": piece.position}
    return {
        "piece": piece,
        "job": find_job(shop, piece.job_id),
        "cuts": () if is_rotor else story_of(shop, piece).made,
        "amendments": amendments_of(shop, piece.id),
        "models": rotor_names(shop) if is_rotor else model_names(shop),
        "rotor": is_rotor,
        "positions": POSITIONS,
        "typed": written | (typed or {}),
    }


def _job(shop: Shop, job_id: str, typed: dict[str, str] | None = None) -> dict[str, object]:
    job = find_job(shop, job_id)
    members = pieces_of_job(shop, job_id)
    stories = {m.serial: story_of(shop, m) for m in members if m.kind != "rotor"}
    curves = {
        serial: view_of(story, past_runs(shop, story))
        for serial, story in stories.items()
        if story.runs
    }
    seen = {serial: view for serial, view in curves.items() if view.runs}
    high_g = max((highest_of(view) for view in seen.values()), default=0.0)  # twins on one scale
    drawn = {
        serial: curves_plot(view, high_g=high_g, wide=560, high=300)
        for serial, view in seen.items()
    }
    views = [member_view(m, stories.get(m.serial), serial_in_path=quote(m.serial)) for m in members]
    written = {k: v for k, v in asdict(job).items() if k in JOB_FIELDS}
    return {
        "job": job,
        "members": views,
        "has_sheets": any(v.has_sheet for v in views),
        "drawn": drawn,
        "amendments": amendments_of(shop, job_id),
        "typed": written | (typed or {}),
    }
