"""What the day's work rests on: models and rigs."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Depends, Request, Response

from ...balance.geometry import DENSITY_G_CM3
from ...quantities.errors import HeavyspotError, LedgerFault
from ...sources.toml_text import write_toml
from ...workshop.cartridge.model_file import ModelFile
from ...workshop.insight.gains import shop_gains
from ...workshop.rig.record import KINDS, RigRecord
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page
from .model_form import (
    PLANE_ROWS,
    SENSOR_ROWS,
    faults_by_field,
    model_content,
    model_typed,
    rig_content,
    rig_typed,
)

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

FIRST_MODEL: dict[str, Any] = {
    "rotation": "clockwise",
    "plane": [{"name": "nut", "cutter": "flat", "material": "steel"}],
}


@router.get("/models")
def models(request: Request, shop: Shop) -> Response:
    """The models."""
    values = {"models": [shop.model(n) for n in shop.book.model_names()]}
    return page(request, "models.html", values)


@router.get("/models/edit")
def model_page(request: Request, shop: Shop, name: str = "") -> Response:
    """The form for a model, new or known."""
    content = shop.model(name).model_dump(mode="json", exclude_unset=True) if name else FIRST_MODEL
    row = shop.book.model(name) if name else None
    typed = model_typed(content) | {"seen": row["id"] if row else ""}
    return _model(request, typed, {}, known=name, content=content)


@router.post("/models")
async def put_model(request: Request, shop: Shop, who: Who) -> Response:
    """Add a model or a new version; each fault stands at its field with all that was typed."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    known = typed.get("known", "")
    old = shop.model(known).model_dump(mode="json", exclude_unset=True) if known else {}
    content = model_content(typed, old)
    faults = faults_by_field(ModelFile, content)
    if faults:
        return _model(request, typed, faults, known=known, content=content)
    seen = typed.get("seen") if known and content["name"] == known else None
    try:
        made = shop.add_model(content, by=who.name, seen=seen)
    except LedgerFault as fault:
        return _model(
            request, typed, {"": f"{fault.message} {fault.remedy}"}, known=known, content=content
        )
    return goto("/models#" + made.name)


@router.post("/models/text")
def put_model_text(request: Request, shop: Shop, who: Who, text: Text = "") -> Response:
    """Add a model from a model file's text."""
    try:
        model = shop.add_model_text(text, by=who.name)
    except HeavyspotError as fault:
        values = {"text": text, "fault": fault}
        return _model(request, model_typed(FIRST_MODEL), {}, known="", content={}, **values)
    return goto("/models#" + model.name)


@router.get("/gains")
def gains(request: Request, shop: Shop) -> Response:
    """What the shop gains, and whether the advice keeps its word."""
    return page(request, "gains.html", {"gains": shop_gains(shop)})


@router.get("/rigs")
def rigs(request: Request, shop: Shop) -> Response:
    """The rigs, and until when their sensors may be trusted."""
    known = {name: shop.rig(name) for name in shop.book.rig_names()}
    return page(request, "rigs.html", {"rigs": known, "today": date.today().isoformat()})


@router.get("/rigs/edit")
def rig_page(request: Request, shop: Shop, name: str = "") -> Response:
    """The form for a rig, new or known."""
    content = shop.rig(name).model_dump(mode="json", exclude_defaults=True) if name else {}
    row = shop.book.rig(name) if name else None
    seen = {"name": name, "seen": row["id"] if row else ""}
    return _rig(request, rig_typed(content) | seen, {}, known=name)


@router.post("/rigs")
async def put_rig(request: Request, shop: Shop, who: Who) -> Response:
    """Add a rig or a new version; each fault stands at its field with all that was typed."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    content, name = rig_content(typed), typed.get("name", "").strip()
    faults = faults_by_field(RigRecord, content)
    if not name:
        faults["name"] = "needed"
    if faults:
        return _rig(request, typed, faults, known=typed.get("known", ""))
    known = typed.get("known", "")
    seen = typed.get("seen") if known == name else None
    try:
        shop.add_rig(name, content, by=who.name, seen=seen)
    except LedgerFault as fault:
        return _rig(request, typed, {"": f"{fault.message} {fault.remedy}"}, known=known)
    return goto("/rigs")


def _model(
    request: Request,
    typed: dict[str, str],
    faults: dict[str, str],
    *,
    known: str,
    content: dict[str, Any],
    **more: Any,
) -> Response:
    values = {
        "typed": typed,
        "faults": faults,
        "known": known,
        "rows": range(PLANE_ROWS),
        "materials": list(DENSITY_G_CM3),
        "text": write_toml(content),
    }
    status = 422 if faults or more else 200
    return page(request, "model.html", values | more, status=status)


def _rig(
    request: Request, typed: dict[str, str], faults: dict[str, str], *, known: str
) -> Response:
    values: dict[str, Any] = {"typed": typed, "faults": faults, "known": known}
    values |= {"rows": range(SENSOR_ROWS), "kinds": KINDS}
    return page(request, "rig.html", values, status=422 if faults else 200)
