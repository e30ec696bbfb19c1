"""What the day's work rests on: models and rigs."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Depends, Request, Response

from ...balance.geometry import DENSITY_G_CM3
from ...quantities.errors import HeavyspotError, LedgerFault
from ...sources.toml_text import write_toml
from ...workshop.incoming import Watchers
from ...workshop.insight.gains import shop_gains
from ...workshop.model.card import cards
from ...workshop.model.model_file import ModelFile
from ...workshop.model.models import (
    add_model,
    add_model_text,
    find_model,
    model_entry,
    model_names,
)
from ...workshop.rig.record import KINDS, RigRecord, add_rig, all_rigs, find_rig, rig_version
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import Shop
from ..drawings.rotor_side import rotor_svg
from ..page import Text, goto, page
from ..speaking import refused, told
from ..views.insight import gains_panels
from ..views.model import limits_fold, model_card, plane_folds
from ..views.model_form import (
    NOT_ON_FORM,
    PLANE_ROWS,
    SENSOR_ROWS,
    faults_by_field,
    model_content,
    model_typed,
    rig_content,
    rig_typed,
)
from ..views.rig.record import rig_card

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

FEW_ADVICES = 50
"""Fewer advices than this in a tenth tell little of a chance (ours)."""

FIRST_MODEL: dict[str, object] = {
    "rotation": "clockwise",
    "plane": [{"name": "nut", "cutter": "flat", "material": "steel"}],
}


@router.get("/models")
def models(request: Request, shop: Shop) -> Response:
    """The models."""
    return models_page(request, shop)


def models_page(
    request: Request, shop: Workshop, *, fault: HeavyspotError | None = None, status: int = 200
) -> Response:
    """Return the list of models, with why something was refused."""
    taken = cards(shop)
    known = [model_card(find_model(shop, n), taken.get(n)) for n in model_names(shop)]
    values = {"models": known, "fault": fault}
    return page(request, "cartridge/models.html", values, status=status)


@router.get("/models/edit")
def model_page(
    request: Request, shop: Shop, name: str = "", like: str = "", back: str = ""
) -> Response:
    """The form for a model, new, by a name a piece bears already (`like`), or known."""
    content = (
        find_model(shop, name).model_dump(mode="json", exclude_unset=True) if name else FIRST_MODEL
    )
    if like and not name:
        content = content | {"name": like[:120]}
    typed = model_typed(content) | {
        "seen": model_entry(shop, name).id if name else "",
        "back": back,
    }
    return _model(request, typed, {}, known=name, content=content)


@router.post("/models")
async def put_model(request: Request, shop: Shop, who: Who) -> Response:
    """Add a model or a new version; each fault stands at its field with all that was typed."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    known = typed.get("known", "")
    old = find_model(shop, known).model_dump(mode="json", exclude_unset=True) if known else {}
    content = model_content(typed, old)
    faults = faults_by_field(ModelFile, content)
    if faults:
        return _model(request, typed, faults, known=known, content=content)
    seen = typed.get("seen") if known and content["name"] == known else None
    try:
        made = add_model(shop, content, by=who.name, seen=seen)
    except LedgerFault as fault:
        return _model(request, typed, {"": refused(fault)}, known=known, content=content)
    if back := typed.get("back", ""):
        return goto("/bench", back)
    return goto("/models#" + made.name)


@router.post("/models/text")
def put_model_text(request: Request, shop: Shop, who: Who, text: Text = "") -> Response:
    """Add a model from a model file's text."""
    try:
        model = add_model_text(shop, text, by=who.name)
    except HeavyspotError as fault:
        values = {"text": text, "fault": fault}
        return _model(request, model_typed(FIRST_MODEL), {}, known="", content={}, **values)
    return goto("/models#" + model.name)


@router.get("/gains")
def gains(request: Request, shop: Shop) -> Response:
    """What the shop gains, and whether the advice keeps its word."""
    told = shop_gains(shop)
    values = {"gains": told, "few_advices": FEW_ADVICES, "panels": gains_panels(told)}
    return page(request, "insight/gains.html", values)


@router.get("/rigs")
def rigs(request: Request, shop: Shop) -> Response:
    """The rigs, and until when their sensors may be trusted."""
    today = date.today().isoformat()
    cards = [rig_card(name, record, today) for name, record in all_rigs(shop).items()]
    watchers: Watchers = request.app.state.watchers
    folders = [
        (f.rig.name, f.folder, watchers.faults.get(f.rig.name), watchers.newest.get(f.rig.name, []))
        for f in watchers.folders
    ]
    return page(request, "rig/rigs.html", {"rigs": cards, "folders": folders})


@router.get("/rigs/edit")
def rig_page(request: Request, shop: Shop, name: str = "") -> Response:
    """The form for a rig, new or known."""
    content = find_rig(shop, name).model_dump(mode="json", exclude_defaults=True) if name else {}
    seen = {"name": name, "seen": rig_version(shop, name)}
    return _rig(request, rig_typed(content) | seen, {}, known=name)


@router.post("/rigs")
async def put_rig(request: Request, shop: Shop, who: Who) -> Response:
    """Add a rig or a new version; each fault stands at its field with all that was typed."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    name, known = typed.get("name", "").strip(), typed.get("known", "")
    there = find_rig(shop, known).model_dump(mode="json", exclude_defaults=True) if known else {}
    content = {k: v for k, v in there.items() if k in NOT_ON_FORM} | rig_content(typed)
    faults = faults_by_field(RigRecord, content)
    if not name:
        faults["name"] = told("typed.needed")
    if faults:
        return _rig(request, typed, faults, known=known)
    seen = typed.get("seen") if known == name else None
    try:
        add_rig(shop, name, content, by=who.name, seen=seen)
    except LedgerFault as fault:
        return _rig(request, typed, {"": refused(fault)}, known=known)
    return goto("/rigs")


def _model(
    request: Request,
    typed: dict[str, str],
    faults: dict[str, str],
    *,
    known: str,
    content: dict[str, object],
    **more: object,
) -> Response:
    values = {
        "typed": typed,
        "faults": faults,
        "known": known,
        "rows": range(PLANE_ROWS),
        "materials": list(DENSITY_G_CM3),
        "text": write_toml(content),
        "planes": plane_folds(typed, faults, PLANE_ROWS),
        "limits": limits_fold(typed, faults),
        "rotor": rotor_svg([typed.get(f"plane-{i}-name", "") for i in range(PLANE_ROWS)]),
    }
    status = 422 if faults or more else 200
    return page(request, "cartridge/model.html", values | more, status=status)


def _rig(
    request: Request, typed: dict[str, str], faults: dict[str, str], *, known: str
) -> Response:
    values: dict[str, object] = {"typed": typed, "faults": faults, "known": known}
    values |= {"rows": range(SENSOR_ROWS), "kinds": KINDS}
    return page(request, "rig/rig.html", values, status=422 if faults else 200)
