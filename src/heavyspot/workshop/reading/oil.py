"""Findings from the oil that was written down: outside the model's range, or not as before."""

from __future__ import annotations

from ...quantities.finding import Finding, finding_of
from ...sources.recording import Recording
from ..model import ModelFile
from .kept import KeptConditions, KeptOil

OTHER_TEMPERATURE_C, OTHER_PRESSURE_SHARE = 10.0, 0.20
"""Between two runs of a piece: more than this moves the films enough to move the vector (ours)."""


def oil_findings(
    recording: Recording, model: ModelFile, before: KeptConditions | None
) -> list[Finding]:
    """Return what the oil of a run says, beside its model and the piece's run before.

    Parameters
    ----------
    before : KeptConditions or None
        Of the run before.
    """
    now = KeptOil(recording.oil_temperature_c, recording.oil_pressure_kpa)
    found = []
    for words, unit, value, allowed in (
        ("Oil", "°C", now.temperature_c, model.oil_temperature_c),
        ("Oil pressure", "kPa", now.pressure_kpa, model.oil_pressure_kpa),
    ):
        if value is not None and allowed is not None and not allowed[0] <= value <= allowed[1]:
            key = "temperature_c" if unit == "°C" else "pressure_kpa"
            found.append(
                finding_of(
                    "oil.out_of_range",
                    "warn",
                    f"{words} {value:g} {unit}; the model asks for {allowed[0]:g} to {allowed[1]:g}.",
                    {key: value, "low": allowed[0], "high": allowed[1]},
                )
            )
    return [*found, *_changed(now, before.recording.oil if before else KeptOil())]


def _changed(now: KeptOil, old: KeptOil) -> list[Finding]:
    said: list[str] = []
    evidence: dict[str, float] = {}
    one, two = old.temperature_c, now.temperature_c
    if one is not None and two is not None and abs(two - one) > OTHER_TEMPERATURE_C:
        said.append(f"{one:g} °C then, {two:g} °C now")
        evidence |= {"temperature_before_c": one, "temperature_c": two}
    one, two = old.pressure_kpa, now.pressure_kpa
    if one is not None and two is not None and abs(two - one) > OTHER_PRESSURE_SHARE * abs(one):
        said.append(f"{one:g} kPa then, {two:g} kPa now")
        evidence |= {"pressure_before_kpa": one, "pressure_kpa": two}
    if not said:
        return []
    return [
        finding_of(
            "oil.not_as_before",
            "warn",
            f"The oil is not as in the run before ({'; '.join(said)}): part of the change may be the oil's.",
            evidence,
        )
    ]
