"""Rotors, machine proofs and matchings as JSON under /api/v1."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Response
from pydantic import Field

from ...quantities.errors import BadInput
from ...workshop.rotor.kept import rotor_story
from ...workshop.rotor.machine_proofs import match, prove_residual
from ...workshop.rotor.machines import find_matching, proofs_of, rotor_names
from ...workshop.rotor.measuring import (
    corrected,
    corrected_as_advised,
    measure_typed,
    measure_vibration,
    overdue,
)
from ...workshop.rotor.models import add_rotor, add_rotor_model, rotor_model
from ...workshop.rotor.reading import UNITS
from ...workshop.sheets.issue import issue_rotor_sheet
from ..access import Who, allowed
from ..answers.common import SheetTold, file_told, told
from ..answers.job import PieceMade
from ..answers.rotor import (
    KindMade,
    MadeTold,
    MatchingTold,
    NewReading,
    ProofsTold,
    ProofTold,
    RotorTold,
)
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Number, SheetIn, Shop, Word, example
from ..files import newest_sheet_answer

router = APIRouter(
    prefix=HOME, tags=["rotors"], responses=REFUSALS, dependencies=[Depends(allowed)]
)

Few = Field(max_length=6)
Unit = Annotated[str, Field(max_length=12)]


class KindIn(BodyIn):
    """A kind of rotor: the keys of its file."""

    model_config = example(content={"kind": "rotor", "name": "Blower 900"})

    content: dict[str, object]


class RotorIn(BodyIn):
    """A new rotor."""

    model_config = example(serial="B9-014", rotor="Blower 900")

    serial: Annotated[str, Field(min_length=1, max_length=120)]
    rotor: Word
    customer: Word = ""
    invoice: Word = ""


class ReadingIn(BodyIn):
    """What a machine's display says, one number for each plane; or vibration, one for each sensor.

    Vibration (`at`: supports) is taken through the machine's calibration: `rig` and `speed_rpm` are needed then.
    A unit that is empty is g·mm of planes, and the calibration's of supports.
    """

    model_config = example(amounts=[21000, 9000], angles_deg=[77, 200], rig="Machine 2")

    amounts: Annotated[list[Number], Few]
    angles_deg: Annotated[list[Number], Few]
    at: Literal["planes", "supports"] = "planes"
    unit: Unit = ""
    light_spot: bool = False
    speed_rpm: Number | None = None
    rig: Word = ""


class CorrectionIn(BodyIn):
    """A correction made; nothing given means as advised."""

    model_config = example(plane="left", angle_deg=180.0, amount_gmm=2000.0, way="add")

    plane: Word = ""
    angle_deg: Number = 0.0
    amount_gmm: Number = 0.0
    way: Literal["", "add", "remove"] = ""


class ProofIn(BodyIn):
    """A residual test: twelve amounts for each plane."""

    model_config = example(
        planes={"left": [10, 10.2, 9.9, 10, 10.1, 9.8, 10, 10, 10.3, 9.9, 10, 10.1]}
    )

    planes: dict[str, Annotated[list[Number], Field(max_length=12)]]
    due: Annotated[str, Field(max_length=10)] = ""


class MatchingIn(BodyIn):
    """Parts by kind: name, amount in g·mm, angle."""

    model_config = example(
        kinds={"wheel": [["C1", 0.5, 10]], "nut": [["N1", 0.2, 30]]}, steps_deg={"nut": 60}
    )

    kinds: dict[str, Annotated[list[tuple[Word, Number, Number]], Field(max_length=500)]]
    steps_deg: dict[str, Number] = Field(default_factory=dict)


@router.get("/rotor-kinds", response_model=None, responses=told(list[str]))
def list_rotor_kinds(shop: Shop) -> list[str]:
    """List the kinds of rotor."""
    return rotor_names(shop)


@router.get("/rotor-kinds/{name}", response_model=None, responses=told(dict[str, object]))
def get_rotor_kind(name: str, shop: Shop) -> dict[str, object]:
    """Return the keys of a kind of rotor."""
    return rotor_model(shop, name).model_dump(mode="json", exclude_unset=True)


@router.post("/rotor-kinds", status_code=201, response_model=None, responses=told(KindMade, 201))
def create_rotor_kind(kind: KindIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a kind of rotor, or a new version of it."""
    return {"rotor": add_rotor_model(shop, kind.content, by=who.name).name}


@router.post("/rotors", status_code=201, response_model=None, responses=told(PieceMade, 201))
def create_rotor(rotor: RotorIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a rotor."""
    row = rotor.model_dump()
    return {"piece": add_rotor(shop, row.pop("serial"), row.pop("rotor"), **row, by=who.name)}


@router.post(
    "/rotors/{serial:path}/readings",
    status_code=201,
    response_model=None,
    responses=told(NewReading, 201),
)
def record_reading(serial: str, reading: ReadingIn, shop: Shop, who: Who) -> dict[str, object]:
    """Record what a machine's display says, or vibration at its supports; returns verdict and advice."""
    amounts, angles, rig, speed = (
        reading.amounts,
        reading.angles_deg,
        reading.rig,
        reading.speed_rpm,
    )
    if reading.at == "supports":
        if reading.light_spot:
            raise BadInput("Vibration has no light spot.", remedy="Leave light_spot out.")
        read = measure_vibration(
            shop, serial, amounts, angles, unit=reading.unit, speed_rpm=speed, rig=rig, by=who.name
        )
    else:
        read = measure_typed(
            shop, serial, amounts, angles, unit=reading.unit or UNITS[0],
            light_spot=reading.light_spot, speed_rpm=speed, rig=rig, by=who.name,
        )  # fmt: skip
    return {**read.as_json(), "serial": serial}


@router.post(
    "/rotors/{serial:path}/corrections",
    status_code=201,
    response_model=None,
    responses=told(list[MadeTold], 201),
)
def record_correction(
    serial: str, made: CorrectionIn, shop: Shop, who: Who
) -> list[dict[str, object]]:
    """Record a correction, or that the advice was followed."""
    if not made.plane:
        return [asdict(c) for c in corrected_as_advised(shop, serial, by=who.name)]
    done = corrected(
        shop, serial, made.plane, made.angle_deg,
        amount_gmm=made.amount_gmm, way=made.way, by=who.name,
    )  # fmt: skip
    return [asdict(done.made)]


@router.get(
    "/rotors/{serial:path}/sheet.pdf",
    response_class=Response,
    responses=file_told("application/pdf"),
)
def get_rotor_sheet(serial: str, shop: Shop) -> Response:
    """Return the rotor's newest sheet as it was issued, byte for byte."""
    return newest_sheet_answer(shop, serial)


@router.post(
    "/rotors/{serial:path}/sheets",
    status_code=201,
    response_model=None,
    responses=told(SheetTold, 201),
)
def issue_rotor_sheet_now(serial: str, body: SheetIn, shop: Shop, who: Who) -> dict[str, object]:
    """Issue the rotor's sheet: it takes the place of the one before."""
    return asdict(issue_rotor_sheet(shop, serial, by=who.name, **body.model_dump()))


@router.get("/rotors/{serial:path}", response_model=None, responses=told(RotorTold))
def get_rotor(serial: str, shop: Shop) -> dict[str, object]:
    """Return a rotor with its readings and corrections."""
    return rotor_story(shop, serial).as_json()


@router.get("/machines/{name}/proofs", response_model=None, responses=told(ProofsTold))
def list_proofs(name: str, shop: Shop) -> dict[str, object]:
    """Return a machine's newest proofs, and what is past its day."""
    rows = [p.as_json() for p in proofs_of(shop, name)]
    return {"proofs": rows, "overdue": overdue(shop, name)}


@router.post(
    "/machines/{name}/proofs", status_code=201, response_model=None, responses=told(ProofTold, 201)
)
def record_residual_test(name: str, proof: ProofIn, shop: Shop, who: Who) -> dict[str, object]:
    """Judge and keep a residual test."""
    return prove_residual(shop, name, proof.planes, due=proof.due, by=who.name).as_json()


@router.post("/matchings", status_code=201, response_model=None, responses=told(MatchingTold, 201))
def create_matching(parts: MatchingIn, shop: Shop, who: Who) -> dict[str, object]:
    """Propose which parts to put together, and keep it."""
    return match(shop, parts.kinds, steps_deg=parts.steps_deg, by=who.name).as_json()


@router.get("/matchings/{id_}", response_model=None, responses=told(MatchingTold))
def get_matching(id_: str, shop: Shop) -> dict[str, object]:
    """Return a proposal."""
    found = find_matching(shop, id_)
    return {"id": id_, "at": found.at, "by": found.by, **found.content}
