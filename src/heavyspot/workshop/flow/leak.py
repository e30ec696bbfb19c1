"""A closed test for leaks: what leaks, and how well that is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ...flow.air import ZERO_C_K
from ...flow.element import spread_of
from ...flow.machine import leak_kg_s, leak_of_loss
from ...quantities.errors import BadInput
from ...sources.sidecar import first_fault
from .bench import BenchFile, Positive

VOLUME_U_SHARE, DRIFT_U_K, SECONDS_U = 0.01, 0.1, 0.5
"""Standard uncertainties where none is stated (ours): of the volume, of how much the air warmed, of the time."""


class LeakTest(BaseModel):
    """What was read.

    Attributes
    ----------
    volume_u_l, drift_u_k : float
        Standard uncertainties of the volume, and of how much the air warmed or cooled between the two readings.
    """

    model_config = ConfigDict(extra="forbid")
    volume_l: Positive
    from_kpa: Positive
    to_kpa: Positive
    seconds: Positive
    temperature_c: Annotated[float, Field(ge=-40, le=200)]
    volume_u_l: Annotated[float, Field(ge=0, le=1e6)] | None = None
    drift_u_k: Annotated[float, Field(ge=0, le=20)] = DRIFT_U_K


@dataclass(frozen=True)
class Leak:
    """A leak and its standard uncertainty, kg/s."""

    kg_s: float
    u_kg_s: float


def leak_of(bench: BenchFile, given: Mapping[str, Any]) -> Leak:
    """Return a leak with its standard uncertainty (JCGM 100, 5.1.2).

    Both pressures are read off one gauge: an error of the gauge is in both, and only its share of what was lost
    stays (JCGM 100, F.1.2.3); what two readings of it differ by is that of a drop. Air that warms by a share of its
    temperature gains that share of its pressure, which looks like so much less of a leak.

    Raises
    ------
    BadInput
        A value is missing or cannot be, or the pressure rose.
    """
    try:
        test = LeakTest.model_validate(given)
    except ValidationError as fault:
        raise BadInput(
            f"The leak test: {first_fault(fault)}", remedy="Correct that value."
        ) from None
    found = leak_kg_s(test.volume_l, test.from_kpa, test.to_kpa, test.seconds, test.temperature_c)
    values = {
        "volume": test.volume_l, "lost": test.from_kpa - test.to_kpa, "gauge": 1.0, "drift": 0.0,
        "seconds": test.seconds, "temperature": test.temperature_c,
    }  # fmt: skip
    volume_u = test.volume_u_l if test.volume_u_l is not None else VOLUME_U_SHARE * test.volume_l
    u = {
        "volume": volume_u, "lost": bench.drop_u_kpa, "gauge": bench.pressure_u_kpa / test.from_kpa,
        "drift": test.drift_u_k, "seconds": min(SECONDS_U, 0.5 * test.seconds),
        "temperature": bench.temperature_u_k,
    }  # fmt: skip

    def leak(
        volume: float, lost: float, gauge: float, drift: float, seconds: float, temperature: float
    ) -> float:
        warmed = test.to_kpa * drift / (temperature + ZERO_C_K)
        return leak_of_loss(volume, gauge * lost + warmed, seconds, temperature)

    return Leak(found, spread_of(lambda v: leak(**v), values, u))
