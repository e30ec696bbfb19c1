"""A recording is brought into the browser: by choosing its file, or by dropping it on the page."""

from __future__ import annotations

from typing import Annotated, get_args

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile

from ...quantities.errors import BadInput, HeavyspotError
from ...quantities.said import Said
from ...quantities.typed import typed_or_none
from ...sources.curve_reading import StatedTable, table_from_pasted
from ...sources.curve_table import CurveTable, Unit
from ...sources.sidecar import Stated, TimeUnit
from ...workshop.bench.bench import Bench
from ...workshop.bench.set_up import checked_operator
from ...workshop.cartridge.received import endings, spin_received
from ...workshop.cartridge.story import cartridge_story
from ...workshop.cartridge.tabled.spinning import spin_table
from ...workshop.rig.record import all_rigs
from ...workshop.rig.simulated import is_simulated
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..api.curves import table_of
from ..deps import Shop, TheBench
from ..page import Text, goto, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/recordings/{serial:path}")
def recording_page(request: Request, serial: str, shop: Shop, who: Who) -> Response:
    """Where a piece's recording is handed in."""
    cartridge_story(shop, serial)
    return _page(request, shop, serial, {"operator": who.name})


@router.post("/recordings/{serial:path}")
def bring(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    who: Who,
    recording: Annotated[UploadFile | None, File()] = None,
    sidecar: Annotated[UploadFile | None, File()] = None,
    operator: Text = "",
    rig: Text = "",
    rate: Text = "",
    time_unit: Text = "",
    group: Text = "",
) -> Response:
    """Read what was handed in, and go to the bench with what it says."""
    typed = {"operator": operator, "rig": rig}
    typed |= {"rate": rate, "time_unit": time_unit, "group": group}
    try:
        if recording is None or not recording.filename:
            raise BadInput(
                Said("refusal.no_file_was_chosen"),
                remedy=Said("remedy.choose_the_recording_file_or"),
            )
        _not_while_it_spins(bench, serial)
        by = who.signs(checked_operator(operator))
        stated = Stated(typed_or_none("sample rate", rate), time_unit or None, group.strip())
        beside = sidecar.file if sidecar is not None and sidecar.filename else None
        spin_received(
            shop, serial, recording.filename, recording.file, beside, operator=by, rig=rig,
            stated=stated,
        )  # fmt: skip
    except HeavyspotError as fault:
        return _page(request, shop, serial, typed, fault)
    return goto("/bench", serial)


@router.post("/curves/{serial:path}")
def bring_table(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    who: Who,
    table_file: Annotated[UploadFile | None, File()] = None,
    table: Text = "",
    unit: Text = "",
    measure: Text = "",
    operator: Text = "",
    rig: Text = "",
    recorded_at: Text = "",
) -> Response:
    """Take a run as a table, typed, pasted or a file, and go to the bench with what it says."""
    typed = {"table": table, "unit": unit, "measure": measure, "operator": operator}
    typed |= {"rig": rig, "recorded_at": recorded_at}
    try:
        by = who.signs(checked_operator(operator))
        stated = StatedTable(unit, measure, rig, by, recorded_at.strip())
        _not_while_it_spins(bench, serial)
        spin_table(shop, serial, _table(table, table_file, stated), operator=by, rig=rig)
    except HeavyspotError as fault:
        return _page(request, shop, serial, typed, fault)
    return goto("/bench", serial)


def _table(typed: str, file: UploadFile | None, stated: StatedTable) -> CurveTable:
    there = file is not None and bool(file.filename)
    if there == bool(typed.strip()):
        raise BadInput(
            Said("refusal.there_is_no_table_or"), remedy=Said("remedy.type_one_or_choose_a")
        )
    if file is not None and there:
        return table_of(file, stated)
    return table_from_pasted(typed, stated)


def _not_while_it_spins(bench: Bench, serial: str) -> None:
    if bench.spins(serial) or bench.armed == serial:
        raise BadInput(
            Said("refusal.is_spinning_just_now", {"serial": serial}),
            remedy=Said("remedy.hand_it_in_when_the"),
        )


def _page(
    request: Request,
    shop: Workshop,
    serial: str,
    typed: dict[str, str],
    fault: HeavyspotError | None = None,
) -> Response:
    kind = "high-speed rig"
    rigs = [n for n, r in all_rigs(shop).items() if r.kind == kind and not is_simulated(shop, n)]
    values = {
        "serial": serial,
        "rigs": rigs,
        "time_units": get_args(TimeUnit),
        "typed": typed,
        "fault": fault,
        "endings": ",".join(endings()),
        "units": get_args(Unit),
    }
    return page(request, "cartridge/recording.html", values, status=422 if fault else 200)
