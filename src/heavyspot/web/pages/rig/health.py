"""A rig's health: its master against its history, shaker checks, two rigs, gauge studies; recordings read anew."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import HeavyspotError
from ....quantities.typed import typed_number, typed_or_none
from ....workshop.keep.long_work import LongWork
from ....workshop.keep.reread import (
    Settings,
    begin_reread,
    call_back,
    find_reread,
    go_on,
    newest_rereads,
)
from ....workshop.model.models import model_names
from ....workshop.rig.checks import shaker_checks_of, studies_of
from ....workshop.rig.health import (
    check_shaker,
    compare_rigs,
    last_good_check,
    master_state,
    rig_words,
    run_study,
    study_so_far,
)
from ....workshop.rig.record import find_rig, rig_names
from ....workshop.rows_text import rows_csv
from ....workshop.shop import Workshop
from ...access import Who, allowed
from ...deps import Shop
from ...formats import dotted
from ...page import Text, goto, page
from ...speaking import language, told
from ...views.rig.health import (
    about_served,
    due_lines,
    gain_to_undo,
    master_view,
    shaker_views,
    so_far_words,
)
from ...views.rig.health_pictures import both_picture, master_picture, study_picture
from ...views.rig.record import kind_words
from ..ledger import Works

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

PAIRS = 30
CALLED = 200
"""Rows of a table on the page."""

BACK = (
    "serial", "customer", "invoice", "number", "at", "rig", "was", "was_ratio", "verdict", "worst_ratio", "sheet",
)  # fmt: skip


@router.get("/rig-health/{name:path}")
def health(request: Request, name: str, shop: Shop, other: str = "") -> Response:
    """How a rig stands."""
    return page(request, "rig/health.html", _health(shop, name, other))


@router.post("/rig-health/{name:path}/shaker")
def shaker(request: Request, name: str, shop: Shop, who: Who, reads: Text = "") -> Response:
    """Judge and keep a check with a hand-held shaker."""
    try:
        check_shaker(shop, name, reads_m_s2=typed_number("reading", reads), by=who.name)
    except HeavyspotError as fault:
        return page(request, "rig/health.html", _health(shop, name) | {"fault": fault}, status=422)
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
        more = {"fault": fault, "typed": typed, "so_far": so_far_words(so_far)}
        values = _health(shop, name) | more
        return page(request, "rig/health.html", values, status=422)
    return goto("/rig-health", name)


def _health(shop: Workshop, name: str, other: str = "") -> dict[str, object]:
    state, record = master_state(shop, name), find_rig(shop, name)
    shakers = shaker_checks_of(shop, name)[::-1][:12]
    studies = studies_of(shop, name)[::-1][:3]
    values: dict[str, object] = {
        "name": name, "state": master_view(state) if state else None,
        "picture": master_picture(state) if state else "", "due": due_lines(record, state, shakers),
        "about": dotted(kind_words(record.kind), record.building, about_served(record)),
        "words": rig_words(shop, name, language=language()),
        "shakers": shaker_views(shakers), "undo_gain": gain_to_undo(shakers),
        "studies": studies, "good": last_good_check(shop, name),
        "others": [r for r in rig_names(shop) if r != name], "other": other, "typed": {}, "so_far": "",
    }  # fmt: skip
    study = study_picture(studies[0].content) if studies else ""
    return values | {"study": study} | (_beside(shop, name, other) if other else {})


def _beside(shop: Workshop, name: str, other: str) -> dict[str, object]:
    """Return how the rig and another one agree, or why that cannot be told."""
    try:
        agreed, pairs = compare_rigs(shop, name, other)
    except HeavyspotError as fault:
        return {"fault": fault}
    some = pairs[:PAIRS]
    return {"agreed": agreed, "pairs": some, "both": both_picture(agreed, some, name, other)}


@router.get("/rereads")
def rereads(
    request: Request, shop: Shop, rig: str = "", since: str = "", gain: str = ""
) -> Response:
    """Recordings read anew, and the form for more."""
    return page(
        request, "rig/rereads.html", _rereads(shop, {"rig": rig, "since": since, "gain": gain})
    )


@router.post("/rereads")
async def begin(request: Request, shop: Shop, works: Works, who: Who) -> Response:
    """Read a selection anew, in the background."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    try:
        settings = Settings(
            gain=typed_or_none("gain", typed.get("gain", "")) or 1.0,
            limit_g=typed_or_none("limit", typed.get("limit", "")),
            rig=typed.get("rig", ""), model=typed.get("model", ""), since=typed.get("since", ""),
            until=typed.get("until", ""),
        )  # fmt: skip
        made = begin_reread(shop, settings, by=who.name)
    except HeavyspotError as fault:
        values = _rereads(shop, typed) | {"fault": fault}
        return page(request, "rig/rereads.html", values, status=422)
    return goto("/progress", _go(shop, works, made, who.name))


@router.post("/rereads/{id_}")
def on(id_: str, shop: Shop, works: Works, who: Who) -> Response:
    """Go on with a reread."""
    return goto("/progress", _go(shop, works, id_, who.name))


@router.get("/rereads/{id_}.csv")
def back_csv(id_: str, shop: Shop) -> Response:
    """The pieces to call back."""
    headers = {"Content-Disposition": 'attachment; filename="call-back.csv"'}
    content = rows_csv([b.as_json() for b in call_back(shop, id_)], BACK)
    return Response(content, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/rereads/{id_}")
def reread(request: Request, id_: str, shop: Shop) -> Response:
    """What a reread changes."""
    state = find_reread(shop, id_)
    back = call_back(shop, id_)
    values = {
        "row": state,
        "back": back, "shown": back[:CALLED],
        "cut_short": told("reread.first", number=CALLED) if len(back) > CALLED else "",
    }  # fmt: skip
    return page(request, "rig/reread.html", values)


def _go(shop: Workshop, works: LongWork, id_: str, by: str) -> str:
    work = works.begin(
        "Reading recordings anew",
        lambda progress, stop: go_on(shop, id_, progress=progress, stop=stop),
        by=by,
        back=f"/rereads/{id_}",
    )
    return work.id


def _rereads(shop: Workshop, typed: dict[str, str]) -> dict[str, object]:
    return {
        "rows": [(r, r.settings.words()) for r in newest_rereads(shop)],
        "typed": typed,
        "rigs": rig_names(shop),
        "models": model_names(shop),
    }
