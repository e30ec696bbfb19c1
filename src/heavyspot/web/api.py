"""Everything the screens do, as JSON under /api."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from ..workshop.bench.bench import Bench
from ..workshop.cartridge.curves_view import curves_view
from ..workshop.insight.gains import shop_gains
from ..workshop.job.editing import Member, add_job, amend_job, amend_piece, find_job
from ..workshop.people import People
from ..workshop.shop import Workshop
from .access import Who, allowed
from .files import Language, label_answer, sheet_answer


def shop_of(request: Request) -> Workshop:
    """Return the application's workshop."""
    shop: Workshop = request.app.state.shop
    return shop


def people_of(request: Request) -> People:
    """Return the application's accounts."""
    people: People = request.app.state.people
    return people


def bench_of(request: Request) -> Bench:
    """Return the application's bench."""
    bench: Bench = request.app.state.bench
    return bench


Shop = Annotated[Workshop, Depends(shop_of)]
TheBench = Annotated[Bench, Depends(bench_of)]
Number = Annotated[float, Field(allow_inf_nan=False)]

Word = Annotated[str, Field(max_length=120)]
Line = Annotated[str, Field(max_length=400)]

REFUSALS: dict[int | str, dict[str, Any]] = {
    401: {"description": "Not logged in"},
    403: {"description": "Asked by another site's page, or the role is not enough"},
    404: {"description": "No such piece"},
    422: {"description": "Bad input: error and remedy"},
    503: {"description": "The ledger cannot be reached or written"},
}
router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class BodyIn(BaseModel):
    """A body with no unknown keys."""

    model_config = ConfigDict(extra="forbid")


class MemberIn(BodyIn):
    """A piece of a job."""

    serial: Word
    model: Word
    position: Annotated[str, Field(max_length=40)] = ""


class PieceIn(MemberIn):
    """A new piece; the same customer and invoice are the same job."""

    customer: Line = ""
    invoice: Annotated[str, Field(max_length=80)] = ""
    by: Word = ""


class JobIn(BodyIn):
    """A new job with its pieces."""

    customer: Line = ""
    invoice: Annotated[str, Field(max_length=80)] = ""
    due: Annotated[str, Field(max_length=10)] = ""
    note: Annotated[str, Field(max_length=2000)] = ""
    pieces: Annotated[list[MemberIn], Field(min_length=1, max_length=100)]


class AmendIn(BodyIn):
    """Changed fields with their new values, and why."""

    changes: dict[str, Annotated[str, Field(max_length=2000)]]
    why: Line


class ModelIn(BodyIn):
    """A model: the keys of a model file."""

    content: dict[str, Any]


class RigIn(BodyIn):
    """A rig: its name and the keys of its record."""

    name: Word
    content: dict[str, Any] = {}


class UserIn(BodyIn):
    """A user, or a new password for one."""

    name: Word
    role: Word
    password: Annotated[str, Field(max_length=400)]


class CutIn(BodyIn):
    """A cut really made: exactly one of mass, depth or unbalance."""

    plane: Word
    angle_deg: Number
    mass_mg: Number | None = None
    depth_mm: Number | None = None
    unbalance_gmm: Number | None = None
    by: Word = ""
    replaces: Annotated[str, Field(max_length=36)] | None = None
    why: Line = ""


class SpinIn(BodyIn):
    """Start of a spin."""

    operator: Word = ""
    oil_temperature_c: Number | None = None
    oil_pressure_kpa: Number | None = None


class RescueIn(BodyIn):
    """What to do with an interrupted spin."""

    keep: bool = True


@router.get("/models")
def models(shop: Shop) -> list[str]:
    """List the models."""
    return shop.book.model_names()


@router.get("/models/{name}")
def model(name: str, shop: Shop) -> dict[str, Any]:
    """Return a model's keys."""
    return shop.model(name).model_dump(mode="json", exclude_unset=True)


@router.post("/models", status_code=201)
def add_model(model: ModelIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a model, or a new version of it."""
    return {"model": shop.add_model(model.content, by=who.name).name}


@router.get("/rigs")
def rigs(shop: Shop) -> list[str]:
    """List the rigs."""
    return shop.book.rig_names()


@router.get("/rigs/{name}")
def rig(name: str, shop: Shop) -> dict[str, Any]:
    """Return a rig's record."""
    return shop.rig(name).model_dump(mode="json")


@router.post("/rigs", status_code=201)
def add_rig(rig: RigIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a rig, or a new version of it."""
    shop.add_rig(rig.name, rig.content, by=who.name)
    return {"rig": rig.name.strip()}


@router.get("/gains")
def gains(shop: Shop) -> dict[str, Any]:
    """Return what the newest pieces tell of runs, cuts and kept promises."""
    return asdict(shop_gains(shop))


@router.get("/users")
def users(request: Request) -> list[dict[str, str]]:
    """List the users."""
    return people_of(request).users()


@router.post("/users", status_code=201)
def set_user(user: UserIn, request: Request, who: Who) -> dict[str, str]:
    """Add a user, or give one a new password and role."""
    people_of(request).set_user(user.name, user.role, user.password, by=who.name)
    return {"user": user.name.strip()}


@router.delete("/users/{name}")
def end_user(name: str, request: Request, who: Who) -> dict[str, str]:
    """End an account."""
    people_of(request).end_user(name, by=who.name)
    return {"ended": name}


@router.get("/jobs")
def jobs(shop: Shop) -> list[dict[str, Any]]:
    """List the newest jobs."""
    return shop.book.recent_jobs()


@router.post("/jobs", status_code=201)
def new_job(job: JobIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a job with its pieces."""
    about = job.model_dump()
    members = [Member(**m) for m in about.pop("pieces")]
    return {"job": add_job(shop, members, by=who.name, **about)}


@router.get("/jobs/{job_id}")
def job(job_id: str, shop: Shop) -> dict[str, Any]:
    """Return a job with its pieces and amendments."""
    about = find_job(shop, job_id)
    members = shop.book.pieces(job_id=job_id)
    return about | {"pieces": members, "amendments": shop.book.amendments(job_id)}


@router.patch("/jobs/{job_id}")
def change_job(job_id: str, amend: AmendIn, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a job."""
    amend_job(shop, job_id, amend.changes, by=who.name, why=amend.why)
    return {"job": job_id}


@router.get("/pieces")
def pieces(shop: Shop, most: Annotated[int, Field(ge=1, le=1000)] = 200) -> list[dict[str, Any]]:
    """List the newest pieces with their last verdict, oldest first."""
    keys = ("serial", "model", "customer", "invoice", "position", "number", "verdict")
    return [{k: r[k] for k in keys} for r in shop.book.pieces(most=most)]


@router.post("/pieces", status_code=201)
def add_piece(piece: PieceIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a piece."""
    values = piece.model_dump()
    return {"piece": shop.add_piece(**values | {"by": who.name or piece.by})}


@router.patch("/pieces/{serial:path}")
def change_piece(serial: str, amend: AmendIn, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a piece's serial, model or position."""
    return {"serial": amend_piece(shop, serial, amend.changes, by=who.name, why=amend.why)}


@router.get("/pieces/{serial:path}/curves")
def curves(serial: str, shop: Shop) -> dict[str, Any]:
    """Return all runs, the limit and the prediction on one speed axis, for drawing."""
    return curves_view(shop, serial)


@router.get("/pieces/{serial:path}/sheet.pdf", response_class=Response)
def sheet(serial: str, shop: Shop, who: Who, language: Language = "") -> Response:
    """Issue the customer's sheet."""
    return sheet_answer(shop, serial, by=who.name, language=language)


@router.get("/pieces/{serial:path}/label.pdf", response_class=Response)
def label(serial: str, shop: Shop, size: Word = "29x62") -> Response:
    """Make a label."""
    return label_answer(shop, [serial], size)


@router.post("/pieces/{serial:path}/cuts", status_code=201)
def add_cut(serial: str, cut: CutIn, shop: Shop, who: Who) -> dict[str, Any]:
    """Record a cut really made, or amend one."""
    values = cut.model_dump() | {"by": who.name or cut.by}
    return shop.ground(serial, values.pop("plane"), values.pop("angle_deg"), **values)


@router.delete("/cuts/{cut_id}/{serial:path}")
def void_cut(serial: str, cut_id: str, why: Line, shop: Shop, who: Who) -> dict[str, str]:
    """Amend a cut that was never made; the entry stays in the ledger."""
    shop.unground(serial, cut_id, why=why, by=who.name)
    return {"amended": cut_id}


@router.get("/bench/{serial:path}")
def bench_state(serial: str, bench: TheBench) -> dict[str, Any]:
    """Return what the technician is to do now."""
    return {"question": bench.question(serial), "problem": bench.problem}


@router.post("/bench/{serial:path}/listen")
def listen(serial: str, bench: TheBench) -> list[dict[str, Any]]:
    """Listen to the standing rig."""
    return [asdict(check) for check in bench.listen(serial)]


@router.post("/bench/{serial:path}/spin", status_code=202)
def start_spin(serial: str, spin: SpinIn, bench: TheBench, who: Who) -> dict[str, str]:
    """Start capturing a spin."""
    oil = (spin.oil_temperature_c, spin.oil_pressure_kpa)
    return {"capture": bench.spin(serial, operator=spin.operator or who.name, oil=oil).id}


@router.post("/bench/{serial:path}/rescue")
def rescue(serial: str, rescue: RescueIn, bench: TheBench) -> dict[str, Any]:
    """Read, or remove, what an interrupted spin left."""
    bench.rescue(serial, keep=rescue.keep)
    return {"question": bench.question(serial), "problem": bench.problem}


@router.post("/bench/stop", status_code=202)
def stop_spin(bench: TheBench) -> dict[str, str]:
    """Stop the spin that runs; it is read and kept."""
    bench.stop()
    return {"state": "stopped"}


@router.get("/search")
def search(shop: Shop, q: Annotated[str, Query(max_length=300)] = "") -> dict[str, Any]:
    """Find pieces by any part of anything written of them; `exact` is false for words typed wrong."""
    return asdict(shop.book.search.find(q))


@router.get("/pieces/{serial:path}")
def piece(serial: str, shop: Shop) -> dict[str, Any]:
    """Return a piece with its runs and cuts."""
    return shop.story(serial)
