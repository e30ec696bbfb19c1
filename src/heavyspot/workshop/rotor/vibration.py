"""From vibration that somebody read off an instrument to unbalance, through a machine's calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...ledger.records import OfMachine
from ...quantities.angles import phasor
from ...quantities.errors import BadInput
from ...quantities.said import Said
from ...quantities.units import INCH_MM
from ..rig import RigRecord
from ..shop import Workshop
from ..stored import stored
from .machines import machine_names
from .model_file import RotorFile
from .reading import LARGEST, CalibrationKept, RotorReading, pairs, through_influence

VIBRATION: dict[str, tuple[str, float]] = {
    "mm/s": ("velocity", 1.0),
    "in/s": ("velocity", INCH_MM),
    "µm": ("displacement", 1.0),
    "mil": ("displacement", INCH_MM),
    "m/s²": ("acceleration", 1.0),
    "N": ("force", 1.0),
    "mV": ("voltage", 1.0),
}
"""Units of an instrument: what is measured, and its factor among its like.

Peak, peak to peak and r.m.s. are not told apart: read as it was read for the calibration.
"""

PLAIN = {"um": "µm", "m/s2": "m/s²", "m/s^2": "m/s²", "mils": "mil"}
"""Spellings for a keyboard without the signs."""


@dataclass(frozen=True)
class Calibrated:
    """A machine that is calibrated for a kind of rotor: what it is asked for.

    Attributes
    ----------
    rig, at : str
    speed_rpm : float
    sensors : tuple of str
        Their names, or their numbers where nobody named them.
    unit : str
        Empty where the calibration does not say.
    """

    rig: str
    at: str
    speed_rpm: float
    sensors: tuple[str, ...]
    unit: str


def calibrated_machines(shop: Workshop, rotor: str) -> list[Calibrated]:
    """Return the machines that are calibrated for a kind of rotor."""
    found = [(n, shop.book.rotors.calibration(n, rotor)) for n in machine_names(shop)]
    return [_calibrated(rig, row) for rig, row in found if row is not None]


def _calibrated(rig: str, row: OfMachine) -> Calibrated:
    kept = _kept(row)
    names = kept.names or tuple(str(n) for n in range(1, len(kept.response) + 1))
    return Calibrated(rig, row.at, kept.speed_rpm, names, kept.units[0] if kept.units else "")


def _kept(row: OfMachine) -> CalibrationKept:
    return stored(CalibrationKept, row.content, what="The calibration")


def known_unit(unit: str) -> str:
    """Return a unit of vibration as it is written, empty for none; raises `BadInput` when it is not known."""
    spelt = PLAIN.get(unit.strip(), unit.strip())
    if spelt and spelt not in VIBRATION:
        raise BadInput(
            Said("refusal.unit_is_none_of_vibration", {"unit": repr(unit)}),
            remedy=Said("remedy.known", {"known": ", ".join(VIBRATION)}),
        )
    return spelt


def vibration_reading(
    rotor: RotorFile,
    amounts: Sequence[float],
    angles_deg: Sequence[float],
    *,
    speed_rpm: float | None,
    rig: RigRecord,
    calibration: OfMachine | None,
    unit: str = "",
) -> RotorReading:
    """Return what vibration at the supports says, by the influence coefficients of the machine.

    Parameters
    ----------
    amounts, angles_deg : sequence of float
        One for each sensor of the calibration, in its order, read as for the calibration.
    speed_rpm : float
        At which it was read.
    unit : str
        One of `VIBRATION`; empty: the calibration's own.

    Raises
    ------
    BadInput
        There is no calibration, or it is for another speed, unit or number of sensors; an amount is negative.
    """
    if calibration is None:
        raise BadInput(
            Said("refusal.vibration_says_nothing_of_on", {"name": rotor.name}),
            remedy=Said("remedy.name_the_machine_and_calibrate"),
        )
    kept = _kept(calibration)
    if speed_rpm is None:
        raise BadInput(
            Said("refusal.vibration_needs_the_speed_it"),
            remedy=Said("remedy.the_calibration_is_for_rpm", {"speed_rpm": kept.speed_rpm}),
        )
    sensors = len(kept.response)
    if len(amounts) != sensors or len(angles_deg) != sensors:
        raise BadInput(
            Said(
                "refusal.amounts_and_angles_for_sensors",
                {"amounts": len(amounts), "angles_deg": len(angles_deg), "sensors": sensors},
            ),
            remedy=Said(
                "remedy.in_this_order",
                {"known": ", ".join(kept.names or ("Give one for each",))},
            ),
        )
    size, at = np.asarray(amounts, float), np.asarray(angles_deg, float)
    if not (np.isfinite(size).all() and np.isfinite(at).all()) or (size < 0).any():
        raise BadInput(
            Said("refusal.an_amount_is_negative_or"), remedy=Said("remedy.read_the_display_again")
        )
    if (size > LARGEST).any() or (np.abs(at) > LARGEST).any():
        raise BadInput(
            Said("refusal.no_machine_shakes_like_that"),
            remedy=Said("remedy.check_amounts_angles_and_unit"),
        )
    mean = phasor(size, at) * _factor(known_unit(unit), kept)
    evidence = {
        "amounts": list(size),
        "angles_deg": list(at),
        "unit": unit,
        "units": list(kept.units),
        "vectors": pairs(mean),
        "typed": True,
    }
    # one typed vector shows no scatter of its own: what the calibration's runs scattered stands for it
    scatter = np.zeros((sensors, sensors))
    return through_influence(rotor, rig, calibration, mean, scatter, float(speed_rpm), evidence)


def _factor(unit: str, kept: CalibrationKept) -> float:
    """Return by what the amounts are multiplied to be in the calibration's unit."""
    of_calibration = kept.units[0] if kept.units else ""
    if not unit or unit == of_calibration:
        return 1.0
    if not of_calibration:
        raise BadInput(
            Said("refusal.the_calibration_does_not_say", {"unit": unit}),
            remedy=Said("remedy.leave_the_unit_out_if"),
        )
    kind, factor = VIBRATION[unit]
    kind_there, factor_there = VIBRATION.get(of_calibration, (of_calibration, 1.0))
    if kind != kind_there:
        raise BadInput(
            Said(
                "refusal.is_the_calibration_is_in",
                {"unit": unit, "kind": kind, "of_calibration": of_calibration},
            ),
            remedy=Said("remedy.read_or_calibrate_again_with", {"of_calibration": of_calibration}),
        )
    return factor / factor_there
