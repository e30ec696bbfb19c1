"""Proofs, calibrations and indexing of the low-speed machines; matching of parts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from fastapi import APIRouter, Depends, Request, Response

from ....balance.rotor.machine_proof import POSITIONS_DEG, masses_for
from ....balance.rotor.tooling import index_method
from ....quantities.angles import angle_of, phasor
from ....quantities.errors import HeavyspotError
from ....quantities.typed import typed_number
from ....workshop.rig.record import find_rig
from ....workshop.rotor.machine_calibration import calibrate_machine
from ....workshop.rotor.machine_proofs import (
    match,
    prove_compensator,
    prove_reduction,
    prove_residual,
)
from ....workshop.rotor.machines import newest_matchings, proofs_of, rotor_names
from ....workshop.rotor.measuring import overdue
from ....workshop.rotor.proposal import kept_proposal
from ....workshop.rotor.vectors import read_numbers, read_pair, read_pairs, read_parts, read_trials
from ....workshop.shop import Workshop
from ...access import Who, allowed
from ...deps import Shop
from ...page import Text, goto, page
from ...views.rotor.matching import matching_picture
from ...views.rotor.proof import proof_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

FIRST_PARTS = """kind,name,amount_gmm,angle_deg
compressor wheel,C1,0.50,10
compressor wheel,C2,0.20,90
shaft and wheel,S1,0.30,0
shaft and wheel,S2,0.60,200
nut,N1,0.05,0
nut,N2,0.10,120
"""

FIRST_TRIALS = """run,plane1,plane2,support A,support B
as it is,0,0,1.20@40,0.80@200
trial left,20@0,0,2.10@25,0.95@180
trial right,0,20@0,1.25@70,1.90@150
"""


@router.get("/machines/{name:path}")
def machine_page(request: Request, name: str, shop: Shop) -> Response:
    """A low-speed machine: its proofs, drawn with their limits, and the forms for the next."""
    return page(request, "rig/machine.html", _machine(shop, name))


def _machine(shop: Workshop, name: str, **more: object) -> dict[str, object]:
    rig = find_rig(shop, name)
    proofs = [proof_view(p) for p in proofs_of(shop, name)]
    return {
        "name": name,
        "rig": rig,
        "proofs": proofs,
        "overdue": overdue(shop, name),
        "positions": [round(p) for p in POSITIONS_DEG],
        "rotors": rotor_names(shop),
        "trials": FIRST_TRIALS,
        "typed": {},
        **more,
    }


@router.post("/machines/{name:path}/masses")
def masses(
    request: Request, name: str, shop: Shop, least_gmm: Text = "", radius_mm: Text = ""
) -> Response:
    """What masses the tests ask for."""
    typed = {"least_gmm": least_gmm, "radius_mm": radius_mm}
    return _tried(
        request, shop, name, lambda: {"masses": masses_for(_one(least_gmm), _one(radius_mm))}, typed
    )


@router.post("/machines/{name:path}/residual")
async def residual(request: Request, name: str, shop: Shop, who: Who) -> Response:
    """Keep a residual test."""
    typed = {k: str(v) for k, v in (await request.form()).items()}

    def act() -> dict[str, object]:
        planes = {}
        for i in (1, 2):
            read = [typed.get(f"plane{i}-{k}", "").strip() for k in range(12)]
            if any(read):
                planes[f"plane {i}"] = [_one(r) for r in read]
        prove_residual(shop, name, planes, due=typed.get("due", ""), by=who.name)
        return {}

    return _tried(request, shop, name, act, typed)


@router.post("/machines/{name:path}/reduction")
def reduction(
    request: Request,
    name: str,
    shop: Shop,
    who: Who,
    stationary: Text = "",
    travelling_gmm: Text = "",
    positions: Text = "",
    readings: Text = "",
    least_gmm: Text = "",
    claimed: Text = "95",
    due: Text = "",
) -> Response:
    """Keep a reduction test of one plane."""
    typed = {
        "stationary": stationary, "travelling_gmm": travelling_gmm, "positions": positions,
        "readings": readings, "least_gmm": least_gmm, "claimed": claimed, "due": due,
    }  # fmt: skip

    def act() -> dict[str, object]:
        prove_reduction(
            shop, name, {"plane 1": read_pairs(readings)},
            stationary=read_pair(stationary), travelling_gmm=_one(travelling_gmm),
            positions_deg=read_numbers(positions), least_gmm=_one(least_gmm),
            claimed=_one(claimed) / 100, due=due, by=who.name,
        )  # fmt: skip
        return {}

    return _tried(request, shop, name, act, typed)


@router.post("/machines/{name:path}/compensator")
def compensator(
    request: Request,
    name: str,
    shop: Shop,
    who: Who,
    vectors: Text = "",
    compensated_gmm: Text = "",
    least: Text = "",
    due: Text = "",
) -> Response:
    """Keep a compensator test of one plane."""
    typed = {"vectors": vectors, "compensated_gmm": compensated_gmm, "least": least, "due": due}

    def act() -> dict[str, object]:
        prove_compensator(
            shop, name, {"plane 1": read_pairs(vectors)},
            compensated_gmm=_one(compensated_gmm), least_gmm=_one(least), due=due, by=who.name,
        )  # fmt: skip
        return {}

    return _tried(request, shop, name, act, typed)


@router.post("/machines/{name:path}/index")
def index(
    request: Request, name: str, shop: Shop, indexed: Text = "", step: Text = "180"
) -> Response:
    """Tell rotor and fixture apart."""
    typed = {"indexed": indexed, "step": step}

    def act() -> dict[str, object]:
        pairs = np.array(read_pairs(indexed)).reshape(-1, 2)
        found = index_method(phasor(pairs[:, 0], pairs[:, 1]), np.arange(len(pairs)) * _one(step))
        parts = {"rotor": found.rotor, "fixture": found.fixture}
        return {
            "indexed": {k: (abs(u), float(angle_of(u))) for k, u in parts.items()},
            "indexed_u": 2 * found.standard if len(pairs) > 2 else None,
        }

    return _tried(request, shop, name, act, typed)


@router.post("/machines/{name:path}/calibration")
def calibration(
    request: Request,
    name: str,
    shop: Shop,
    who: Who,
    rotor: Text = "",
    speed: Text = "",
    unit: Text = "",
    table: Text = "",
) -> Response:
    """Calibrate the machine for a rotor by trial masses."""
    typed = {"rotor": rotor, "speed": speed, "unit": unit, "table": table}

    def act() -> dict[str, object]:
        added, read, names = read_trials(table)
        told = calibrate_machine(
            shop,
            name,
            rotor,
            added,
            read,
            speed_rpm=_one(speed),
            units=[unit] if unit else [],
            names=names,
            by=who.name,
        )
        return {"calibrated": told}

    return _tried(request, shop, name, act, typed)


def _one(text: str) -> float:
    return typed_number("a field", text)


def _tried(
    request: Request,
    shop: Workshop,
    name: str,
    act: Callable[[], dict[str, object]],
    typed: dict[str, str],
) -> Response:
    """Do it and show the machine with what came of it; a fault stands there with all that was typed."""
    find_rig(shop, name)
    try:
        found = act()
    except HeavyspotError as fault:
        return page(
            request, "rig/machine.html", _machine(shop, name, fault=fault, typed=typed), status=422
        )
    if not found:
        return goto("/machines", name)
    return page(request, "rig/machine.html", _machine(shop, name, typed=typed, **found))


@router.get("/matching")
def matching_page(request: Request, shop: Shop, kept: str = "") -> Response:
    """Which parts to put together: the table, and the newest proposals."""
    told = kept_proposal(shop, kept)[1] if kept else None
    picture = matching_picture(told) if told else ""
    values = {"told": told, "picture": picture, "table": FIRST_PARTS, "steps": ""}
    return page(request, "rotor/matching.html", values | {"newest": newest_matchings(shop, 8)})


@router.post("/matching")
def new_matching(
    request: Request, shop: Shop, who: Who, table: Text = "", steps: Text = ""
) -> Response:
    """Propose which parts to put together, and keep it."""
    try:
        turns = {}
        for line in steps.replace(";", "\n").splitlines():
            kind, _, value = line.partition("=")
            if line.strip():
                turns[kind.strip()] = _one(value)
        told = match(shop, read_parts(table), steps_deg=turns, by=who.name)
    except HeavyspotError as fault:
        values = {"fault": fault, "table": table, "steps": steps, "told": None, "newest": []}
        return page(request, "rotor/matching.html", values, status=422)
    return goto("/matching?kept=" + told.id)
