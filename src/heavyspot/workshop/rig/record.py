"""A rig as the ledger knows it: where it stands, its sensors, and until when they may be trusted."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from ...quantities.checks import iso_date
from ...quantities.errors import BadInput
from ...sources.sidecar import first_fault

KINDS = ("high-speed rig", "low-speed rotor machine", "flow bench")


def _iso(value: str) -> str:
    try:
        return iso_date("it", value)
    except BadInput as fault:
        raise ValueError(f"{value} is no date like 2026-03-31") from fault


Date = Annotated[str, AfterValidator(_iso)]


class SensorRecord(BaseModel):
    """``sensors``: one sensor of a rig."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1)]
    number: str = ""
    sensitivity: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    unit: Literal["", "mV/g", "mV/(m/s²)", "pC/g", "V"] = ""
    calibrated_at: Date = ""
    due: Date = ""
    certificate: str = ""


class RigRecord(BaseModel):
    """A rig's entry. What stands here is frozen into each run made on the rig."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["high-speed rig", "low-speed rotor machine", "flow bench"] = "high-speed rig"
    building: str = ""
    calibrated_at: Date = ""
    due: Date = ""
    certificate: str = ""
    serviced_at: Date = ""
    note: str = ""
    master: str = ""
    least_gmm: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    reduction: Annotated[float, Field(gt=0, lt=1)] | None = None
    sensors: list[SensorRecord] = []

    def next_due(self) -> str:
        """Return the earliest due date of the rig and its sensors; empty when none is stated."""
        return min((d for d in (self.due, *(s.due for s in self.sensors)) if d), default="")


def parse_rig(name: str, content: dict[str, Any]) -> RigRecord:
    """Return a checked rig entry.

    Raises
    ------
    BadInput
        The name is empty, or a key is unknown or out of range.
    """
    if not name.strip():
        raise BadInput("The rig has no name.", remedy="Give the name that recordings carry.")
    try:
        return RigRecord.model_validate(content)
    except ValidationError as fault:
        raise BadInput(f"Rig {name}: {first_fault(fault)}", remedy="Correct that field.") from None
