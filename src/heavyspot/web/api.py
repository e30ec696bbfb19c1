"""Everything the screens do, as JSON under /api."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from ..sources.writers import write_recording
from ..workshop import look
from ..workshop.bench import Bench
from ..workshop.curves_view import curves_view
from ..workshop.shop import Workshop


def shop_of(request: Request) -> Workshop:
    """Return the application's workshop."""
    shop: Workshop = request.app.state.shop
    return shop


def bench_of(request: Request) -> Bench:
    """Return the application's bench."""
    bench: Bench = request.app.state.bench
    return bench


Shop = Annotated[Workshop, Depends(shop_of)]
TheBench = Annotated[Bench, Depends(bench_of)]
Number = Annotated[float, Field(allow_inf_nan=False)]

REFUSALS: dict[int | str, dict[str, Any]] = {
    403: {"description": "Asked by another site's page"},
    404: {"description": "No such piece"},
    422: {"description": "Bad input: error and remedy"},
}
router = APIRouter(responses=REFUSALS)


class PieceIn(BaseModel):
    """A new piece."""

    model_config = ConfigDict(extra="forbid")
    serial: str
    model: str
    customer: str = ""
    invoice: str = ""
    position: str = ""
    by: str = ""


class CutIn(BaseModel):
    """A cut really made: exactly one of mass, depth or unbalance."""

    model_config = ConfigDict(extra="forbid")
    plane: str
    angle_deg: Number
    mass_mg: Number | None = None
    depth_mm: Number | None = None
    unbalance_gmm: Number | None = None
    by: str = ""
    replaces: str | None = None
    why: str = ""


class SpinIn(BaseModel):
    """Start of a spin."""

    model_config = ConfigDict(extra="forbid")
    operator: str = ""


@router.get("/models")
def models(shop: Shop) -> list[str]:
    """List the models."""
    return shop.book.model_names()


@router.get("/pieces")
def pieces(shop: Shop) -> list[dict[str, Any]]:
    """List the pieces with their last verdict."""
    keys = ("serial", "model", "customer", "invoice", "position", "number", "verdict")
    return [{k: r[k] for k in keys} for r in shop.book.pieces()]


@router.post("/pieces", status_code=201)
def add_piece(piece: PieceIn, shop: Shop) -> dict[str, str]:
    """Add a piece."""
    return {"piece": shop.add_piece(**piece.model_dump())}


@router.get("/pieces/{serial:path}/curves")
def curves(serial: str, shop: Shop) -> dict[str, Any]:
    """Return all runs, the limit and the prediction on one speed axis, for drawing."""
    return curves_view(shop, serial)


@router.post("/pieces/{serial:path}/cuts", status_code=201)
def add_cut(serial: str, cut: CutIn, shop: Shop) -> dict[str, Any]:
    """Record a cut really made."""
    values = cut.model_dump()
    return shop.ground(serial, values.pop("plane"), values.pop("angle_deg"), **values)


@router.get("/bench/{serial:path}")
def bench_state(serial: str, bench: TheBench) -> dict[str, Any]:
    """Return what the technician is to do now."""
    return {"question": bench.question(serial), "problem": bench.problem}


@router.post("/bench/{serial:path}/spin", status_code=202)
def start_spin(serial: str, spin: SpinIn, bench: TheBench) -> dict[str, str]:
    """Start capturing a spin."""
    return {"capture": bench.spin(serial, operator=spin.operator).id}


@router.post("/bench/stop", status_code=202)
def stop_spin(bench: TheBench) -> dict[str, str]:
    """Stop the spin that runs; it is read and kept."""
    bench.stop()
    return {"state": "stopped"}


@router.get("/pieces/{serial:path}")
def piece(serial: str, shop: Shop) -> dict[str, Any]:
    """Return a piece with its runs and cuts."""
    return shop.story(serial)


@router.get("/runs/{number}/passes/{serial:path}")
def run_passes(serial: str, number: int, shop: Shop) -> dict[str, Any]:
    """Return every pass of a run, with its findings."""
    row, curves_ = look.find_run(shop, serial, number)
    return {"passes": look.passes_view(curves_), "findings": row["result"]["findings"]}


@router.get("/runs/{number}/map/{serial:path}", response_class=Response)
def run_map(serial: str, number: int, shop: Shop) -> Response:
    """Return the speed-frequency map as bytes, a row a spectrum; shape and axes in headers."""
    row, curves_ = look.find_run(shop, serial, number)
    drawn = look.draw_map(look.archived(shop, row), curves_)
    return Response(
        drawn.levels.tobytes(),
        media_type="application/octet-stream",
        headers={
            "X-Rows": str(drawn.levels.shape[0]),
            "X-Columns": str(drawn.levels.shape[1]),
            "X-Seconds": f"{drawn.seconds:.6f}",
            "X-Highest-Hz": f"{drawn.highest_hz:.3f}",
            "X-Speed-Hz": ",".join("" if v is None else f"{v:.1f}" for v in drawn.speed_hz),
        },
    )


@router.get("/runs/{number}/moment/{serial:path}")
def run_moment(serial: str, number: int, shop: Shop, speed_rpm: Number) -> dict[str, Any]:
    """Return waveform and spectrum at a speed of a run."""
    row, curves_ = look.find_run(shop, serial, number)
    return look.moment(look.archived(shop, row), curves_, speed_rpm)


@router.get("/runs/{number}/curve.csv/{serial:path}", response_class=Response)
def run_csv(serial: str, number: int, shop: Shop) -> Response:
    """Return a run's curves as CSV."""
    _, curves_ = look.find_run(shop, serial, number)
    return Response(
        "".join(look.curve_csv(curves_)),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="run-{number}.csv"'},
    )


@router.get("/runs/{number}/recording.uff/{serial:path}", response_class=Response)
def run_uff(serial: str, number: int, shop: Shop) -> Response:
    """Return a run's recording as UFF 58, binary."""
    row, _ = look.find_run(shop, serial, number)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.uff"
        write_recording(look.archived(shop, row), path)
        content = path.read_bytes()
    return Response(
        content,
        media_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="run-{number}.uff"'},
    )
