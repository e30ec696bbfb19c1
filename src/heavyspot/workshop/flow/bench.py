"""A flow bench: what measures the flow on it, by which certificate, and what its readings come to."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ...flow.air import Air
from ...flow.element import Element, Laminar, spread_of
from ...flow.machine import Reference, compressor_efficiency, corrected_flow, turbine_efficiency
from ...flow.sonic import SonicNozzle
from ...flow.use import LIMITS, check_element, check_flow
from ...quantities.errors import BadInput, NotThere
from ...quantities.said import Said
from ...sources.sidecar import first_fault
from ..rig import add_rig
from ..shop import Workshop

OF = "element"
"""Under which the ledger keeps a bench's element, among the rig's calibrations."""

Positive = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
Number = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]


ElementKind = Literal[
    "orifice", "isa 1932 nozzle", "long radius nozzle", "venturi nozzle", "venturi as cast",
    "venturi machined", "venturi welded", "laminar", "sonic nozzle", "meter",
]  # fmt: skip

KINDS: tuple[str, ...] = get_args(ElementKind)


class BenchFile(BaseModel):
    """What measures the flow, its uncertainties (standard), and the reference conditions.

    Attributes
    ----------
    element : str
        A kind of ISO 5167, ``laminar``, ``sonic nozzle`` or ``meter`` (which reads kg/s itself).
    coefficient_u : float or None
        Relative standard uncertainty of the coefficient; the standard's own when None.
    diffuser_mm : float or None
        Where the cone behind a sonic nozzle ends; None where there is none.
    """

    model_config = ConfigDict(extra="forbid")
    element: ElementKind
    pipe_mm: Positive | None = None
    bore_mm: Positive | None = None
    taps: Literal["corner", "D", "flange"] = "corner"
    m3_s_per_kpa: Positive | None = None
    certified_c: Number = 20.0
    certified_kpa: Positive = 101.325
    coefficient: Positive = 0.99
    diffuser_mm: Positive | None = None
    coefficient_u: Annotated[float, Field(ge=0, lt=0.2)] | None = None
    pressure_u_kpa: Annotated[float, Field(ge=0, le=1e3)] = 0.1
    drop_u_kpa: Annotated[float, Field(ge=0, le=1e3)] = 0.01
    temperature_u_k: Annotated[float, Field(ge=0, le=20)] = 0.5
    bore_u_mm: Annotated[float, Field(ge=0, le=5)] = 0.01
    reference_c: Number = 25.0
    reference_kpa: Positive = 100.0
    certificate: str = ""

    @property
    def reference(self) -> Reference:
        """The reference conditions."""
        return Reference(self.reference_c, self.reference_kpa)


class Read(BaseModel):
    """One reading of the bench, as typed or from a table.

    Attributes
    ----------
    drop_kpa : float
        Over the element; behind a sonic nozzle the pressure there, absolute.
    upstream_kpa : float
        Before the element, absolute.
    flow_kg_s : float or None
        What a meter reads.
    in_kpa, in_c, out_kpa, out_c : float or None
        At the compressor or turbine, absolute.
    """

    model_config = ConfigDict(extra="forbid")
    upstream_kpa: Positive = 100.0
    temperature_c: Number = 20.0
    humidity: Annotated[float, Field(ge=0, le=1)] = 0.0
    drop_kpa: Number | None = None
    flow_kg_s: Positive | None = None
    position: Number | None = None
    way: Literal["opening", "closing"] = "opening"
    in_kpa: Positive | None = None
    in_c: Number | None = None
    out_kpa: Positive | None = None
    out_c: Number | None = None


def parse_bench(content: dict[str, Any]) -> BenchFile:
    """Return a checked bench; raises `BadInput` naming the key at fault, or what its element needs."""
    try:
        bench = BenchFile.model_validate(content)
    except ValidationError as fault:
        raise BadInput(f"The bench: {first_fault(fault)}", remedy="Correct that field.") from None
    needs = {"laminar": ("m3_s_per_kpa",), "sonic nozzle": ("bore_mm",), "meter": ()}
    for key in needs.get(bench.element, ("pipe_mm", "bore_mm")):
        if getattr(bench, key) is None:
            raise BadInput(
                f"The element needs {key}.", remedy="It stands on its drawing or certificate."
            )
    if bench.element not in needs:
        _element(bench)  # its ratio is in range
    if bench.element == "sonic nozzle":
        _nozzle(bench)
    return bench


def parse_read(content: dict[str, Any]) -> Read:
    """Return a checked reading; raises `BadInput`."""
    try:
        return Read.model_validate(content)
    except ValidationError as fault:
        raise BadInput(f"A reading: {first_fault(fault)}", remedy="Correct that value.") from None


def set_bench(shop: Workshop, rig: str, content: dict[str, Any], *, by: str = "") -> BenchFile:
    """Write down what measures the flow on a rig; it is frozen into each test."""
    if not rig.strip():
        raise BadInput(
            Said("refusal.the_bench_has_no_name"), remedy=Said("remedy.give_the_rig_name")
        )
    bench = parse_bench(content)
    if bench.element in LIMITS:
        check_element(_element(bench))
    kept = bench.model_dump(mode="json", exclude_defaults=True)
    if shop.book.rigs.newest(rig) is None:
        add_rig(shop, rig, {"kind": "flow bench"}, by=by)
    shop.book.rotors.add_calibration(rig, OF, kept, by=by)
    return bench


def bench_of(shop: Workshop, rig: str) -> BenchFile:
    """Return a rig's bench; raises `NotThere` when none was written down."""
    entry = shop.book.rotors.calibration(rig, OF)
    if entry is None:
        raise NotThere(
            Said("refusal.has_no_flow_element_yet", {"rig": rig}),
            remedy=Said("remedy.write_down_what_measures_the"),
        )
    return parse_bench(dict(entry.content))


def _element(bench: BenchFile, wider_mm: float = 0.0) -> Element:
    assert bench.pipe_mm is not None and bench.bore_mm is not None  # parse_bench has asked
    return Element(
        bench.element,  # type: ignore[arg-type]  # the other kinds were sorted out by the caller
        bench.pipe_mm, bench.bore_mm + wider_mm, bench.taps,
    )  # fmt: skip


def _nozzle(bench: BenchFile, wider_mm: float = 0.0, factor: float = 1.0) -> SonicNozzle:
    assert bench.bore_mm is not None  # parse_bench has asked
    return SonicNozzle(bench.bore_mm + wider_mm, bench.coefficient * factor, bench.diffuser_mm)


@dataclass(frozen=True)
class Computed:
    """What a reading comes to; flows in kg/s, uncertainties standard.

    Attributes
    ----------
    flow, flow_u : float
    corrected, corrected_u : float
        To the bench's reference conditions, by the state at the machine's inlet where it was measured, else before
        the element.
    ratio, efficiency : float or None
    efficiency_u : float or None
    """

    flow: float
    flow_u: float
    corrected: float
    corrected_u: float
    ratio: float | None
    efficiency: float | None
    efficiency_u: float | None = None


def compute(bench: BenchFile, read: Read) -> Computed:
    """Return what a reading comes to.

    Raises
    ------
    BadInput
        The element cannot measure that, is outside its standard's limits of use, or a value it needs is missing.
    """
    if bench.element != "meter" and read.drop_kpa is None:
        raise BadInput(
            Said("refusal.the_pressure_over_the_element"),
            remedy=Said("remedy.read_it_off_and_type"),
        )
    if bench.element == "meter" and read.flow_kg_s is None:
        raise BadInput(
            Said("refusal.the_meter_reading_is_missing"), remedy=Said("remedy.read_it_off_and_type")
        )
    values: dict[str, float] = {
        "upstream": read.upstream_kpa, "temperature": read.temperature_c, "drop": read.drop_kpa or 0.0, "bore": 0.0,
        "factor": 1.0,
    }  # fmt: skip
    flow = _checked_flow(bench, read, Inputs(**values))
    pressure_u, temperature_u = bench.pressure_u_kpa, bench.temperature_u_k
    u = {
        "upstream": pressure_u, "temperature": temperature_u, "drop": bench.drop_u_kpa,
        "bore": bench.bore_u_mm, "factor": _factor_u(bench, read, flow),
    }  # fmt: skip
    # sensors of their own at the machine; without them its state is that before the element, with the same errors
    for name, value, its_u in (
        ("in_kpa", read.in_kpa, pressure_u), ("in_c", read.in_c, temperature_u),
        ("out_kpa", read.out_kpa, pressure_u), ("out_c", read.out_c, temperature_u),
    ):  # fmt: skip
        if value is not None:
            values |= {name: value}
            u |= {name: its_u}

    def known(result: Callable[[Inputs], float]) -> tuple[float, float]:
        return result(Inputs(**values)), spread_of(lambda v: result(Inputs(**v)), values, u)

    efficiency: tuple[float, float] | tuple[None, None] = None, None
    if None not in (read.in_kpa, read.in_c, read.out_kpa, read.out_c):
        # pressures and flow stand; temperatures that their own uncertainty may turn round tell no efficiency
        with suppress(BadInput):
            efficiency = known(_efficiency)
    ratio = read.out_kpa / read.in_kpa if read.out_kpa and read.in_kpa else None
    return Computed(
        *known(lambda v: _flow(bench, read, v)),
        *known(lambda v: corrected_flow(_flow(bench, read, v), v.at_c, v.at_kpa, bench.reference)),
        ratio,
        *efficiency,
    )


@dataclass(frozen=True)
class Inputs:
    """What a reading is computed from: kPa, °C, mm on the bore, a factor on the coefficient; the machine."""

    upstream: float
    temperature: float
    drop: float
    bore: float
    factor: float
    in_kpa: float | None = None
    in_c: float | None = None
    out_kpa: float | None = None
    out_c: float | None = None

    @property
    def at_kpa(self) -> float:
        """Pressure the flow is corrected by."""
        return self.upstream if self.in_kpa is None else self.in_kpa

    @property
    def at_c(self) -> float:
        """Temperature the flow is corrected by."""
        return self.temperature if self.in_c is None else self.in_c


def _checked_flow(bench: BenchFile, read: Read, v: Inputs) -> float:
    """Return the flow of a reading as it was read, refused outside the element's limits of use."""
    if bench.element not in LIMITS:
        return _flow(bench, read, v, checked=True)
    element, air = _element(bench), Air(v.upstream, v.temperature, read.humidity)
    check_element(element)
    flow = _flow(bench, read, v, checked=True)
    check_flow(element, element.reynolds(flow, air.viscosity_pa_s))
    return flow


def _flow(bench: BenchFile, read: Read, v: Inputs, *, checked: bool = False) -> float:
    air = Air(v.upstream, v.temperature, read.humidity)
    if bench.element == "meter":
        return (read.flow_kg_s or 0.0) * v.factor
    if bench.element == "laminar":
        certified = Air(bench.certified_kpa, bench.certified_c)
        return Laminar(bench.m3_s_per_kpa or 0.0, certified).mass_flow_kg_s(air, v.drop) * v.factor
    if bench.element == "sonic nozzle":
        return _nozzle(bench, v.bore, v.factor).mass_flow_kg_s(air, v.drop, checked=checked)
    return _element(bench, v.bore).mass_flow_kg_s(
        v.upstream, v.drop if checked else max(v.drop, 0.0), air.density_kg_m3, air.viscosity_pa_s, v.factor,
        checked=checked,
    )  # fmt: skip


def _efficiency(v: Inputs) -> float:
    assert v.in_kpa and v.out_kpa and v.in_c is not None and v.out_c is not None  # compute looked
    efficiency = compressor_efficiency if v.out_kpa > v.in_kpa else turbine_efficiency
    return efficiency(v.in_kpa, v.out_kpa, v.in_c, v.out_c)


def _factor_u(bench: BenchFile, read: Read, flow: float) -> float:
    """Return the relative standard uncertainty of the coefficient and expansibility together."""
    if bench.coefficient_u is not None:
        return bench.coefficient_u
    if bench.element in ("laminar", "sonic nozzle", "meter"):
        return 0.005
    element = _element(bench)
    air = Air(read.upstream_kpa, read.temperature_c, read.humidity)
    coefficient = element.coefficient_u(element.reynolds(flow, air.viscosity_pa_s))
    expansibility = element.expansibility_u(read.upstream_kpa, read.drop_kpa or 0.0)
    return 0.5 * (coefficient**2 + expansibility**2) ** 0.5


def element_of(shop: Workshop, rig: str) -> BenchFile | None:
    """Return what measures the flow on a rig, or None when nothing was written down."""
    entry = shop.book.rotors.calibration(rig, OF)
    return parse_bench(dict(entry.content)) if entry else None


def flow_benches(shop: Workshop) -> list[str]:
    """Return the names of the rigs that have a flow element."""
    return [r for r in shop.book.rigs.names() if shop.book.rotors.calibration(r, OF)]
