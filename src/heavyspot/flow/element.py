"""Differential-pressure elements by ISO 5167:2003, and laminar elements.

Discharge coefficients and expansibilities of parts 2 (orifice plates), 3 (nozzles) and 4 (Venturi tubes); the
uncertainty of a coefficient as each part states it. Checked in the tests against published values and an
independent library.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from ..quantities.checks import positive
from ..quantities.errors import BadInput
from .air import KAPPA_AIR, Air

Kind = Literal[
    "orifice", "isa 1932 nozzle", "long radius nozzle", "venturi nozzle", "venturi as cast",
    "venturi machined", "venturi welded",
]  # fmt: skip
Taps = Literal["corner", "D", "flange"]

TURNS = 60
"""Most steps of the iteration for the mass flow; it settles in under ten."""


@dataclass(frozen=True)
class Element:
    """A differential-pressure element in a pipe.

    Parameters
    ----------
    kind : str
    pipe_mm, bore_mm : float
        Inner diameter of the pipe and of the throat, at working temperature.
    taps : str
        Of an orifice: corner, D (D and D/2) or flange.
    kappa : float
        Isentropic exponent of the gas; 0: a liquid, no expansion.

    Raises
    ------
    BadInput
        The bore is not smaller than the pipe.
    """

    kind: Kind
    pipe_mm: float
    bore_mm: float
    taps: Taps = "corner"
    kappa: float = KAPPA_AIR

    def __post_init__(self) -> None:
        positive("pipe", self.pipe_mm)
        positive("bore", self.bore_mm)
        if not 0.1 <= self.beta <= 0.85:
            raise BadInput(
                f"A bore of {self.bore_mm:g} mm in a pipe of {self.pipe_mm:g} mm: a ratio of "
                f"{self.beta:.3f} is outside every part of ISO 5167.",
                remedy="Between 0.1 and 0.85.",
            )

    @property
    def beta(self) -> float:
        """Diameter ratio."""
        return self.bore_mm / self.pipe_mm

    def coefficient(self, reynolds: float) -> float:
        """Return the discharge coefficient at a Reynolds number of the pipe."""
        b, r = self.beta, max(reynolds, 1.0)
        if self.kind == "orifice":
            return _reader_harris_gallagher(b, r, self.pipe_mm, self.taps)
        if self.kind == "isa 1932 nozzle":
            return (
                0.9900 - 0.2262 * b**4.1 - (0.00175 * b**2 - 0.0033 * b**4.15) * (1e6 / r) ** 1.15
            )
        if self.kind == "long radius nozzle":
            return 0.9965 - 0.00653 * math.sqrt(1e6 * b / r)
        if self.kind == "venturi nozzle":
            return 0.9858 - 0.196 * b**4.5
        return {"venturi as cast": 0.984, "venturi machined": 0.995, "venturi welded": 0.985}[
            self.kind
        ]

    def coefficient_u(self, reynolds: float) -> float:
        """Return the relative expanded uncertainty of the coefficient, as the standard states it."""
        b = self.beta
        if self.kind == "orifice":
            u = 0.7 - b if b < 0.2 else 0.5 if b <= 0.6 else 1.667 * b - 0.5
            if b > 0.5 and reynolds < 10_000:
                u += 0.5
            if self.pipe_mm < 71.12:
                u += 0.9 * (0.75 - b) * (2.8 - self.pipe_mm / 25.4)
            return u / 100.0
        if self.kind == "isa 1932 nozzle":
            return (0.8 if b <= 0.6 else 2 * b - 0.4) / 100.0
        if self.kind == "long radius nozzle":
            return 0.02
        if self.kind == "venturi nozzle":
            return (1.2 + 1.5 * b**4) / 100.0
        return {"venturi as cast": 0.007, "venturi machined": 0.01, "venturi welded": 0.015}[
            self.kind
        ]

    def expansibility(self, upstream_kpa: float, drop_kpa: float) -> float:
        """Return the expansibility factor between an absolute pressure and what is left of it."""
        if self.kappa <= 0:
            return 1.0
        b, ratio = self.beta, 1.0 - drop_kpa / upstream_kpa
        if self.kind == "orifice":
            return 1.0 - (0.351 + 0.256 * b**4 + 0.93 * b**8) * (1.0 - ratio ** (1.0 / self.kappa))
        if drop_kpa <= 0:
            return 1.0
        k, t23 = self.kappa, ratio ** (2.0 / self.kappa)
        first = k * t23 / (k - 1.0)
        second = (1.0 - b**4) / (1.0 - b**4 * t23)
        third = (1.0 - ratio ** ((k - 1.0) / k)) / (1.0 - ratio)
        return math.sqrt(first * second * third)

    def expansibility_u(self, upstream_kpa: float, drop_kpa: float) -> float:
        """Return the relative expanded uncertainty of the expansibility."""
        share = drop_kpa / upstream_kpa
        if self.kappa <= 0:
            return 0.0
        if self.kind == "orifice":
            return 0.035 * share / self.kappa
        if self.kind.startswith("venturi"):
            return (4.0 + 100.0 * self.beta**8) / 100.0 * share
        return 0.02 * share

    def mass_flow_kg_s(
        self,
        upstream_kpa: float,
        drop_kpa: float,
        density_kg_m3: float,
        viscosity_pa_s: float,
        factor: float = 1.0,
        *,
        checked: bool = True,
    ) -> float:
        """Return the mass flow; the coefficient depends on it, so it is iterated.

        Parameters
        ----------
        factor : float
            On the coefficient, to see what its uncertainty does.
        checked : bool
            False where the drop is that of a reading changed by its uncertainty: the reading itself was checked.

        Raises
        ------
        BadInput
            The pressure drop is negative, or more than a quarter of the upstream pressure.
        """
        if checked and not 0 <= drop_kpa <= 0.25 * upstream_kpa:
            raise BadInput(
                f"A drop of {drop_kpa:g} kPa from {upstream_kpa:g} kPa is outside the standard.",
                remedy="Between 0 and a quarter of the upstream pressure; take a larger bore.",
            )
        bore, pipe = self.bore_mm / 1000.0, self.pipe_mm / 1000.0
        ideal = math.pi / 4.0 * bore**2 * math.sqrt(2000.0 * drop_kpa * density_kg_m3)
        ideal *= self.expansibility(upstream_kpa, drop_kpa) / math.sqrt(1.0 - self.beta**4) * factor
        flow = 0.6 * ideal
        for _ in range(TURNS):
            reynolds = 4.0 * flow / (math.pi * pipe * viscosity_pa_s)
            new = ideal * self.coefficient(reynolds)
            if abs(new - flow) <= 1e-13 * max(new, 1e-12):
                return new
            flow = new
        return flow

    def reynolds(self, flow_kg_s: float, viscosity_pa_s: float) -> float:
        """Return the Reynolds number of the pipe."""
        return 4.0 * flow_kg_s / (math.pi * self.pipe_mm / 1000.0 * viscosity_pa_s)


def _reader_harris_gallagher(beta: float, reynolds: float, pipe_mm: float, taps: Taps) -> float:
    """Return the coefficient of an orifice plate (ISO 5167-2:2003, 5.3.2.1)."""
    l1, l2 = {"corner": (0.0, 0.0), "D": (1.0, 0.47), "flange": (25.4 / pipe_mm,) * 2}[taps]
    a = (19_000.0 * beta / reynolds) ** 0.8
    m2 = 2.0 * l2 / (1.0 - beta)
    b4 = beta**4 / (1.0 - beta**4)
    c = (
        0.5961 + 0.0261 * beta**2 - 0.216 * beta**8 + 0.000521 * (1e6 * beta / reynolds) ** 0.7
        + (0.0188 + 0.0063 * a) * beta**3.5 * (1e6 / reynolds) ** 0.3
        + (0.043 + 0.080 * math.exp(-10.0 * l1) - 0.123 * math.exp(-7.0 * l1)) * (1.0 - 0.11 * a) * b4
        - 0.031 * (m2 - 0.8 * m2**1.1) * beta**1.3
    )  # fmt: skip
    if pipe_mm < 71.12:
        c += 0.011 * (0.75 - beta) * (2.8 - pipe_mm / 25.4)
    return c


@dataclass(frozen=True)
class Laminar:
    """A laminar element: its volume flow goes with the pressure drop, against viscosity.

    Parameters
    ----------
    m3_s_per_kpa : float
        Of its certificate, at `certified`.
    certified : Air
        The air its certificate was made with.
    """

    m3_s_per_kpa: float
    certified: Air

    def mass_flow_kg_s(self, air: Air, drop_kpa: float) -> float:
        """Return the mass flow at a drop."""
        positive("factor", self.m3_s_per_kpa)
        volume = self.m3_s_per_kpa * drop_kpa * self.certified.viscosity_pa_s / air.viscosity_pa_s
        return volume * air.density_kg_m3


def spread_of(
    compute: Callable[[dict[str, float]], float], values: dict[str, float], u: dict[str, float]
) -> float:
    """Return the standard uncertainty of a result from those of its inputs (JCGM 100, 5.1.2), by differences.

    An input that enters a result twice is given once: what it does there is then added with its sign, as the
    covariances of 5.2.2 would have it.

    Parameters
    ----------
    compute : callable
        Result from inputs by name.
    values, u : dict
        Inputs, and their standard uncertainties; those not named have none.
    """
    total = 0.0
    for name, spread in u.items():
        if spread > 0:
            up = compute(values | {name: values[name] + spread})
            down = compute(values | {name: values[name] - spread})
            total += (0.5 * (up - down)) ** 2
    return math.sqrt(total)
