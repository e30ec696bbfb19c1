"""The JSON file beside a recording that says what its channels are. Version 1.

``x.wav`` is described by ``x.json`` in the same folder. Its JSON schema is
``docs/reference/sidecar.schema.json``; keys that are not known are kept out and said in a note.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AliasChoices, BaseModel, ConfigDict, Field, ValidationError

from ..quantities.angles import Rotation
from ..quantities.errors import BadInput, UnreadableFile
from ..quantities.units import ACCELERATION_IN_G, sensitivity_v_per_unit
from ..signal.mark.reference import ReferenceSettings
from .recording import Channel, Quantity

Finite = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]

KNOWN_UNITS = {
    *ACCELERATION_IN_G,
    "V",
    "mV",
    "FS",
    "rpm",
    "°C",
    "kPa",
    "%",
    "Pa",
    "µm",
    "mm/s",
    "N",
}


TIME_UNITS = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "Seconds": 1.0,
    "ms": 1e-3, "msec": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3,
    "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "microseconds": 1e-6,
    "ns": 1e-9, "nanoseconds": 1e-9,
    "min": 60.0,
}  # fmt: skip
"""Units of time as other programs write them, in seconds. Both signs for micro are in use."""

TimeUnit = Literal["s", "ms", "us", "µs", "ns", "min"]


class Sensitivity(BaseModel):
    """A sensor's sensitivity as on its certificate."""

    model_config = ConfigDict(extra="allow")
    value: Finite
    unit: str


class SidecarChannel(BaseModel):
    """One channel, in file order."""

    model_config = ConfigDict(extra="allow")
    name: Annotated[str, Field(min_length=1)]
    quantity: Quantity
    unit: str = "V"
    full_scale: Positive = 1.0
    sensitivity: Sensitivity | None = None
    sensor: str = ""
    clock: Annotated[float, Field(ge=0, le=12)] | None = None
    kind: Literal["magnetic", "pulse"] = "magnetic"
    pulses_per_turn: Annotated[int, Field(ge=1, le=360)] = 1
    edge: Literal["rising", "falling"] = "rising"


class Oil(BaseModel):
    """Oil at the cartridge's inlet."""

    model_config = ConfigDict(extra="allow")
    temperature_c: Finite | None = None
    pressure_kpa: Positive | None = None


class Simulated(BaseModel):
    """How a simulated recording was made; the same again makes the same samples."""

    model_config = ConfigDict(extra="forbid")
    model: str
    unit: int
    seed: int
    faults: list[str] = []
    cuts: list[str] = []


class Sidecar(BaseModel):
    """What a recording is: the whole of the JSON file. Without channels, the file's own stand."""

    model_config = ConfigDict(extra="allow")
    version: Literal[1]
    channels: list[SidecarChannel] = []
    rotation: Rotation | None = None
    sample_rate_hz: Annotated[
        Positive | None,
        Field(validation_alias=AliasChoices("sample_rate_hz", "sample_rate", "rate_hz")),
    ] = None
    time_unit: TimeUnit | None = None
    group: str = ""
    recorded_at: str = ""
    rig: str = ""
    operator: str = ""
    oil: Oil | None = None
    lost_samples: Annotated[int, Field(ge=0)] = 0
    simulated: Simulated | None = None

    def as_channels(self) -> tuple[Channel, ...]:
        """Return the channels; raises `BadInput` for a unit or sensitivity that is not known."""
        return tuple(_channel(c) for c in self.channels)

    def unknown_keys(self) -> list[str]:
        """Return the names of keys that are not part of the format."""
        found = list(self.model_extra or {})
        for i, channel in enumerate(self.channels):
            found += [f"channels[{i}].{key}" for key in (channel.model_extra or {})]
        return found


@dataclass(frozen=True)
class Stated:
    """What a person states of a file that leaves it open.

    Attributes
    ----------
    sample_rate_hz : float or None
        Samples a second, where the file states none.
    time_unit : str or None
        Of a column of time that has none: ``s``, ``ms``, ``us``, ``µs``, ``ns`` or ``min``.
    group : str
        Which of several groups or sets of channels.
    """

    sample_rate_hz: float | None = None
    time_unit: str | None = None
    group: str = ""


def stated_too(sidecar: Sidecar | None, stated: Stated) -> Sidecar | None:
    """Return a description with what a person states beside it.

    Raises
    ------
    BadInput
        They disagree, or a value is none of its kind.
    """
    said = {k: v for k, v in asdict(stated).items() if v}
    if not said:
        return sidecar
    there = sidecar.model_dump(exclude_unset=True) if sidecar else {"version": 1}
    for key, value in said.items():
        if there.get(key) and there[key] != value:
            raise BadInput(
                f"{key} is stated as {value}; the sidecar says {there[key]}.",
                remedy="Leave it out, or correct the sidecar.",
            )
    try:
        return Sidecar.model_validate({**there, **said})
    except ValidationError as fault:
        raise BadInput(first_fault(fault), remedy="State it anew.") from None


def sidecar_path(path: Path) -> Path:
    """Return where the description of a recording lies: the same name, ``.json``."""
    return path.with_suffix(".json")


def load_sidecar(path: Path) -> Sidecar | None:
    """Return the description beside recording `path`, or None when there is none.

    Raises
    ------
    UnreadableFile
        It is not JSON, or not of the format; says where, what was expected and found.
    """
    beside = sidecar_path(path)
    if beside == path or not beside.exists():
        return None
    try:
        content = json.loads(beside.read_text(encoding="utf-8-sig"))
    except json.JSONDecodeError as fault:
        raise UnreadableFile(
            f"{beside.name} is not JSON: line {fault.lineno}, column {fault.colno}: {fault.msg}.",
            remedy="Mend that line; docs/reference/sidecar.md shows the format.",
        ) from None
    except UnicodeDecodeError:
        raise UnreadableFile(
            f"{beside.name} is not UTF-8 text.", remedy="Save it as UTF-8."
        ) from None
    return parse_sidecar(content, name=beside.name)


def parse_sidecar(content: Any, *, name: str) -> Sidecar:
    """Return the checked description; raises `UnreadableFile` naming the key at fault."""
    try:
        sidecar = Sidecar.model_validate(content)
        sidecar.as_channels()
    except ValidationError as fault:
        raise UnreadableFile(
            f"{name}: {first_fault(fault)}", remedy="docs/reference/sidecar.md shows the format."
        ) from None
    except BadInput as fault:
        raise UnreadableFile(f"{name}: {fault.message}", remedy=fault.remedy) from None
    return sidecar


def first_fault(fault: ValidationError) -> str:
    """Return the first fault as one sentence: where, what is wrong, what was found."""
    error = fault.errors(include_url=False)[0]
    place = ""
    for part in error["loc"]:
        place += f"[{part}]" if isinstance(part, int) else f".{part}" if place else str(part)
    found = error.get("input")
    shown = "" if isinstance(found, (dict, list)) else f" (found {found!r})"
    return f"{place or 'the file'}: {error['msg']}{shown}."


def _channel(c: SidecarChannel) -> Channel:
    if c.unit not in KNOWN_UNITS:
        raise BadInput(
            f'channel "{c.name}" has unit {c.unit!r}.',
            remedy="Known units: " + ", ".join(sorted(KNOWN_UNITS)) + ".",
        )
    sensitivity = None
    if c.sensitivity is not None:
        sensitivity = (c.sensitivity.value, c.sensitivity.unit)
        sensitivity_v_per_unit(*sensitivity)
    reference = None
    if c.quantity == "phase":
        reference = ReferenceSettings(c.kind, c.pulses_per_turn, c.edge)
    return Channel(
        c.name, c.quantity, c.unit, c.full_scale, sensitivity, c.sensor, c.clock, reference
    )


def describe(
    channels: tuple[Channel, ...],
    *,
    sample_rate_hz: float,
    rotation: Rotation | None,
    recorded_at: str = "",
    rig: str = "",
    operator: str = "",
    oil: tuple[float | None, float | None] = (None, None),
    lost_samples: int = 0,
) -> dict[str, Any]:
    """Return the description of a recording as JSON-ready values, smallest form."""
    out: dict[str, Any] = {"version": 1}
    if rotation is not None:
        out["rotation"] = rotation
    out["sample_rate_hz"] = sample_rate_hz
    for key, value in (("recorded_at", recorded_at), ("rig", rig), ("operator", operator)):
        if value:
            out[key] = value
    if oil != (None, None):
        named = zip(("temperature_c", "pressure_kpa"), oil, strict=True)
        out["oil"] = {k: v for k, v in named if v is not None}
    if lost_samples:
        out["lost_samples"] = lost_samples
    out["channels"] = [_described(c) for c in channels]
    return out


def _described(c: Channel) -> dict[str, Any]:
    out: dict[str, Any] = {
        "name": c.name,
        "quantity": c.quantity,
        "unit": c.unit,
        "full_scale": c.full_scale,
    }
    if c.sensitivity is not None:
        out["sensitivity"] = {"value": c.sensitivity[0], "unit": c.sensitivity[1]}
    if c.sensor:
        out["sensor"] = c.sensor
    if c.clock is not None:
        out["clock"] = c.clock
    if c.reference is not None:
        out["kind"] = c.reference.kind
        out["pulses_per_turn"] = c.reference.pulses_per_turn
        out["edge"] = c.reference.edge
    return out
