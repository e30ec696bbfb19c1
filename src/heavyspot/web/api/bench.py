"""The bench as JSON under /api/v1: what it asks, listening, spinning, rescuing."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Depends

from ...workshop.bench.bench import Bench
from ...workshop.bench.remote import Remote
from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import BenchTold, CheckTold, OneBenchTold, OnRigTold, SpinStarted, StateTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Number, TheBench, TheBenches, Word, example

router = APIRouter(prefix=HOME, tags=["bench"], responses=REFUSALS, dependencies=[Depends(allowed)])


class SpinIn(BodyIn):
    """Start of a spin."""

    model_config = example(operator="Ines", oil_temperature_c=62.0, oil_pressure_kpa=280.0)

    operator: Word = ""
    oil_temperature_c: Number | None = None
    oil_pressure_kpa: Number | None = None


class PieceOnIn(BodyIn):
    """A piece that is put on a rig."""

    model_config = example(serial="L52-0001")

    serial: Word


class RescueIn(BodyIn):
    """What to do with an interrupted spin."""

    model_config = example(keep=True)

    keep: bool = True


@router.get("/benches", response_model=None, responses=told(list[OneBenchTold]))
def list_benches(benches: TheBenches) -> list[dict[str, object]]:
    """Return the rigs of this computer: what is on each, and what spins there."""
    return [_told(name, bench, benches.remotes.get(name)) for name, bench in benches.named()]


def _told(name: str, bench: Bench, agent: Remote | None) -> dict[str, object]:
    here = bench.capture.about.serial if bench.capture and not bench.armed else ""
    slow = bench.slow.values() if bench.slow else {}
    said = asdict(agent.said) if agent else {}
    said.pop("slow", None)
    return {
        "rig": name,
        "on_it": bench.on_it,
        "spins": agent.spins if agent else here,
        "armed": bench.armed,
        "reading": bench.reading,
        "lost": bench.lost,
        "slow": agent.slow if agent else slow,
        "agent": {"there": agent.there, **said} if agent else None,
    }


@router.post("/benches/{rig:path}/piece", response_model=None, responses=told(OnRigTold))
def put_piece_on_rig(rig: str, piece: PieceOnIn, benches: TheBenches) -> dict[str, object]:
    """Put a piece on a rig, in the place of what is on it."""
    benches.put_on(rig, piece.serial)
    return {"rig": rig, "on_it": piece.serial}


@router.get("/bench/{serial:path}", response_model=None, responses=told(BenchTold))
def get_bench(
    serial: str, bench: TheBench, benches: TheBenches, rig: str = ""
) -> dict[str, object]:
    """Return what the technician is to do now; with a rig's name, `on_it` is of that rig."""
    agent = benches.agent_of(serial)
    return {
        "question": bench.question(serial),
        "problem": bench.problem(serial),
        "stamp": bench.stamp(serial) + (agent.stamp() if agent else ""),
        "on_it": (benches.at(rig) if rig else bench).on_it,
        "rig": benches.rig_of(serial),
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
def stop_spin(benches: TheBenches, rig: str = "") -> dict[str, str]:
    """Stop the spin that runs, on a rig if there are several; it is read and kept."""
    benches.at(rig).stop()
    return {"state": "stopped"}
