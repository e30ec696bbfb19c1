"""A model or a rig as a form: typed text to keys, and each fault to its field."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from ...quantities.said import Said
from ...quantities.typed import decimal_point
from ..speaking import spoken

PLAIN_WORDS = {
    "missing": Said("typed.needed"),
    "string_too_short": Said("typed.needed"),
    "float_parsing": Said("typed.no_number"),
    "int_parsing": Said("typed.no_whole"),
    "int_from_float": Said("typed.no_whole"),
    "finite_number": Said("typed.finite"),
}
"""The commonest faults of typing, in the shop's words."""

BOUNDS = {
    "greater_than": ("over", "least", "gt"),
    "greater_than_equal": ("at_least", "least", "ge"),
    "less_than": ("under", "most", "lt"),
    "less_than_equal": ("at_most", "most", "le"),
}
"""Faults of a number out of its range: their sentence, its value, and the name that value has in the fault."""

PLANE_ROWS = 4
SENSOR_ROWS = 4

MODEL_NUMBERS = (
    "rated_speed_rpm", "test_speed_rpm", "from_speed_rpm", "compressor_wheel_mm",
    "turbine_wheel_mm", "most_cuts", "table_gap_share",
)  # fmt: skip
PLANE_NUMBERS = (
    "radius_mm", "width_mm", "tool_mm", "tip_deg", "density_g_cm3", "max_depth_mm", "budget_mg",
    "corner_at_deg",
)  # fmt: skip
SCATTER = ("run_share", "run_angle_deg", "cut_share", "cut_angle_deg", "calibration_share")


def model_content(typed: Mapping[str, str], old: dict[str, object]) -> dict[str, object]:
    """Return a model's keys from a form; keys the form does not show are kept from the old version.

    A limit over speed (several values) is kept as it was unless a single value is typed.
    """
    out = {k: v for k, v in old.items() if k not in ("plane", "limit", "scatter")}
    for key in ("name", "rotation", "note"):
        _put(out, key, typed.get(key, "").strip())
    for key in MODEL_NUMBERS:
        _put(out, key, decimal_point(typed.get(key, "")))
    old_planes = {str(p.get("name")): p for p in _tables(old, "plane")}
    out["plane"] = [
        plane
        for i in range(PLANE_ROWS)
        if (plane := _plane(typed, f"plane-{i}-", old_planes)) is not None
    ]
    out["limit"] = _limits(typed, _tables(old, "limit"))
    scatter = {k: v for k in SCATTER if (v := decimal_point(typed.get(f"scatter-{k}", "")))}
    if scatter:
        out["scatter"] = scatter
    return {k: v for k, v in out.items() if v != []}


def _plane(
    typed: Mapping[str, str], prefix: str, old: dict[str, dict[str, object]]
) -> dict[str, object] | None:
    name = typed.get(prefix + "name", "").strip()
    if not name and not typed.get(prefix + "radius_mm", "").strip():
        return None
    plane: dict[str, object] = dict(old.get(name, {})) | {"name": name}
    for key in ("cutter", "material", "seen_from"):
        _put(plane, key, typed.get(prefix + key, "").strip())
    for key in PLANE_NUMBERS:
        _put(plane, key, decimal_point(typed.get(prefix + key, "")))
    allowed = typed.get(prefix + "allowed_deg", "").strip()
    _put(plane, "allowed_deg", [_span(part) for part in re.split(r"[;,]\s*", allowed) if part])
    if not plane.get("allowed_deg"):
        plane.pop("allowed_deg", None)
    return plane


def _span(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"\s*(?:-|–|to)\s*", text.strip(), maxsplit=1)]


def _limits(typed: Mapping[str, str], old: list[dict[str, object]]) -> list[dict[str, object]]:
    shown = {"house": "limit-house", "very good": "limit-good"}
    out: list[dict[str, object]] = []
    for name, field in shown.items():
        was = next((t for t in old if t.get("name", "house") == name), None)
        value = decimal_point(typed.get(field, ""))
        if value:
            out.append({"name": name, "limit_g": value})
        elif was is not None and isinstance(was["limit_g"], list):
            out.append(was)
    return out + [t for t in old if t.get("name", "house") not in shown]


def model_typed(content: dict[str, object]) -> dict[str, str]:
    """Return a model's keys as the form shows them."""
    out = {
        k: _shown(content[k]) for k in ("name", "rotation", "note", *MODEL_NUMBERS) if k in content
    }
    for i, plane in enumerate(_tables(content, "plane")[:PLANE_ROWS]):
        for key, value in plane.items():
            out[f"plane-{i}-{key}"] = _shown(value)
    for tier in _tables(content, "limit"):
        field = {"house": "limit-house", "very good": "limit-good"}.get(
            str(tier.get("name", "house"))
        )
        if field and not isinstance(tier["limit_g"], list):
            out[field] = _shown(tier["limit_g"])
    scatter = content.get("scatter")
    if isinstance(scatter, dict):
        out |= {f"scatter-{key}": _shown(value) for key, value in scatter.items()}
    return out


NOT_ON_FORM = ("pickup_delay_us", "pickup_high_pass_hz", "angles")
"""Keys of a rig that its form does not show: a new version from the form keeps them."""


def rig_content(typed: Mapping[str, str]) -> dict[str, object]:
    """Return a rig's keys from a form."""
    out: dict[str, object] = {}
    for key in (
        "kind",
        "building",
        "calibrated_at",
        "due",
        "certificate",
        "serviced_at",
        "note",
        "master",
    ):
        _put(out, key, typed.get(key, "").strip())
    for key in ("least_gmm", "reduction"):
        _put(out, key, decimal_point(typed.get(key, "")))
    sensors = []
    for i in range(SENSOR_ROWS):
        sensor: dict[str, object] = {}
        for key in ("name", "number", "unit", "calibrated_at", "due", "certificate"):
            _put(sensor, key, typed.get(f"sensors-{i}-{key}", "").strip())
        _put(sensor, "sensitivity", decimal_point(typed.get(f"sensors-{i}-sensitivity", "")))
        if sensor:
            sensors.append(sensor)
    if sensors:
        out["sensors"] = sensors
    return out


def rig_typed(content: dict[str, object]) -> dict[str, str]:
    """Return a rig's keys as the form shows them."""
    hidden = ("sensors", *NOT_ON_FORM)
    out = {k: _shown(v) for k, v in content.items() if k not in hidden and v is not None}
    for i, sensor in enumerate(_tables(content, "sensors")[:SENSOR_ROWS]):
        out |= {f"sensors-{i}-{k}": _shown(v) for k, v in sensor.items() if v is not None}
    return out


def faults_by_field(kind: type[BaseModel], content: dict[str, object]) -> dict[str, str]:
    """Return each fault of the keys under the name of its field; empty when there is none.

    A fault of the whole stands under an empty name.
    """
    try:
        kind.model_validate(content)
    except ValidationError as fault:
        out: dict[str, str] = {}
        for error in fault.errors(include_url=False):
            loc = [str(p) for p in error["loc"]]
            if loc and loc[0] == "limit":
                loc = ["limit-house" if loc[1] == "0" else "limit-good"]
            field = "-".join(loc[:3])
            out.setdefault(field, _fault_words(error))
        return out
    return {}


def _fault_words(error: ErrorDetails) -> str:
    kind = error["type"]
    if kind in PLAIN_WORDS:
        return spoken(PLAIN_WORDS[kind])
    if kind in BOUNDS:
        code, name, key = BOUNDS[kind]
        return spoken(Said("typed." + code, {name: float(error["ctx"][key])}))
    return error["msg"].removeprefix("Value error, ").removeprefix("Input should be ")


def _put(out: dict[str, object], key: str, value: object) -> None:
    """Set a key, or drop it where nothing is typed: the default then holds."""
    if value in ("", []):
        out.pop(key, None)
    else:
        out[key] = value


def _tables(content: Mapping[str, object], key: str) -> list[dict[str, object]]:
    """Return the tables under a key; none when it is not there."""
    value = content.get(key)
    return [t for t in value if isinstance(t, dict)] if isinstance(value, list) else []


def _shown(value: object) -> str:
    if isinstance(value, list):  # spans of angle
        return ", ".join("-".join(f"{end:g}" for end in span) for span in value)
    return f"{value:.10g}" if isinstance(value, float) else str(value)
