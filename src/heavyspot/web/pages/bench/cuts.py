"""Cuts at the bench: made as advised or differently, taken back, amended."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import HeavyspotError
from ....quantities.typed import typed_number
from ....workshop.cartridge.grinding import (
    find_cut,
    ground,
    ground_as_advised,
    take_back,
    unground,
)
from ....workshop.cartridge.story import cartridge_story
from ....workshop.shop import Workshop
from ...access import Who, allowed
from ...deps import Shop, TheBench
from ...formats import figures, fixed
from ...page import Text, goto, page
from ...views.bench.typed_cuts import read_cuts
from .panel import advised_of, done, typed_page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.post("/bench/{serial:path}/as-advised")
def as_advised(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Record the advised cuts as made."""

    return done(request, serial, shop, bench, lambda: ground_as_advised(shop, serial, by=who.name))


@router.post("/bench/{serial:path}/undo")
def undo(request: Request, serial: str, shop: Shop, bench: TheBench, who: Who) -> Response:
    """Take back what was written down as ground just now."""
    return done(request, serial, shop, bench, lambda: take_back(shop, serial, by=who.name))


@router.get("/bench/{serial:path}/differently")
def differently(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The form of cuts made otherwise than advised, as advised to begin with."""
    return typed_page(request, cartridge_story(shop, serial), shop, bench, {}, whole=True)


@router.post("/bench/{serial:path}/typed")
async def typed_anew(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The form again with an answer, or a row more; nothing is written."""
    typed = _answered({k: str(v) for k, v in (await request.form()).items()})
    return typed_page(request, cartridge_story(shop, serial), shop, bench, typed)


@router.post("/bench/{serial:path}/ground")
async def ground_differently(
    request: Request, serial: str, shop: Shop, bench: TheBench, who: Who
) -> Response:
    """Record cuts that were made differently, all of them; while a question stands, none."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    story = cartridge_story(shop, serial)
    cuts = read_cuts(story.model, advised_of(story), typed)
    if not all(c.clear for c in cuts) or all(c.left_out for c in cuts):
        return typed_page(request, story, shop, bench, typed, status=422)

    def write() -> None:
        for c in cuts:
            if not c.left_out and c.angle_deg is not None:
                ground(
                    shop, serial, c.plane.name, c.angle_deg, depth_mm=c.depth_mm, by=who.name,
                    sure="depth_mm" in c.sure,
                )  # fmt: skip

    return done(request, serial, shop, bench, write)


def _answered(typed: dict[str, str]) -> dict[str, str]:
    """Return what is typed with the answer that was pressed put in its field."""
    field, _, value = typed.pop("answer", "").partition("=")
    if field == "more":
        typed |= {"rows": f"{typed.get('rows', '')}+"}
    elif field.startswith("sure-"):
        typed[field] = f"{typed.get(field, '')} {value}".strip()
    elif field:
        typed[field] = value
        if field.startswith("clock-"):  # what stands as degrees is not what is meant
            typed.pop(field.replace("clock", "angle_deg"), None)
    return typed


@router.get("/cuts/{cut_id}/{serial:path}")
def cut_page(request: Request, serial: str, cut_id: str, shop: Shop) -> Response:
    """A cut that was written down, to be amended."""
    return page(request, "bench/amend_cut.html", _cut_values(shop, serial, cut_id))


@router.post("/cuts/{cut_id}/{serial:path}")
def amend_cut(
    request: Request,
    serial: str,
    cut_id: str,
    shop: Shop,
    who: Who,
    plane: Text = "",
    angle_deg: Text = "",
    depth_mm: Text = "",
    why: Text = "",
    never: Text = "",
) -> Response:
    """Amend a cut: what was really ground, or that it never was."""
    try:
        if never:
            unground(shop, serial, cut_id, why=why, by=who.name)
        else:
            ground(
                shop, serial, plane, typed_number("angle", angle_deg), depth_mm=typed_number("depth", depth_mm),
                by=who.name, replaces=cut_id, why=why,
            )  # fmt: skip
    except HeavyspotError as fault:
        typed = {"plane": plane, "angle_deg": angle_deg, "depth_mm": depth_mm, "why": why}
        values = _cut_values(shop, serial, cut_id, typed) | {"fault": fault}
        return page(request, "bench/amend_cut.html", values, status=422)
    return goto("/bench", serial)


def _cut_values(
    shop: Workshop, serial: str, cut_id: str, typed: dict[str, str] | None = None
) -> dict[str, object]:
    story = cartridge_story(shop, serial)
    found = find_cut(story, cut_id)
    written = {
        "plane": found.plane,
        "angle_deg": figures(found.angle_deg, 6),
        "depth_mm": fixed(found.depth_mm),
    }
    return {"serial": serial, "cut": found, "model": story.model, "typed": written | (typed or {})}
