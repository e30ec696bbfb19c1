"""A rig's health: its master against its history, shaker checks, two rigs, gauge studies; recordings read anew."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import HeavyspotError
from ...workshop.keep.long_work import LongWork
from ...workshop.keep.reread import Settings, begin_reread, call_back, go_on
from ...workshop.rig.health import (
    check_shaker,
    compare_rigs,
    last_good_check,
    master_state,
    rig_words,
    run_study,
    study_so_far,
)
from ...workshop.rows_text import rows_csv
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..charts import Line, line_chart
from ..deps import Shop
from ..page import Text, goto, number, page
from .ledger import Works

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

BACK = (
    "serial", "customer", "invoice", "number", "at", "rig", "was", "was_ratio", "verdict", "worst_ratio", "sheet",
)  # fmt: skip


@router.get("/rig-health/{name:path}")
def health(request: Request, name: str, shop: Shop, other: str = "") -> Response:
    """How a rig stands."""
    return page(request, "rig_health.html", _health(shop, name, other))


@router.post("/rig-health/{name:path}/shaker")
def shaker(request: Request, name: str, shop: Shop, who: Who, reads: Text = "") -> Response:
    """Judge and keep a check with a hand-held shaker."""
    try:
        check_shaker(shop, name, reads_m_s2=number(reads), by=who.name)
    except HeavyspotError as fault:
        return page(request, "rig_health.html", _health(shop, name) | {"fault": fault}, status=422)
    return goto("/rig-health", name)


@router.post("/rig-health/{name:path}/study")
def study(
    request: Request, name: str, shop: Shop, who: Who, serials: Text = "", since: Text = ""
) -> Response:
    """Compute and keep a gauge study."""
    pieces = [s.strip() for s in serials.replace("\n", ",").split(",") if s.strip()]
    typed = {"serials": serials, "since": since}
    try:
        run_study(shop, name, pieces, since=since, by=who.name)
    except HeavyspotError as fault:
        so_far = study_so_far(shop, name, pieces, since=since) if pieces else {}
        values = _health(shop, name) | {"fault": fault, "typed": typed, "so_far": so_far}
        return page(request, "rig_health.html", values, status=422)
    return goto("/rig-health", name)


def _health(shop: Workshop, name: str, other: str = "") -> dict[str, Any]:
    state = master_state(shop, name)
    chart = ""
    if state and state.single and state.weighted:
        chart = line_chart(
            [
                Line("spins", list(enumerate(float(v) for v in state.single.points))),
                Line("weighted mean", list(enumerate(float(v) for v in state.weighted.points))),
            ],
            title=f"Master {state.serial}", x_label="spins of the master", y_label="highest vibration, g",
            limits=[state.single.low, state.single.high], x_ends=(state.values[0][0][:10], state.last[:10]),
        )  # fmt: skip
    values: dict[str, Any] = {
        "name": name, "record": shop.rig(name), "state": state, "chart": chart, "words": rig_words(shop, name),
        "shakers": shop.book.rigs.checks(name, "shaker")[::-1][:12],
        "studies": shop.book.rigs.checks(name, "study")[::-1][:3], "good": last_good_check(shop, name),
        "others": [r for r in shop.book.rig_names() if r != name], "other": other, "typed": {}, "so_far": {},
    }  # fmt: skip
    if other:
        try:
            values["agreed"], values["pairs"] = compare_rigs(shop, name, other)
        except HeavyspotError as fault:
            values["fault"] = fault
    return values


@router.get("/rereads")
def rereads(
    request: Request, shop: Shop, rig: str = "", since: str = "", gain: str = ""
) -> Response:
    """Recordings read anew, and the form for more."""
    return page(request, "rereads.html", _rereads(shop, {"rig": rig, "since": since, "gain": gain}))


@router.post("/rereads")
async def begin(request: Request, shop: Shop, works: Works, who: Who) -> Response:
    """Read a selection anew, in the background."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    try:
        settings = Settings(
            gain=float(number(typed.get("gain", "")) or 1.0),
            limit_g=float(number(typed["limit"])) if typed.get("limit", "").strip() else None,
            rig=typed.get("rig", ""), model=typed.get("model", ""), since=typed.get("since", ""),
            until=typed.get("until", ""),
        )  # fmt: skip
        made = begin_reread(shop, settings, by=who.name)
    except (HeavyspotError, ValueError) as fault:
        told = fault if isinstance(fault, HeavyspotError) else None
        values = _rereads(shop, typed) | {
            "fault": told or HeavyspotError("A number is none.", remedy="Correct it.")
        }
        return page(request, "rereads.html", values, status=422)
    return goto("/progress", _go(shop, works, made, who.name))


@router.post("/rereads/{id_}")
def on(id_: str, shop: Shop, works: Works, who: Who) -> Response:
    """Go on with a reread."""
    return goto("/progress", _go(shop, works, id_, who.name))


@router.get("/rereads/{id_}.csv")
def back_csv(id_: str, shop: Shop) -> Response:
    """The pieces to call back."""
    headers = {"Content-Disposition": 'attachment; filename="call-back.csv"'}
    content = rows_csv(call_back(shop, id_), BACK)
    return Response(content, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/rereads/{id_}")
def reread(request: Request, id_: str, shop: Shop) -> Response:
    """What a reread changes."""
    row = shop.book.rereading.find(id_)
    if row is None:
        return goto("/rereads")
    values = {
        "row": row, "done": shop.book.rereading.done(id_), "total": shop.book.rereading.count(row["content"]),
        "back": call_back(shop, id_),
    }  # fmt: skip
    return page(request, "reread.html", values)


def _go(shop: Workshop, works: LongWork, id_: str, by: str) -> str:
    work = works.begin(
        "Reading recordings anew",
        lambda progress, stop: go_on(shop, id_, progress=progress, stop=stop),
        by=by,
        back=f"/rereads/{id_}",
    )
    return work.id


def _rereads(shop: Workshop, typed: dict[str, str]) -> dict[str, Any]:
    book = shop.book.rereading
    rows = [r | {"done": book.done(r["id"])} for r in book.all(20)]
    return {
        "rows": rows,
        "typed": typed,
        "rigs": shop.book.rig_names(),
        "models": shop.book.model_names(),
    }
