"""Making a low-speed machine known: influence coefficients by trial masses, and what its arbor adds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...balance.rotor.calibration import calibrate
from ...balance.rotor.tooling import index_covariance, index_method
from ...balance.uncertainty import standard_of
from ...quantities.angles import angle_of
from ...quantities.arrays import Array
from ...quantities.checks import positive
from ...quantities.errors import BadInput
from ..rig import known_rig
from ..shop import Workshop
from .models import rotor_model
from .reading import ARBOR, machine_covariance, pairs


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
) -> dict[str, Any]:
    """Calibrate a machine for a rotor by runs with known masses, and keep it with date and rotor.

    Parameters
    ----------
    added : ndarray, shape (runs, planes), complex
        Unbalance added in each run, g·mm; one run with nothing.
    readings : ndarray, shape (runs, sensors), complex

    Raises
    ------
    BadInput
        As `balance.calibration.calibrate`; no speed; the planes are not those of the rotor.
    """
    model = rotor_model(shop, rotor)
    if added.ndim != 2 or added.shape[1] != len(model.plane):
        raise BadInput(
            f"The runs have {added.shape[-1]} planes, the rotor {len(model.plane)}.",
            remedy="Give an amount for each plane in every run.",
        )
    if not rig.strip():
        raise BadInput("The machine has no name.", remedy="Name the rig.")
    speed = positive("speed", speed_rpm)
    fit = calibrate(added, readings, names=names)
    content = {
        "speed_rpm": speed,
        "units": list(units),
        "names": list(names),
        "response": pairs(fit.response),
        "noise": fit.noise.tolist(),
        "noise_covariance": pairs(fit.noise_covariance),
        "repeat_share": fit.repeat_share.tolist(),
        "condition": fit.condition,
        "warnings": list(fit.warnings),
        "at_floor": fit.at_floor.tolist(),
        "runs": {"added": pairs(added), "readings": pairs(readings)},
    }
    shop.book.rotors.add_calibration(rig.strip(), model.name, content, by=by)
    return {"rig": rig.strip(), "rotor": model.name, **content}


def store_arbor(
    shop: Workshop,
    rig: str,
    rotor: str,
    planes: Sequence[Sequence[complex]],
    *,
    step_deg: float = 180.0,
    by: str = "",
) -> dict[str, Any]:
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
            f"{len(planes)} planes are read, the rotor has {len(model.plane)}.",
            remedy="Give the readings of " + " and ".join(p.name for p in model.plane) + ".",
        )
    if not rig.strip():
        raise BadInput("The machine has no name.", remedy="Name the rig.")
    if len({len(read) for read in planes}) != 1:
        raise BadInput(
            "The planes were not read equally often.", remedy="Give every plane at every index."
        )
    read, at = np.array(planes, complex), np.arange(len(planes[0])) * step_deg
    told = [index_method(one, at) for one in read]
    machine = machine_covariance(model, read[:, 0], known_rig(shop, rig.strip()))
    covariance = index_covariance(read, at, reading=machine)
    content = {
        "fixture": [[abs(t.fixture), float(angle_of(t.fixture))] for t in told],
        "rotor": [[abs(t.rotor), float(angle_of(t.rotor))] for t in told],
        "standard": standard_of(covariance).tolist(),
        "covariance": pairs(covariance),
        "step_deg": step_deg,
    }
    shop.book.rotors.add_calibration(rig.strip(), ARBOR + model.name, content, by=by)
    return {
        "rig": rig.strip(),
        "model": model.name,
        "planes": [p.name for p in model.plane],
        **content,
    }
