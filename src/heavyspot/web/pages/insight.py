"""What the shop can learn from itself: every number leads to the pieces behind it, every chart has its table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.checks import iso_date
from ...quantities.errors import BadInput, HeavyspotError
from ...workshop.insight import questions, store
from ...workshop.insight.ask import ask as ask_apart
from ...workshop.insight.gains import shop_gains
from ...workshop.job.lookup import piece_count
from ...workshop.keep.long_work import LongWork
from ...workshop.records import Content
from ...workshop.rows_text import rows_csv
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page
from ..speaking import told
from ..views import insight as views
from .ledger import Works

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

SHOWN = 200
"""Rows of an answer on the page; the file holds them all."""

FEW_ADVICES = 10
"""Fewer advices than this tell little (ours)."""

SMALL = 50_000
"""Pieces up to which the copy is brought up to date before the page is shown; above, on asking."""

OVERVIEW = (
    "name", "pieces", "at_first", "first", "first_low", "first_high", "runs", "tables", "cuts", "minutes",
    "mass_mg", "first_ratio", "last_ratio", "passed", "claims",
)  # fmt: skip
PIECES = (
    "serial", "model", "customer", "invoice", "day", "operator", "rig", "supplier", "lot", "runs", "cuts",
    "mass_mg", "first_ratio", "last_ratio", "verdict", "claim_days",
)  # fmt: skip
ELSEWHERE = (
    "model",
    "pieces",
    "one",
    "two",
    "three",
    "over",
    "mean",
    "sd",
    "cpk",
    "cpk_low",
    "cpk_high",
)
SUPPLIERS = ("supplier", "pieces", "low", "middle", "high", "alarm")
CLAIMS = ("band", "pieces", "claims", "half_year", "one_year", "two_years")


def _ready(shop: Workshop, works: LongWork, by: str) -> Response | None:
    """Bring the copy up to date when that is quick; else begin it, and lead to its progress the first time."""
    there = (shop.folder / store.FILE).exists()
    if piece_count(shop) <= SMALL:
        store.refresh(shop)
        return None
    if there:
        return None
    return goto("/progress", _begin(shop, works, by))


def _begin(shop: Workshop, works: LongWork, by: str) -> str:
    work = works.begin(
        "Statistics up to date",
        lambda progress, stop: store.refresh(shop, progress=progress, stop=stop),
        by=by,
        back="/insight",
    )
    return work.id


@router.post("/insight/refresh")
def refresh(shop: Shop, works: Works, who: Who) -> Response:
    """Bring the statistics up to the newest entry."""
    return goto("/progress", _begin(shop, works, who.name))


@router.get("/insight")
def insight(
    request: Request,
    shop: Shop,
    works: Works,
    who: Who,
    by: str = "",
    since: str = "",
    csv: bool = False,
) -> Response:
    """How the shop does, in pictures; or pass at first spin, runs, cuts, minutes and material, by what one asks."""
    wait = _ready(shop, works, who.name)
    if wait is not None:
        return wait
    if not by:
        spun = sum(r.pieces for r in questions.overview(shop, "model", most=10_000))
        values = {"panels": _panels(shop), "pieces": piece_count(shop), "spun": spun}
        return page(request, "insight/shop.html", values)
    rows = questions.overview(shop, by, since=_day(since))
    if csv:
        return _csv(map(vars, rows), OVERVIEW, f"by-{by}.csv")
    values = {
        "rows": rows,
        "by": by,
        "since": since,
        "groups": list(questions.GROUPS),
        "panels": [p for p in [views.group_panel(rows, by, since)] if p],
    }
    return page(request, "insight/overview.html", values)


def _panels(shop: Workshop) -> list[views.Panel]:
    gains = shop_gains(shop)
    made = (
        views.first_spin_panel(questions.overview(shop, "month")),
        views.runs_panel(gains),
        views.suppliers_panel(questions.incoming(shop)),
        views.limits_panel(questions.shipped_elsewhere(shop)),
        views.claims_panel(questions.claims(shop)),
        views.hands_panel(gains),
    )
    return [panel for panel in made if panel is not None]


@router.get("/insight/pieces")
def pieces(
    request: Request, shop: Shop, by: str, name: str, since: str = "", csv: bool = False
) -> Response:
    """The pieces behind a number."""
    rows = questions.pieces_behind(shop, by, name, since=_day(since), most=100_000 if csv else 500)
    if csv:
        return _csv(map(vars, rows), PIECES, "pieces.csv")
    return page(
        request, "insight/pieces.html", {"rows": rows, "by": by, "name": name, "since": since}
    )


@router.get("/insight/suppliers")
def suppliers(request: Request, shop: Shop, works: Works, who: Who, csv: bool = False) -> Response:
    """How suppliers' pieces come in."""
    wait = _ready(shop, works, who.name)
    if wait is not None:
        return wait
    found = questions.incoming(shop)
    if csv:
        return _csv(map(vars, found), SUPPLIERS, "suppliers.csv")
    values = {
        "found": found,
        "panels": views.suppliers_panels(found),
        "few_pieces": questions.FEW,
    }
    return page(request, "insight/suppliers.html", values)


@router.get("/insight/limits")
def limits(request: Request, shop: Shop, works: Works, who: Who, csv: bool = False) -> Response:
    """What other limits would have let go, and what the shop holds."""
    wait = _ready(shop, works, who.name)
    if wait is not None:
        return wait
    rows = questions.shipped_elsewhere(shop)
    if csv:
        return _csv(map(vars, rows), ELSEWHERE, "limits.csv")
    advice = questions.advice_kept(shop)
    panels = [*views.limits_panels(rows), views.advice_panel(advice)]
    values = {
        "rows": rows,
        "advice": advice,
        "few_advices": FEW_ADVICES,
        "panels": [p for p in panels if p],
    }
    return page(request, "insight/limits.html", values)


@router.get("/insight/claims")
def claims(request: Request, shop: Shop, works: Works, who: Who, csv: bool = False) -> Response:
    """Claims against the vibration a piece left with."""
    wait = _ready(shop, works, who.name)
    if wait is not None:
        return wait
    found = questions.claims(shop)
    rows = [
        {
            "band": name, "pieces": c.n, "claims": c.claims, "half_year": questions.after(c, 182),
            "one_year": questions.after(c, 365), "two_years": questions.after(c, 730),
        }
        for name, c in found
    ]  # fmt: skip
    if csv:
        return _csv(rows, CLAIMS, "claims.csv")
    return page(
        request, "insight/claims.html", {"rows": rows, "panels": views.claims_panels(found)}
    )


@router.get("/insight/ask")
def ask_page(request: Request) -> Response:
    """A question of one's own."""
    return page(request, "insight/ask.html", {"question": EXAMPLE})


@router.post("/insight/ask")
def ask(
    request: Request, shop: Shop, works: Works, who: Who, question: Text = "", csv: Text = ""
) -> Response:
    """Answer a question of one's own."""
    try:
        wait = _ready(shop, works, who.name)
        if wait is not None:
            return wait
        names, rows = ask_apart(shop, question)
    except HeavyspotError as fault:
        return page(request, "insight/ask.html", {"question": question, "fault": fault}, status=422)
    if csv:
        return _csv([dict(zip(names, r, strict=True)) for r in rows], names, "answer.csv")
    answer = rows[:SHOWN]
    values = {"question": question, "names": names, "answer": answer, "many": len(rows)}
    values["cut_short"] = told("ask.shown", number=SHOWN) if len(rows) > SHOWN else ""
    return page(request, "insight/ask.html", values)


EXAMPLE = """select model, count(*) as pieces, round(avg(runs), 2) as runs
from pieces
group by model
order by pieces desc"""


def _day(since: str) -> str:
    try:
        return iso_date("since", since)
    except BadInput:
        return ""


def _csv(rows: Iterable[Content], columns: Sequence[str], name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(
        rows_csv(list(rows), columns), media_type="text/csv; charset=utf-8", headers=headers
    )
