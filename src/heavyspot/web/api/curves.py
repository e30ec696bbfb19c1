"""Runs as tables by HTTP: as JSON, as pasted text, or as a file."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

from fastapi import APIRouter, Depends, File, Form, Response, UploadFile
from pydantic import Field

from ...quantities.errors import BadInput
from ...sources.curve_reading import StatedTable, table_from_file, table_from_pasted
from ...sources.curve_table import CurveTable, Measure, Unit
from ...workshop.cartridge.received import ReadAlready
from ...workshop.cartridge.story import cartridge_story
from ...workshop.cartridge.tabled.spinning import spin_table
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..answers.cartridge import RunTold
from ..answers.common import told
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Number, Shop, Word, example

router = APIRouter(
    prefix=HOME, tags=["recordings"], responses=REFUSALS, dependencies=[Depends(allowed)]
)

Column = Annotated[list[Number], Field(max_length=5000)]


class SensorIn(BodyIn):
    """What one sensor showed, a value for each speed; its angles as the rig counts, or none."""

    name: Word = "housing"
    amplitude: Column
    angle_deg: Column | None = None


class CurveIn(BodyIn):
    """A run as a table: its speeds and sensors, or its pasted text; unit and measure are never guessed."""

    model_config = example(
        speed_rpm=[60000, 90000, 120000],
        sensors=[
            {"name": "housing", "amplitude": [0.12, 0.31, 0.28], "angle_deg": [35, 80, 120]},
        ],
        unit="g",
        measure="peak",
    )

    speed_rpm: Column = Field(default_factory=list)
    sensors: Annotated[list[SensorIn], Field(max_length=16)] = Field(default_factory=list)
    text: Annotated[str, Field(max_length=1_000_000)] = ""
    unit: Unit | None = None
    measure: Measure | None = None
    operator: Word = ""
    rig: Word = ""
    recorded_at: Word = ""

    def as_table(self) -> CurveTable:
        """Return the table; raises `BadInput` for what it leaves open."""
        unit, measure = self.unit, self.measure
        if bool(self.text) == bool(self.sensors):
            raise BadInput("There is no table, or there are two.", remedy="Send sensors, or text.")
        if self.text:
            stated = StatedTable(
                unit or "", measure or "", self.rig, self.operator, self.recorded_at
            )
            return table_from_pasted(self.text, stated)
        if unit is None or measure is None:
            raise BadInput(
                "Unit and measure of the amplitudes are not said.",
                remedy="Send unit (g, m/s²) and measure (peak, rms, peak_to_peak).",
            )
        angles = [s.angle_deg for s in self.sensors]
        known = [tuple(a) for a in angles if a is not None]
        if len(known) not in (0, len(angles)):
            raise BadInput("Some sensors have no angles.", remedy="Send all angles, or none.")
        return CurveTable(
            tuple(self.speed_rpm),
            tuple(tuple(s.amplitude) for s in self.sensors),
            unit,
            measure,
            tuple(known) or None,
            tuple(s.name for s in self.sensors),
            rig=self.rig,
            operator=self.operator,
            recorded_at=self.recorded_at,
        )


@router.post(
    "/pieces/{serial:path}/curves",
    status_code=201,
    response_model=None,
    responses=told(RunTold, 201, 200),
)
def bring_curve(
    serial: str, body: CurveIn, shop: Shop, who: Who, response: Response
) -> dict[str, object]:
    """Take a run as a table: 201 and what it says; 200 where this table was read before."""
    return _kept(shop, serial, body.as_table(), who.signs(body.operator), response)


@router.post(
    "/pieces/{serial:path}/curves/file",
    status_code=201,
    response_model=None,
    responses=told(RunTold, 201, 200),
)
def bring_curve_file(
    serial: str,
    shop: Shop,
    who: Who,
    response: Response,
    table: Annotated[UploadFile, File(description="CSV of any make, XLSX, ODS or XLS.")],
    unit: Annotated[Word, Form()] = "",
    measure: Annotated[Word, Form()] = "",
    operator: Annotated[Word, Form()] = "",
    rig: Annotated[Word, Form()] = "",
    recorded_at: Annotated[Word, Form()] = "",
    sheet: Annotated[Word, Form()] = "",
) -> dict[str, object]:
    """Take a run as the table in a file, as the JSON does."""
    stated = StatedTable(unit, measure, rig, operator, recorded_at, sheet)
    read = table_of(table, stated)
    return _kept(shop, serial, read, who.signs(operator), response)


def table_of(file: UploadFile, stated: StatedTable) -> CurveTable:
    """Return the table in a file that was handed in; raises as `table_from_file` does."""
    name = (file.filename or "the table").replace("\\", "/").rpartition("/")[2]
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "table"
        path.write_bytes(file.file.read())
        return table_from_file(path, stated, name=name)


def _kept(
    shop: Workshop, serial: str, table: CurveTable, operator: str, response: Response
) -> dict[str, object]:
    try:
        return spin_table(shop, serial, table, operator=operator).as_json()
    except ReadAlready as before:
        response.status_code = 200
        runs = cartridge_story(shop, serial).runs
        kept = next(r for r in runs if r.number == before.number)
        return {"serial": serial, "read_before": True, **kept.as_json()}
