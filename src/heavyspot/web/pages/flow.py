"""The flow bench: what measures there, a piece's tests, the form for the next one."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response
from markupsafe import Markup

from ...quantities.errors import HeavyspotError
from ...quantities.said import in_words_each
from ...quantities.typed import decimal_point, typed_number
from ...sheet.flow_plot import flow_svg
from ...workshop.flow.bench import KINDS, BenchFile, bench_of, element_of, flow_benches, set_bench
from ...workshop.flow.kept import flow_tests_of_piece
from ...workshop.flow.testing import NUMBERS, keep_flow_test, readings_of_table
from ...workshop.model.models import find_model
from ...workshop.sheets.flow import make_flow_report, stop_said
from ...workshop.sheets.issue import sheet_now
from ...workshop.shop import Workshop, find_piece
from ..access import Who, allowed
from ..deps import Shop
from ..files import goto_sheet, newest_sheet_answer
from ..page import Text, goto, page
from ..speaking import language, spoken, told
from ..views.flow import flow_test_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

ROWS = 4
SHOWN = ("position", "way", "drop_kpa", "upstream_kpa", "temperature_c", "humidity")
LEAK = (
    "volume_l", "from_kpa", "to_kpa", "seconds", "temperature_c", "volume_u_l", "drift_u_k",
)  # fmt: skip
"""What a leak is worked out from."""


@router.get("/flow/{serial:path}/sheet.pdf")
def sheet(serial: str, shop: Shop) -> Response:
    """The sheet of a piece's flow test, as it was issued."""
    return newest_sheet_answer(shop, serial, "flow")


@router.post("/flow/{serial:path}/sheet")
def issue(serial: str, shop: Shop, who: Who, language: Text = "", why: Text = "") -> Response:
    """Issue the sheet of a piece's last flow test; the one that stands is given again."""
    made = sheet_now(shop, serial, kind="flow", by=who.name, language=language, why=why)
    return goto_sheet(made)


@router.get("/flow/{serial:path}")
def flow_page(request: Request, serial: str, shop: Shop) -> Response:
    """A piece's flow tests, and the form for the next."""
    return page(request, "flow/test.html", _flow(shop, serial, {}))


@router.post("/flow/{serial:path}")
async def keep(request: Request, serial: str, shop: Shop, who: Who) -> Response:
    """Judge and keep a flow test; a fault stands above the form with all that was typed."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    try:
        table = typed.get("table", "").strip()
        readings = readings_of_table(table) if table else _typed_readings(typed)
        leak = {k: _number(typed[f"leak-{k}"]) for k in LEAK if typed.get(f"leak-{k}", "").strip()}
        keep_flow_test(
            shop, serial, typed.get("rig", ""), readings, housings=typed.get("housings", ""),
            stop_at=_number(typed["stop_at"]) if typed.get("stop_at", "").strip() else None,
            leak=leak or None, by=who.name,
        )  # fmt: skip
    except HeavyspotError as fault:
        values = _flow(shop, serial, typed) | {"fault": fault}
        return page(request, "flow/test.html", values, status=422)
    return goto("/flow", serial)


@router.get("/flow-bench/{rig:path}")
def bench_page(request: Request, rig: str, shop: Shop) -> Response:
    """What measures the flow on a bench."""
    return page(request, "flow/bench.html", _bench(shop, rig, {}))


@router.post("/flow-bench/{rig:path}")
async def keep_bench(request: Request, rig: str, shop: Shop, who: Who) -> Response:
    """Write it down."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    content = {
        k: typed[k].strip() if k in ("element", "taps", "certificate") else decimal_point(typed[k])
        for k in BenchFile.model_fields
        if typed.get(k, "").strip()
    }
    try:
        set_bench(shop, rig, content, by=who.name)
    except HeavyspotError as fault:
        return page(
            request, "flow/bench.html", _bench(shop, rig, typed) | {"fault": fault}, status=422
        )
    return goto("/flow-bench", rig)


def _typed_readings(typed: dict[str, str]) -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for i in range(ROWS):
        cells = {k: typed.get(f"{k}-{i}", "").strip() for k in (*NUMBERS, "way")}
        if cells["drop_kpa"] or cells["flow_kg_s"]:
            out.append({k: v if k == "way" else decimal_point(v) for k, v in cells.items() if v})
    return out


def _number(text: str) -> float:
    return typed_number("the value", text)


def _flow(shop: Workshop, serial: str, typed: dict[str, str]) -> dict[str, object]:
    piece = find_piece(shop, serial)
    done = flow_tests_of_piece(shop, piece.id)
    last = done[-1] if done else None
    drawn = Markup("")
    if last and last.flow.curve:
        drawn = Markup(flow_svg(make_flow_report(shop, serial, number="-"), say=spoken))
    benches = flow_benches(shop)
    return {
        "piece": piece, "test": flow_test_view(last) if last else None, "drawn": drawn,
        "benches": benches, "rows": range(ROWS), "typed": typed,
        "stop": in_words_each(stop_said(last.flow.stop), language=language()) if last else "",
        "leak_words": {k: told(f"flow_leak.{k}") for k in LEAK},
        "meter": bool(benches) and bench_of(shop, typed.get("rig") or benches[0]).element == "meter",
        "model": find_model(shop, piece.model),
    }  # fmt: skip


def _bench(shop: Workshop, rig: str, typed: dict[str, str]) -> dict[str, object]:
    element = element_of(shop, rig)
    known = element.model_dump(mode="json", exclude_defaults=True) if element else {}
    now = {k: "" if v is None else str(v) for k, v in known.items()}
    return {"rig": rig, "typed": now | typed, "kinds": list(KINDS), "known": element is not None}
