"""Flow tests and flow benches as JSON under /api/v1."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import Field

from ...workshop.flow.bench import set_bench
from ...workshop.flow.kept import flow_tests_of
from ...workshop.flow.testing import keep_flow_test
from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import FlowTestTold, FlowTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Number, Shop, Word, example

router = APIRouter(prefix=HOME, tags=["flow"], responses=REFUSALS, dependencies=[Depends(allowed)])


class FlowIn(BodyIn):
    """A flow test: readings with the keys of docs/reference/flow.md."""

    model_config = example(rig="Flow 1", readings=[{"position": 0.5, "drop": 5.0}])

    rig: Word
    readings: Annotated[list[dict[str, Number | str]], Field(min_length=1, max_length=500)]
    housings: Word = ""
    stop_at: Number | None = None


class BenchIn(BodyIn):
    """What measures the flow on a bench."""

    model_config = example(content={"element": "meter"})

    content: dict[str, Number | str]


@router.get("/pieces/{serial:path}/flow", response_model=None, responses=told(list[FlowTestTold]))
def list_flow_tests(serial: str, shop: Shop) -> list[dict[str, object]]:
    """Return a piece's flow tests."""
    return [t.as_json() for t in flow_tests_of(shop, serial)]


@router.post(
    "/pieces/{serial:path}/flow",
    status_code=201,
    response_model=None,
    responses=told(FlowTold, 201),
)
def add_flow_test(serial: str, flow: FlowIn, shop: Shop, who: Who) -> dict[str, object]:
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


@router.post(
    "/flow-benches/{name}",
    status_code=201,
    response_model=None,
    responses=told(dict[str, object], 201),
)
def set_flow_bench(name: Word, bench: BenchIn, shop: Shop, who: Who) -> dict[str, object]:
    """Write down what measures the flow on a bench."""
    return set_bench(shop, name, bench.content, by=who.name).model_dump(exclude_none=True)
