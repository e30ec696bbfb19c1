"""The rotor file (TOML): a kind of loose rotor, how it lies on the machine, where it may be corrected."""

from __future__ import annotations

import itertools
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from ...balance.geometry import Cutter, Kind, density_of
from ...balance.rotor.rigid import RotorGeometry, lever_matrix
from ...balance.rotor.tolerance import (
    Rule,
    bearing_limits_gmm,
    four_w_over_n_gmm,
    journal_loads_kg,
    permissible_gmm,
)
from ...quantities.angles import Rotation
from ...quantities.arrays import Array
from ...quantities.errors import BadInput, UnreadableFile
from ...quantities.said import Said, in_words
from ...sources.sidecar import first_fault

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Angle = Annotated[float, Field(ge=0, le=360)]


class RotorPlaneFile(BaseModel):
    """``[[plane]]``: where a rotor may be corrected, and how."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1)]
    at_mm: Finite
    radius_mm: Positive
    way: Literal["remove", "add"] = "remove"
    cutter: Kind = "drill"
    width_mm: Positive | None = None
    tool_mm: Positive | None = None
    tip_deg: Annotated[float, Field(ge=30, le=180)] = 118.0
    material: str = "steel"
    density_g_cm3: Positive | None = None
    max_depth_mm: Positive | None = None
    places: Annotated[int, Field(ge=0, le=360)] = 0
    first_place_deg: Angle = 0.0
    places_deg: list[Angle] = []
    masses_g: list[Positive] = []
    stock: list[Annotated[int, Field(ge=0)]] = []
    most_at_place: Annotated[int, Field(ge=1, le=50)] = 4

    @model_validator(mode="after")
    def _makes_sense(self) -> RotorPlaneFile:
        density_of(self.material, self.density_g_cm3)
        if self.masses_g and self.way == "remove":
            raise ValueError('masses_g goes with way = "add"')
        if self.masses_g and not self.angles().size:
            raise ValueError("masses_g needs places")
        if self.stock and len(self.stock) != len(self.masses_g):
            raise ValueError("stock needs one number for each of masses_g")
        if 0 < self.angles().size < 2:
            raise ValueError("one place cannot make a correction at any angle")
        return self

    def angles(self) -> Array:
        """Return the fixed places, degrees; none when any angle will do."""
        if self.places_deg:
            return np.array(self.places_deg, float)
        if not self.places:
            return np.empty(0)
        return (self.first_place_deg + 360.0 / self.places * np.arange(self.places)) % 360.0

    def as_cutter(self) -> Cutter:
        """Return the cut's shape."""
        radius = self.radius_mm
        return Cutter(
            self.cutter,
            radius,
            density_of(self.material, self.density_g_cm3),
            self.width_mm or round(0.9 * radius, 2),
            self.tool_mm or round(0.2 * radius, 2),
            self.tip_deg,
        )

    @property
    def deepest_mm(self) -> float:
        """Deepest single cut: the shop's, else 15 % of the radius (ours)."""
        return min(
            self.max_depth_mm or round(0.15 * self.radius_mm, 3), self.as_cutter().deepest_mm
        )


class RotorFile(BaseModel):
    """A whole rotor file."""

    model_config = ConfigDict(extra="forbid")
    kind: Literal["rotor"]
    name: Annotated[str, Field(min_length=1)]
    rotation: Rotation
    mass_kg: Positive
    service_speed_rpm: Positive
    measuring_speed_rpm: Positive | None = None
    support_a_mm: Finite = 0.0
    support_b_mm: Finite
    mass_centre_mm: Finite | None = None
    shaft_mm: tuple[Finite, Finite] | None = None
    rule: Rule = "grade"
    grade: Positive | None = None
    residual_gmm: list[Positive] = []
    plane: Annotated[list[RotorPlaneFile], Field(min_length=1, max_length=6)]
    note: str = ""

    @model_validator(mode="after")
    def _makes_sense(self) -> RotorFile:
        names = [p.name for p in self.plane]
        if len(set(names)) < len(names):
            raise ValueError("two planes have the same name")
        if self.rule == "grade" and self.grade is None:
            raise ValueError('rule "grade" needs grade, for example 6.3')
        if self.rule == "residual" and len(self.residual_gmm) != len(self.plane):
            raise ValueError('rule "residual" needs residual_gmm, one number for each plane')
        try:
            if len(self.plane) > 1:
                self.geometry()
            self.limits()
        except BadInput as fault:
            raise ValueError(f"{fault.message} {fault.remedy}") from None
        return self

    def geometry(self) -> RotorGeometry:
        """Return supports, outermost planes and centre of mass; raises `BadInput` for an impossible one."""
        at = [p.at_mm for p in self.plane]
        if len(at) > 2 and any(b - a < 1e-6 for a, b in itertools.pairwise(at)):
            raise BadInput(
                "The planes are not in order along the shaft.", remedy="Give them from A towards B."
            )
        return RotorGeometry(
            self.support_a_mm,
            self.support_b_mm,
            (at[0], at[-1]),
            self.mass_centre_mm,
            self.shaft_mm,
        )

    @property
    def in_bearings(self) -> bool:
        """Whether the residual is judged in the bearing planes; else in the planes themselves."""
        return len(self.plane) > 1 and self.rule != "residual"

    def tolerance_levers(self) -> Array:
        """Return what one unit in each plane is where it is judged, (tolerance planes, planes)."""
        if not self.in_bearings:
            return np.eye(len(self.plane))
        return self.support_levers()

    def support_levers(self) -> Array:
        """Return what one unit in each plane is at the supports, (2, planes)."""
        supports = (self.support_a_mm, self.support_b_mm)
        return lever_matrix([p.at_mm for p in self.plane], supports)

    @property
    def tolerance_planes(self) -> tuple[str, ...]:
        """Where the residual is judged: the bearing planes, or the planes a residual is stated for."""
        return ("bearing A", "bearing B") if self.in_bearings else tuple(p.name for p in self.plane)

    def limits(self) -> tuple[float, ...]:
        """Return the permissible residual of each tolerance plane, g·mm."""
        if self.rule == "residual":
            return tuple(self.residual_gmm)
        if len(self.plane) == 1:
            if self.rule == "grade":
                assert self.grade is not None
                return (permissible_gmm(self.mass_kg, self.service_speed_rpm, self.grade),)
            return (four_w_over_n_gmm(self.mass_kg, self.service_speed_rpm),)
        geometry = self.geometry()
        if self.rule == "grade":
            assert self.grade is not None
            total = permissible_gmm(self.mass_kg, self.service_speed_rpm, self.grade)
            return bearing_limits_gmm(total, geometry)
        loads = journal_loads_kg(self.mass_kg, geometry)
        return tuple(four_w_over_n_gmm(abs(w), self.service_speed_rpm) for w in loads)

    def rule_said(self) -> Said:
        """Return the tolerance."""
        if self.rule == "grade":
            assert self.grade is not None
            return Said("rule.grade", {"grade": self.grade, "speed_rpm": self.service_speed_rpm})
        if self.rule == "4W/N":
            return Said("rule.four_w_over_n", {"speed_rpm": self.service_speed_rpm})
        return Said("rule.residual")

    def rule_text(self) -> str:
        """Return the tolerance in words."""
        return in_words(self.rule_said())


def parse_rotor(content: dict[str, Any], *, name: str) -> RotorFile:
    """Return a checked rotor from its keys; raises `UnreadableFile` naming the key at fault."""
    try:
        return RotorFile.model_validate(content)
    except ValidationError as fault:
        raise UnreadableFile(
            f"{name}: {first_fault(fault)}", remedy="docs/reference/rotor-file.md shows the format."
        ) from None
