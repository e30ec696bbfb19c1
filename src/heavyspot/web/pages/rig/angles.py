"""Which way a rig that shows angles itself counts them: the guided check, and what it found on the rig's record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, get_args

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile

from ....balance.angle_sense import SenseFound
from ....quantities.errors import BadInput, HeavyspotError
from ....quantities.said import Said
from ....quantities.typed import typed_number, typed_or_none
from ....sources.curve_reading import StatedTable, table_from_pasted
from ....sources.curve_table import CurveTable, Unit
from ....workshop.rig.angle_check import TrialCut, check_moved_mark, check_two_cuts, keep_angles
from ....workshop.rig.record import find_rig
from ....workshop.shop import Workshop
from ...access import Who, allowed
from ...api.curves import table_of
from ...deps import Shop
from ...page import goto, page
from ...views.rig.angles import found_words, record_words, way_words

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

RUNS_OF = {"moved": 2, "cuts": 3}
"""The ways of the check, and how many runs each takes."""

MOVED_DEG = "90"
"""What the guide asks for."""

NamedFile = Annotated[UploadFile | None, File()]


@dataclass(frozen=True)
class Typed:
    """A check as it was typed; `rows` is the text of each run's table."""

    way: str
    rows: tuple[str, ...]
    fields: dict[str, str]

    def number(self, what: str, key: str) -> float:
        """Return a number of the form; raises `BadInput` that names it."""
        return typed_number(what, self.fields.get(key, ""))

    def or_none(self, what: str, key: str) -> float | None:
        """Return the same, or None where nothing is typed."""
        return typed_or_none(what, self.fields.get(key, ""))


@router.get("/rig-angles/{name:path}")
def angles(request: Request, name: str, shop: Shop, way: str = "moved") -> Response:
    """What is known, and how to find out."""
    way = way if way in RUNS_OF else "moved"
    typed = Typed(way, ("",) * RUNS_OF[way], {"moved": MOVED_DEG})
    return _page(request, shop, name, typed)


@router.post("/rig-angles/{name:path}")
async def check(
    request: Request,
    name: str,
    shop: Shop,
    who: Who,
    file_1: NamedFile = None,
    file_2: NamedFile = None,
    file_3: NamedFile = None,
) -> Response:
    """Say what the tables tell; only what was seen is written on the rig's record."""
    find_rig(shop, name)
    typed = _typed({k: v for k, v in (await request.form()).items() if isinstance(v, str)})
    found: SenseFound | None = None
    try:
        typed, tables = _tables(typed, (file_1, file_2, file_3))
        found = _found(typed, tables)
        if typed.fields.get("do") == "keep":
            _keep(shop, name, typed, found, by=who.name)
            return goto("/rig-angles", name)
    except HeavyspotError as fault:
        return _page(request, shop, name, typed, found, fault)
    return _page(request, shop, name, typed, found)


def _typed(fields: dict[str, str]) -> Typed:
    way = fields.get("way", "")
    way = way if way in RUNS_OF else "moved"
    rows = tuple(fields.get(f"table_{i}", "") for i in range(1, RUNS_OF[way] + 1))
    return Typed(way, rows, fields)


def _tables(
    typed: Typed, files: tuple[UploadFile | None, ...]
) -> tuple[Typed, tuple[CurveTable, ...]]:
    """Return the runs' tables; what came as a file stands typed from then on, so that it can be kept."""
    stated = StatedTable(typed.fields.get("unit", ""), typed.fields.get("measure", ""))
    rows = list(typed.rows)
    for i, file in enumerate(files[: len(rows)]):
        if file is not None and file.filename:
            rows[i] = table_of(file, stated).as_text()
    typed = replace(typed, rows=tuple(rows))
    return typed, tuple(
        table_from_pasted(text, stated, name=f"Table {i}") for i, text in enumerate(rows, start=1)
    )


def _found(typed: Typed, tables: tuple[CurveTable, ...]) -> SenseFound:
    if typed.way == "cuts":
        first, second = (
            TrialCut(typed.number(f"angle of cut {i}", f"at_{i}"), typed.number(f"cut {i}", f"cut_{i}"))
            for i in (1, 2)
        )  # fmt: skip
        if min(first.amount, second.amount) <= 0:
            raise BadInput(
                Said("refusal.a_cut_took_nothing_off"), remedy=Said("remedy.give_how_much_each")
            )
        return check_two_cuts(tables, (first, second))
    forward = typed.fields.get("forward") == "with"
    moved = typed.number("angle of the mark", "moved")
    return check_moved_mark(tables[0], tables[1], moved, forward=forward)


def _keep(shop: Workshop, name: str, typed: Typed, found: SenseFound, *, by: str) -> None:
    if typed.fields.get("seen") != found.sense:
        raise BadInput(
            Said("refusal.what_is_typed_now_tells"),
            remedy=Said("remedy.look_at_what_it_tells"),
        )
    keep_angles(
        shop, name, found, by_cuts=typed.way == "cuts", by=by,
        zero_deg=typed.or_none("zero", "zero_deg"),
        sensor_lag_deg=typed.or_none("turn from pickup to sensor", "sensor_lag_deg"),
    )  # fmt: skip


def _page(
    request: Request,
    shop: Workshop,
    name: str,
    typed: Typed,
    found: SenseFound | None = None,
    fault: HeavyspotError | None = None,
) -> Response:
    known = find_rig(shop, name).angles
    shown = dict(typed.fields)
    if known is not None:  # what is known of zero and sensor stays, unless it is typed over
        for key, value in (("zero_deg", known.zero_deg), ("sensor_lag_deg", known.sensor_lag_deg)):
            shown.setdefault(key, "" if value is None else f"{value:g}")
    values = {
        "name": name, "way": typed.way, "ways": tuple(RUNS_OF), "typed": shown,
        "known": record_words(known), "is_known": known is not None,
        "runs": way_words(typed.way, typed.rows), "units": get_args(Unit),
        "found": found, "words": found_words(found, known), "fault": fault,
    }  # fmt: skip
    return page(request, "rig/angles.html", values, status=422 if fault else 200)
