"""Flow tests and flow benches as JSON under /api."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import Field

from ...workshop.flow.bench import set_bench
from ...workshop.flow.kept import flow_tests_of
from ...workshop.flow.testing import keep_flow_test
from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Number, Shop, Word

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class FlowIn(BodyIn):
    """A flow test: readings with the keys of docs/reference/flow.md."""

    rig: Word
    readings: Annotated[list[dict[str, Number | str]], Field(min_length=1, max_length=500)]
    housings: Word = ""
    stop_at: Number | None = None


class BenchIn(BodyIn):
    """What measures the flow on a bench."""

    content: dict[str, Number | str]


@router.get("/pieces/{serial:path}/flow")
def tests(serial: str, shop: Shop) -> list[dict[str, object]]:
    """Return a piece's flow tests."""
    return [t.as_json() for t in flow_tests_of(shop, serial)]


@router.post("/pieces/{serial:path}/flow", status_code=201)
def add_test(serial: str, flow: FlowIn, shop: Shop, who: Who) -> dict[str, object]:
    """Judge and keep a flow test."""
    test = keep_flow_test(
        shop,
        serial,
        flow.rig,
        flow.readings,
        housings=flow.housings,
        stop_at=flow.stop_at,
        by=who.name,
    )
    return test.flow_json()


@router.post("/flow-benches/{name}", status_code=201)
def add_bench(name: Word, bench: BenchIn, shop: Shop, who: Who) -> dict[str, object]:
    """Write down what measures the flow on a bench."""
    return set_bench(shop, name, bench.content, by=who.name).model_dump(exclude_none=True)
