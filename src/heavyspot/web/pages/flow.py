"""The flow bench: what measures there, a piece's tests, the form for the next one; and the same as JSON."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from markupsafe import Markup
from pydantic import Field

from ...quantities.checks import finite
from ...quantities.errors import HeavyspotError
from ...sheet.flow_plot import flow_svg
from ...workshop.flow.bench import OF, BenchFile, bench_of, set_bench
from ...workshop.flow.testing import NUMBERS, flow_tests_of, keep_flow_test, readings_of_table
from ...workshop.sheets.flow import make_flow_report, stop_words
from ...workshop.sheets.issue import issue_flow_sheet
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Number, Shop, Word
from ..files import Language, issued_answer
from ..page import goto, number, page

router = APIRouter(dependencies=[Depends(allowed)], responses=REFUSALS)

ROWS = 4
SHOWN = ("position", "way", "drop_kpa", "upstream_kpa", "temperature_c", "humidity")
LEAK = ("volume_l", "from_kpa", "to_kpa", "seconds", "temperature_c")


@router.get("/flow/{serial:path}/sheet.pdf", include_in_schema=False)
def sheet(serial: str, shop: Shop, who: Who, language: Language = "") -> Response:
    """Issue the sheet of a piece's last flow test."""
    return issued_answer(shop, serial, issue_flow_sheet, by=who.name, language=language)


@router.get("/flow/{serial:path}", include_in_schema=False)
def flow_page(request: Request, serial: str, shop: Shop) -> Response:
    """A piece's flow tests, and the form for the next."""
    return page(request, "flow.html", _flow(shop, serial, {}))


@router.post("/flow/{serial:path}", include_in_schema=False)
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
            leak=leak if len(leak) == len(LEAK) else None, by=who.name,
        )  # fmt: skip
    except HeavyspotError as fault:
        if shop.book.piece(serial) is None:
            raise
        values = _flow(shop, serial, typed) | {"fault": fault}
        return page(request, "flow.html", values, status=422)
    return goto("/flow", serial)


@router.get("/flow-bench/{rig:path}", include_in_schema=False)
def bench_page(request: Request, rig: str, shop: Shop) -> Response:
    """What measures the flow on a bench."""
    return page(request, "flow_bench.html", _bench(shop, rig, {}))


@router.post("/flow-bench/{rig:path}", include_in_schema=False)
async def keep_bench(request: Request, rig: str, shop: Shop, who: Who) -> Response:
    """Write it down."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    content = {
        k: typed[k].strip() if k in ("element", "taps", "certificate") else number(typed[k])
        for k in BenchFile.model_fields
        if typed.get(k, "").strip()
    }
    try:
        set_bench(shop, rig, content, by=who.name)
    except HeavyspotError as fault:
        return page(
            request, "flow_bench.html", _bench(shop, rig, typed) | {"fault": fault}, status=422
        )
    return goto("/flow-bench", rig)


class FlowIn(BodyIn):
    """A flow test: readings with the keys of docs/reference/flow.md."""

    rig: Word
    readings: Annotated[list[dict[str, Number | str]], Field(min_length=1, max_length=500)]
    housings: Word = ""
    stop_at: Number | None = None


class BenchIn(BodyIn):
    """What measures the flow on a bench."""

    content: dict[str, Number | str]


@router.get("/api/pieces/{serial:path}/flow")
def tests(serial: str, shop: Shop) -> list[dict[str, Any]]:
    """Return a piece's flow tests."""
    return flow_tests_of(shop, serial)


@router.post("/api/pieces/{serial:path}/flow", status_code=201)
def add_test(serial: str, flow: FlowIn, shop: Shop, who: Who) -> dict[str, Any]:
    """Judge and keep a flow test."""
    return keep_flow_test(
        shop,
        serial,
        flow.rig,
        flow.readings,
        housings=flow.housings,
        stop_at=flow.stop_at,
        by=who.name,
    )


@router.post("/api/flow-benches/{name}", status_code=201)
def add_bench(name: Word, bench: BenchIn, shop: Shop, who: Who) -> dict[str, Any]:
    """Write down what measures the flow on a bench."""
    return set_bench(shop, name, bench.content, by=who.name).model_dump(exclude_none=True)


def _typed_readings(typed: dict[str, str]) -> list[dict[str, Any]]:
    out = []
    for i in range(ROWS):
        cells = {k: typed.get(f"{k}-{i}", "").strip() for k in (*NUMBERS, "way")}
        if cells["drop_kpa"] or cells["flow_kg_s"]:
            out.append({k: v if k == "way" else number(v) for k, v in cells.items() if v})
    return out


def _number(text: str) -> float:
    return finite("the value", number(text))


def _flow(shop: Workshop, serial: str, typed: dict[str, str]) -> dict[str, Any]:
    piece = shop.piece(serial)
    done = flow_tests_of(shop, serial)
    drawn = Markup("")
    if done and done[-1]["curve"]:
        drawn = Markup(flow_svg(make_flow_report(shop, serial, number="-")))
    benches = [r for r in shop.book.rig_names() if shop.book.rotors.calibration(r, OF)]
    return {
        "piece": piece, "tests": done[::-1], "drawn": drawn, "benches": benches, "rows": range(ROWS),
        "typed": typed,
        "stop": stop_words(done[-1]["stop"]) if done else "", "leak": LEAK,
        "meter": bool(benches) and bench_of(shop, typed.get("rig") or benches[0]).element == "meter",
        "model": shop.model(piece["model"]),
    }  # fmt: skip


def _bench(shop: Workshop, rig: str, typed: dict[str, str]) -> dict[str, Any]:
    row = shop.book.rotors.calibration(rig, OF)
    now = {k: "" if v is None else str(v) for k, v in (row["content"] if row else {}).items()}
    kinds = list(BenchFile.model_json_schema()["properties"]["element"]["enum"])
    return {"rig": rig, "typed": now | typed, "kinds": kinds, "known": row is not None}
