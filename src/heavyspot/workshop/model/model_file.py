"""The model file (TOML): what a kind of cartridge is, where it may be cut, what it must reach."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from ...balance.cut.history import Scatter
from ...balance.geometry import Cutter, Kind, density_of
from ...balance.limits import Limit
from ...balance.plane import Plane
from ...quantities.angles import Rotation, other_way
from ...quantities.errors import BadInput, UnreadableFile
from ...quantities.units import tip_speed_m_s
from ...sources.sidecar import first_fault
from ...sources.toml_text import read_toml

HOUSE_LIMIT_G = 0.5
"""House limit when a model states none: 0.5 g over the whole range (common practice, no source)."""

LOWEST_SHARE = 0.15
"""Share of test speed from which the limit holds when a model states no other speed."""

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Angle = Annotated[float, Field(ge=0, le=360)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class PlaneFile(_Strict):
    """``[[plane]]``: an axial place where material may come off."""

    name: Annotated[str, Field(min_length=1)]
    radius_mm: Positive
    cutter: Kind = "flat"
    width_mm: Positive | None = None
    tool_mm: Positive | None = None
    tip_deg: Annotated[float, Field(ge=30, le=180)] = 118.0
    material: str = "steel"
    density_g_cm3: Positive | None = None
    max_depth_mm: Positive | None = None
    budget_mg: Positive | None = None
    allowed_deg: list[tuple[Angle, Angle]] = []
    corner_at_deg: Angle = 0.0
    seen_from: Literal["compressor", "turbine"] = "compressor"

    @model_validator(mode="after")
    def _known_material(self) -> PlaneFile:
        density_of(self.material, self.density_g_cm3)
        return self

    def seen_turning(self, rotation: Rotation) -> Rotation:
        """Return which way the plane is seen to turn from where it is ground; `rotation` is seen from the nut."""
        return rotation if self.seen_from == "compressor" else other_way(rotation)

    @property
    def deepest_mm(self) -> float:
        """The deepest single cut, our default where the shop stated none."""
        return self.as_plane().max_depth_mm

    def as_plane(self, used_mg: float = 0.0) -> Plane:
        """Return the plane, with our defaults for what the shop did not state."""
        radius = self.radius_mm
        cutter = Cutter(
            self.cutter,
            radius,
            density_of(self.material, self.density_g_cm3),
            self.width_mm or round(0.9 * radius, 2),
            self.tool_mm or round(0.6 * radius, 2),
            self.tip_deg,
        )
        depth = min(self.max_depth_mm or round(0.15 * radius, 2), cutter.deepest_mm)
        corner = 30.0 if self.cutter == "hex_flat" else 0.0
        budget = self.budget_mg or 8.0 * cutter.removed(depth, corner).mass_mg
        return Plane(
            self.name,
            cutter,
            depth,
            budget,
            used_mg,
            tuple(self.allowed_deg),
            self.corner_at_deg,
            frozenset(self.model_fields_set),
        )


class LimitFile(_Strict):
    """``[[limit]]``: a tier. One number, or a value for each speed; a house limit may be of one sensor."""

    name: str = "house"
    limit_g: Positive | list[Positive]
    speed_rpm: list[Annotated[float, Field(ge=0)]] = []
    sensor: str = ""

    @model_validator(mode="after")
    def _fits(self) -> LimitFile:
        self.as_limit()
        return self

    def as_limit(self) -> Limit:
        """Return the polyline."""
        values = self.limit_g if isinstance(self.limit_g, list) else [self.limit_g]
        speeds = self.speed_rpm or ([0.0] if len(values) == 1 else [])
        return Limit(self.name, tuple(speeds), tuple(values))


class ScatterFile(_Strict):
    """``[scatter]``: how well the rig and the grinding repeat (standard deviations)."""

    run_share: Annotated[float, Field(gt=0, lt=0.5)] = 0.025
    run_angle_deg: Annotated[float, Field(gt=0, lt=30)] = 2.0
    cut_share: Annotated[float, Field(gt=0, lt=0.8)] = 0.15
    cut_angle_deg: Annotated[float, Field(gt=0, lt=60)] = 4.0
    calibration_share: Annotated[float, Field(ge=0, lt=0.2)] = 0.01


class FlowWindowFile(_Strict):
    """``[[flow]]``: a window the corrected flow must lie in, at a position of the actuator or at any."""

    name: Annotated[str, Field(min_length=1)]
    low_kg_s: Positive
    high_kg_s: Positive
    position: float | None = None

    @model_validator(mode="after")
    def _rises(self) -> FlowWindowFile:
        if self.low_kg_s >= self.high_kg_s:
            raise ValueError(f"{self.low_kg_s:g} is not below {self.high_kg_s:g}")
        return self


class StopFile(_Strict):
    """``[stop]``: the minimum flow a variable nozzle's stop is set to."""

    wanted_kg_s: Positive
    per_turn: Positive
    in_is_up: bool = True


class ModelFile(_Strict):
    """A whole model file."""

    name: Annotated[str, Field(min_length=1)]
    rotation: Rotation
    rated_speed_rpm: Positive
    test_speed_rpm: Positive
    plane: Annotated[list[PlaneFile], Field(min_length=1)]
    limit: list[LimitFile] = []
    from_speed_rpm: Positive | None = None
    most_cuts: Annotated[int, Field(ge=1, le=3)] = 2
    table_gap_share: Annotated[float, Field(ge=0.02, le=0.25)] | None = None
    compressor_wheel_mm: Positive | None = None
    turbine_wheel_mm: Positive | None = None
    scatter: ScatterFile = ScatterFile()
    oil_temperature_c: tuple[float, float] | None = None
    oil_pressure_kpa: tuple[float, float] | None = None
    clearance_mm: dict[str, tuple[float, float]] = {}
    flow: list[FlowWindowFile] = []
    stop: StopFile | None = None
    kind: Literal["cartridge"] = "cartridge"
    note: str = ""

    @model_validator(mode="after")
    def _makes_sense(self) -> ModelFile:
        if self.test_speed_rpm > self.rated_speed_rpm:
            raise ValueError(
                f"test_speed_rpm {self.test_speed_rpm:,.0f} is above rated_speed_rpm "
                f"{self.rated_speed_rpm:,.0f}"
            )
        if self.from_rpm >= self.test_speed_rpm:
            raise ValueError("from_speed_rpm is not below test_speed_rpm")
        for key in ("oil_temperature_c", "oil_pressure_kpa"):
            low, high = getattr(self, key) or (0.0, 1.0)
            if not low < high:
                raise ValueError(f"{key}: {low:g} is not below {high:g}")
        names = [p.name for p in self.plane]
        if len(set(names)) < len(names):
            raise ValueError("two planes have the same name")
        tiers = [(t.name, t.sensor) for t in self.limit]
        if len(set(tiers)) < len(tiers):
            raise ValueError("two limits have the same name")
        if any(t.sensor and t.name != "house" for t in self.limit):
            raise ValueError('only a limit named "house" is of one sensor')
        return self

    @property
    def from_rpm(self) -> float:
        """Lowest speed at which the limit holds."""
        return self.from_speed_rpm or LOWEST_SHARE * self.test_speed_rpm

    def house_limit(self, sensor: str = "") -> Limit:
        """Return the limit that decides: the one named ``house``, else 0.5 g throughout.

        Parameters
        ----------
        sensor : str
            Name of a sensor: its own house limit when there is one.
        """
        house = [t for t in self.limit if t.name == "house" and t.sensor in (sensor, "")]
        if house:
            return max(house, key=lambda t: t.sensor == sensor and sensor != "").as_limit()
        return Limit("house", (0.0,), (HOUSE_LIMIT_G,))

    def tiers(self) -> list[Limit]:
        """Return the other limits."""
        return [t.as_limit() for t in self.limit if t.name != "house"]

    def as_scatter(self) -> Scatter:
        """Return how well things repeat."""
        s = self.scatter
        return Scatter(s.run_share, s.run_angle_deg, s.cut_share, s.cut_angle_deg)

    def tip_speeds_m_s(self) -> dict[str, float]:
        """Return each wheel's tip speed at test speed, m/s, where its diameter is stated."""
        wheels = {"compressor": self.compressor_wheel_mm, "turbine": self.turbine_wheel_mm}
        return {k: tip_speed_m_s(d, self.test_speed_rpm) for k, d in wheels.items() if d}

    def find_plane(self, name: str) -> PlaneFile:
        """Return a plane by name; raises `BadInput` listing what there is."""
        for plane in self.plane:
            if plane.name.lower() == name.lower():
                return plane
        raise BadInput(
            f'Model "{self.name}" has no plane "{name}".',
            remedy="Its planes: " + ", ".join(p.name for p in self.plane) + ".",
        )


def load_model_file(path: str | Path) -> ModelFile:
    """Return a checked model file.

    Raises
    ------
    UnreadableFile
        It is not there, not TOML, or a key is missing, unknown or out of range.
    """
    path = Path(path)
    return parse_model(read_toml(path), name=path.name)


def parse_model(content: dict[str, Any], *, name: str) -> ModelFile:
    """Return a checked model from its keys; raises `UnreadableFile` naming the key at fault."""
    try:
        return ModelFile.model_validate(content)
    except ValidationError as fault:
        raise UnreadableFile(
            f"{name}: {first_fault(fault)}", remedy="docs/reference/model-file.md shows the format."
        ) from None
