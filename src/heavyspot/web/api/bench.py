"""The bench as JSON under /api/v1: what it asks, listening, spinning, rescuing."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import BenchTold, CheckTold, SpinStarted, StateTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Number, TheBench, Word, example

router = APIRouter(prefix=HOME, tags=["bench"], responses=REFUSALS, dependencies=[Depends(allowed)])


class SpinIn(BodyIn):
    """Start of a spin."""

    model_config = example(operator="Ines", oil_temperature_c=62.0, oil_pressure_kpa=280.0)

    operator: Word = ""
    oil_temperature_c: Number | None = None
    oil_pressure_kpa: Number | None = None


class RescueIn(BodyIn):
    """What to do with an interrupted spin."""

    model_config = example(keep=True)

    keep: bool = True


@router.get("/bench/{serial:path}", response_model=None, responses=told(BenchTold))
def get_bench(serial: str, bench: TheBench) -> dict[str, object]:
    """Return what the technician is to do now."""
    return {
        "question": bench.question(serial),
        "problem": bench.problem(serial),
        "stamp": bench.stamp(serial),
        "on_it": bench.on_it,
    }


@router.post("/bench/{serial:path}/listen", response_model=None, responses=told(list[CheckTold]))
def listen_to_rig(serial: str, bench: TheBench) -> list[dict[str, object]]:
    """Listen to the standing rig."""
    return [check.as_json() for check in bench.listen(serial)]


@router.post(
    "/bench/{serial:path}/spin",
    status_code=202,
    response_model=None,
    responses=told(SpinStarted, 202),
)
def start_spin(serial: str, spin: SpinIn, bench: TheBench, who: Who) -> dict[str, str]:
    """Start capturing a spin."""
    oil = (spin.oil_temperature_c, spin.oil_pressure_kpa)
    return {"capture": bench.spin(serial, operator=who.signs(spin.operator), oil=oil).id}


@router.post("/bench/{serial:path}/rescue", response_model=None, responses=told(BenchTold))
def rescue_spin(serial: str, rescue: RescueIn, bench: TheBench) -> dict[str, object]:
    """Read, or remove, what an interrupted spin left."""
    bench.rescue(serial, keep=rescue.keep)
    return {"question": bench.question(serial), "problem": bench.problem(serial)}


@router.post("/bench/stop", status_code=202, response_model=None, responses=told(StateTold, 202))
def stop_spin(bench: TheBench) -> dict[str, str]:
    """Stop the spin that runs; it is read and kept."""
    bench.stop()
    return {"state": "stopped"}
