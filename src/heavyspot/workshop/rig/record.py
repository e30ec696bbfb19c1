"""A rig as the ledger knows it: where it stands, its sensors, and until when they may be trusted."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from ...balance.angle_sense import Sense
from ...quantities.checks import iso_date
from ...quantities.errors import BadInput, NotThere
from ...quantities.said import Said
from ...sources.sidecar import first_fault
from ..shop import Workshop

KINDS = ("high-speed rig", "low-speed rotor machine", "flow bench")


def _iso(value: str) -> str:
    try:
        return iso_date("it", value)
    except BadInput as fault:
        raise ValueError(f"{value} is no date like 2026-03-31") from fault


Date = Annotated[str, AfterValidator(_iso)]


Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class SensorRecord(BaseModel):
    """``sensors``: one sensor of a rig; its name is its channel's.

    What is known of its deviations is corrected in every run read from then on: `delay_us` of its channel behind
    the pickup's, the resonance of the mounted sensor, and its certificate's response (Hz, gain, degrees of lag).
    """

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1)]
    delay_us: Annotated[float, Field(ge=-1000, le=1000)] = 0.0
    mounted_hz: Annotated[float, Field(ge=500, le=200_000)] | None = None
    damping: Annotated[float, Field(gt=0, lt=0.7)] = 0.02
    response: list[tuple[Positive, Positive, Annotated[float, Field(ge=-180, le=180)]]] = []
    number: str = ""
    sensitivity: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    unit: Literal["", "mV/g", "mV/(m/s²)", "pC/g", "V"] = ""
    calibrated_at: Date = ""
    due: Date = ""
    certificate: str = ""


class AnglesRecord(BaseModel):
    """``angles``: how a rig that shows angles itself counts them, as a check found it.

    `sense` says whether they grow against rotation, as ours, or with it; `zero_deg` is our angle of its zero, left
    out where it is not known; `sensor_lag_deg` how far the rotor turns from the pickup to the sensor.
    """

    model_config = ConfigDict(extra="forbid")
    sense: Sense
    zero_deg: Annotated[float, Field(ge=0, lt=360)] | None = None
    sensor_lag_deg: Annotated[float, Field(ge=0, lt=360)] | None = None
    checked_at: Date = ""
    how: Literal["moved mark", "two cuts", "stated"] = "stated"


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
    pickup_delay_us: Annotated[float, Field(ge=-1000, le=1000)] = 0.0
    pickup_high_pass_hz: Annotated[float, Field(ge=0, le=1000)] = 0.0
    sensors: list[SensorRecord] = []
    angles: AnglesRecord | None = None

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
        raise BadInput(
            Said("refusal.the_rig_has_no_name"), remedy=Said("remedy.give_the_name_that_recordings")
        )
    try:
        return RigRecord.model_validate(content)
    except ValidationError as fault:
        raise BadInput(
            Said("refusal.of_rig", {"name": name, "fault": first_fault(fault)}),
            remedy=Said("remedy.correct_that_field"),
        ) from None


def add_rig(
    shop: Workshop,
    name: str,
    content: dict[str, Any] | None = None,
    *,
    by: str = "",
    seen: str | None = None,
) -> None:
    """Add a rig or a new version of it: its sensors and their calibration.

    Raises
    ------
    BadInput
        The name is empty, or a key is unknown or out of range.
    Stale
        Somebody else made a version since `seen`.
    """
    record = parse_rig(name, content or {})
    keys = record.model_dump(mode="json", exclude_defaults=True)
    shop.book.rigs.add(name.strip(), keys, by=by, seen=seen)


def find_rig(shop: Workshop, name: str) -> RigRecord:
    """Return a rig's newest record.

    Raises
    ------
    NotThere
        The ledger knows no rig of that name; those there are are listed.
    """
    entry = shop.book.rigs.newest(name)
    if entry is None:
        names = ", ".join(shop.book.rigs.names()) or "none yet"
        raise NotThere(
            Said("refusal.there_is_no_rig", {"name": name}),
            remedy=Said("remedy.rigs", {"names": names}),
        )
    return parse_rig(name, dict(entry.content))


def known_rig(shop: Workshop, name: str) -> RigRecord:
    """Return a rig's newest record; an empty one when a recording names a rig the ledger does not know."""
    entry = shop.book.rigs.newest(name) if name else None
    return parse_rig(name, dict(entry.content)) if entry else RigRecord()


def all_rigs(shop: Workshop) -> dict[str, RigRecord]:
    """Return name to newest record of every rig."""
    return {e.name: parse_rig(e.name, dict(e.content)) for e in shop.book.rigs.all()}


def rig_names(shop: Workshop) -> list[str]:
    """Return the names of all rigs."""
    return shop.book.rigs.names()


def rig_version(shop: Workshop, name: str) -> str:
    """Return the identifier of a rig's newest version; empty when there is none."""
    entry = shop.book.rigs.newest(name) if name else None
    return entry.id if entry else ""
