"""The bench as JSON under /api: what it asks, listening, spinning, rescuing."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Number, TheBench, Word

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class SpinIn(BodyIn):
    """Start of a spin."""

    operator: Word = ""
    oil_temperature_c: Number | None = None
    oil_pressure_kpa: Number | None = None


class RescueIn(BodyIn):
    """What to do with an interrupted spin."""

    keep: bool = True


@router.get("/bench/{serial:path}")
def bench_state(serial: str, bench: TheBench) -> dict[str, object]:
    """Return what the technician is to do now."""
    return {
        "question": bench.question(serial),
        "problem": bench.problem(serial),
        "stamp": bench.stamp(serial),
        "on_it": bench.on_it,
    }


@router.post("/bench/{serial:path}/listen")
def listen(serial: str, bench: TheBench) -> list[dict[str, object]]:
    """Listen to the standing rig."""
    return [check.as_json() for check in bench.listen(serial)]


@router.post("/bench/{serial:path}/spin", status_code=202)
def start_spin(serial: str, spin: SpinIn, bench: TheBench, who: Who) -> dict[str, str]:
    """Start capturing a spin."""
    oil = (spin.oil_temperature_c, spin.oil_pressure_kpa)
    return {"capture": bench.spin(serial, operator=who.signs(spin.operator), oil=oil).id}


@router.post("/bench/{serial:path}/rescue")
def rescue(serial: str, rescue: RescueIn, bench: TheBench) -> dict[str, object]:
    """Read, or remove, what an interrupted spin left."""
    bench.rescue(serial, keep=rescue.keep)
    return {"question": bench.question(serial), "problem": bench.problem(serial)}


@router.post("/bench/stop", status_code=202)
def stop_spin(bench: TheBench) -> dict[str, str]:
    """Stop the spin that runs; it is read and kept."""
    bench.stop()
    return {"state": "stopped"}
