"""Making a low-speed machine known: influence coefficients by trial masses, and what its arbor adds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from ...balance.rotor.calibration import calibrate
from ...balance.rotor.tooling import index_covariance, index_method
from ...balance.uncertainty import standard_of
from ...quantities.angles import angle_of
from ...quantities.arrays import Array
from ...quantities.checks import positive
from ...quantities.errors import BadInput
from ...quantities.said import Said
from ..rig import known_rig
from ..shop import Workshop
from .models import rotor_model
from .reading import ARBOR, machine_covariance, pairs
from .vibration import known_unit


@dataclass(frozen=True)
class MachineCalibration:
    """What a calibration came to, as it is kept.

    Attributes
    ----------
    rig, rotor : str
    speed_rpm : float
    units, names : list of str
        Of the sensors, where they were said.
    response : nested list
        Influence coefficients, (sensors, planes, 2): real and imaginary part.
    noise, repeat_share : list of float
        Standard uncertainty of a component of one reading, a sensor each; and as a share.
    noise_covariance : nested list
        (sensors, sensors, 2).
    condition : float
    warnings : list of str
    at_floor : list of bool
        Runs that were too small to count.
    runs : dict
        What was added and what was read.
    """

    rig: str
    rotor: str
    speed_rpm: float
    units: list[str]
    names: list[str]
    response: Any
    noise: list[float]
    noise_covariance: Any
    repeat_share: list[float]
    condition: float
    warnings: list[str]
    at_floor: list[bool]
    runs: dict[str, Any]

    def content(self) -> dict[str, Any]:
        """Return what the ledger keeps of it."""
        return {k: v for k, v in asdict(self).items() if k not in ("rig", "rotor")}


def calibrate_machine(
    shop: Workshop,
    rig: str,
    rotor: str,
    added: Array,
    readings: Array,
    *,
    speed_rpm: float,
    units: Sequence[str] = (),
    names: tuple[str, ...] = (),
    by: str = "",
) -> MachineCalibration:
    """Calibrate a machine for a rotor by runs with known masses, and keep it with date and rotor.

    Parameters
    ----------
    added : ndarray, shape (runs, planes), complex
        Unbalance added in each run, g·mm; one run with nothing.
    readings : ndarray, shape (runs, sensors), complex
    units : sequence of str
        Of the sensors, or one for all; without, later readings cannot be compared with it by their unit.

    Raises
    ------
    BadInput
        As `balance.calibration.calibrate`; no speed; the planes are not those of the rotor.
    """
    model = rotor_model(shop, rotor)
    if added.ndim != 2 or added.shape[1] != len(model.plane):
        raise BadInput(
            Said(
                "refusal.the_runs_have_planes_the",
                {"shape": added.shape[-1], "plane": len(model.plane)},
            ),
            remedy=Said("remedy.give_an_amount_for_each"),
        )
    if not rig.strip():
        raise BadInput(Said("refusal.the_machine_has_no_name"), remedy=Said("remedy.name_the_rig"))
    speed = positive("speed", speed_rpm)
    units = [known_unit(u) for u in units]
    fit = calibrate(added, readings, names=names)
    told = MachineCalibration(
        rig=rig.strip(),
        rotor=model.name,
        speed_rpm=speed,
        units=list(units),
        names=list(names),
        response=pairs(fit.response),
        noise=fit.noise.tolist(),
        noise_covariance=pairs(fit.noise_covariance),
        repeat_share=fit.repeat_share.tolist(),
        condition=fit.condition,
        warnings=list(fit.warnings),
        at_floor=fit.at_floor.tolist(),
        runs={"added": pairs(added), "readings": pairs(readings)},
    )
    shop.book.rotors.add_calibration(told.rig, told.rotor, told.content(), by=by)
    return told


@dataclass(frozen=True)
class Arbor:
    """What an arbor adds to a rotor, by indexing.

    Attributes
    ----------
    rig, model : str
    planes : tuple of str
        Names of the rotor's planes, in the order of what follows.
    fixture, rotor : list of [amount in g·mm, angle in degrees]
        The arbor's part and the rotor's own, a plane each.
    standard : list of float
        Standard uncertainty of a component of the arbor's part, g·mm, a plane each.
    covariance : nested list
        Its covariance, g²·mm², (planes, planes, 2): real and imaginary part.
    step_deg : float
    """

    rig: str
    model: str
    planes: tuple[str, ...]
    fixture: list[list[float]]
    rotor: list[list[float]]
    standard: list[float]
    covariance: list[list[list[float]]]
    step_deg: float

    def content(self) -> dict[str, Any]:
        """Return what the ledger keeps of it."""
        whose = ("rig", "model", "planes")
        return {k: v for k, v in asdict(self).items() if k not in whose}


def store_arbor(
    shop: Workshop,
    rig: str,
    rotor: str,
    planes: Sequence[Sequence[complex]],
    *,
    step_deg: float = 180.0,
    by: str = "",
) -> Arbor:
    """Find by indexing what an arbor adds, and keep it: later readings on that machine are without it.

    Parameters
    ----------
    planes : sequence of sequence of complex
        For each plane of the rotor, the readings at index 0, step, 2 step ...; angles on the rotor.

    Raises
    ------
    BadInput
        As `balance.tooling.index_method`; the planes are not those of the rotor.
    """
    model = rotor_model(shop, rotor)
    if len(planes) != len(model.plane):
        raise BadInput(
            Said(
                "refusal.planes_are_read_the_rotor",
                {"planes": len(planes), "plane": len(model.plane)},
            ),
            remedy=Said(
                "remedy.give_the_readings_of",
                {"known": ", ".join(p.name for p in model.plane)},
            ),
        )
    if not rig.strip():
        raise BadInput(Said("refusal.the_machine_has_no_name"), remedy=Said("remedy.name_the_rig"))
    if len({len(read) for read in planes}) != 1:
        raise BadInput(
            Said("refusal.the_planes_were_not_read"),
            remedy=Said("remedy.give_every_plane_at_every"),
        )
    read, at = np.array(planes, complex), np.arange(len(planes[0])) * step_deg
    told = [index_method(one, at) for one in read]
    machine = machine_covariance(model, read[:, 0], known_rig(shop, rig.strip()))
    covariance = index_covariance(read, at, reading=machine)
    arbor = Arbor(
        rig=rig.strip(),
        model=model.name,
        planes=tuple(p.name for p in model.plane),
        fixture=[[abs(t.fixture), float(angle_of(t.fixture))] for t in told],
        rotor=[[abs(t.rotor), float(angle_of(t.rotor))] for t in told],
        standard=standard_of(covariance).tolist(),
        covariance=pairs(covariance),
        step_deg=step_deg,
    )
    shop.book.rotors.add_calibration(arbor.rig, ARBOR + model.name, arbor.content(), by=by)
    return arbor
