"""What the shop can learn from itself: every number leads to the pieces behind it, every chart has its table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.checks import iso_date
from ...quantities.errors import BadInput, HeavyspotError
from ...statistics.survival import Survival
from ...workshop.insight import questions, store
from ...workshop.insight.ask import ask as ask_apart
from ...workshop.insight.gains import shop_gains
from ...workshop.job.lookup import piece_count
from ...workshop.keep.long_work import LongWork
from ...workshop.records import Content
from ...workshop.rows_text import rows_csv
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..charts import Line, line_chart, steps
from ..deps import Shop
from ..page import Text, goto, page
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
    "name", "pieces", "at_first", "first", "first_low", "first_high", "runs", "cuts", "minutes", "mass_mg",
    "first_ratio", "last_ratio", "passed", "claims",
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
    chart = ""
    if by in ("week", "month") and len(rows) > 1:
        shown = rows[::-1]
        chart = line_chart(
            [
                Line("passed at first spin", [(i, 100 * r.first) for i, r in enumerate(shown)]),
            ],
            title=f"Passed at the first spin by {by}", x_label=by, y_label="passed at first spin, %",
            y_from=0.0, y_to=100.0, x_ends=(str(shown[0].name), str(shown[-1].name)),
        )  # fmt: skip
    values = {
        "rows": rows,
        "by": by,
        "since": since,
        "groups": list(questions.GROUPS),
        "chart": chart,
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
    charts = {
        s.supplier: line_chart(
            [Line("", [(i, math.exp(v)) for i, v in enumerate(s.chart.points)])],
            title=f"First spins of {s.supplier}", x_label="the newest pieces",
            y_label="weighted mean, of the limit",
            limits=[math.exp(s.chart.low), math.exp(s.chart.high)], x_ends=(s.days[0], s.days[-1]),
        )
        for s in found
        if s.chart is not None
    }  # fmt: skip
    values = {"found": found, "charts": charts, "few_pieces": questions.FEW}
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
    values = {"rows": rows, "advice": questions.advice_kept(shop), "few_advices": FEW_ADVICES}
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
    lines = [Line(name, _without_claim(c)) for name, c in found]
    lowest = min((y for line in lines for _, y in line.points), default=90.0)
    chart = line_chart(
        lines, title="Pieces without a claim", x_label="days since it left", y_label="without a claim, %",
        y_from=math.floor(lowest), y_to=100.0,
    )  # fmt: skip
    return page(request, "insight/claims.html", {"rows": rows, "chart": chart})


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
    values["cut_short"] = f", the first {SHOWN} shown" if len(rows) > SHOWN else ""
    return page(request, "insight/ask.html", values)


EXAMPLE = """select model, count(*) as pieces, round(avg(runs), 2) as runs
from pieces
group by model
order by pieces desc"""

SHOWN_DAYS = 1095


def _without_claim(curve: Survival) -> list[tuple[float, float]]:
    """Return steps of the first three years, in percent."""
    points = steps(list(zip(curve.time, curve.share, strict=True)), (0.0, 1.0))
    return [(t, 100 * s) for t, s in points if t <= SHOWN_DAYS]


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
