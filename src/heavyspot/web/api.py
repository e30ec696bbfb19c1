"""Everything the screens do, as JSON under /api."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, Field

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
