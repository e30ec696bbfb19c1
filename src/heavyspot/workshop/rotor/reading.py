"""From a machine's signals, or from what its display says, to unbalance in a rotor's planes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ...balance.influence import solve_least_squares
from ...balance.rotor.calibration import fit_covariance, solved_covariance
from ...balance.rotor.places import least_removal
from ...balance.rotor.rigid import unbalance_from_force
from ...balance.rotor.tolerance import RotorVerdict, judge_residual
from ...balance.uncertainty import carried, mean_covariance, standard_of
from ...ledger.records import OfMachine
from ...quantities.arrays import Array
from ...quantities.errors import BadInput, SignalTooPoor
from ...quantities.said import Said
from ...quantities.units import OZ_IN_GMM
from ...signal.averaging import turn_stretches
from ...signal.mark.reference import ReferenceSettings
from ...sources.recording import Recording
from ..rig import RigRecord
from ..stored import stored
from .model_file import RotorFile

UNITS = ("g·mm", "g·mm/kg", "µm", "oz-in", "g")
"""Units of a display: unbalance, specific unbalance (g·mm/kg is µm), or mass at the plane's radius."""

ARBOR = "arbor:"
"""Before the name of a rotor: what its arbor adds on a machine, among the calibrations."""

CIRCLE_K = 2.4477
"""Radius of the circle that holds the truth 95 times in 100, in standard uncertainties of a component:
root of 5.991, the 95 % point of chi-square with two degrees of freedom."""

USUAL_SHARE = 0.025
"""Standard uncertainty of a reading, as a share, on a machine whose reduction ratio is not stated (ours)."""

SPEED_SHARE = 0.05
"""How far from its calibration's speed an influence-calibrated machine may measure, as a share (ours)."""

LARGEST = 1e12
"""Beyond any rotor, in any unit: a number like that was not read off a display."""

DEAD_SHARE = 1e-4
"""A sensor under this share of the other's signal gives nothing."""


@dataclass(frozen=True)
class ArborKept:
    """What an arbor adds in each plane: amount, g·mm, and degrees; and its covariance, real and imaginary.

    Arbors from before there were covariances have the standard uncertainty of each plane only.
    """

    fixture: tuple[tuple[float, float], ...]
    standard: tuple[float, ...]
    covariance: tuple[tuple[tuple[float, float], ...], ...] = ()

    def known(self) -> Array:
        """Return the covariance of a component, (planes, planes)."""
        if not self.covariance:
            return np.diag(np.square(self.standard))
        return complex_of(self.covariance)


@dataclass(frozen=True)
class CalibrationRuns:
    """Amounts that were added in a calibration's runs, runs by planes, real and imaginary."""

    added: tuple[tuple[tuple[float, float], ...], ...]


@dataclass(frozen=True)
class CalibrationKept:
    """A machine's influence coefficients, real and imaginary, sensors by planes, and each sensor's noise.

    `noise_covariance` is what the sensors' noise has in common; `at_floor` says which runs were left out;
    `units` and `names` are the sensors', where somebody said them.
    """

    speed_rpm: float
    response: tuple[tuple[tuple[float, float], ...], ...]
    noise: tuple[float, ...]
    runs: CalibrationRuns
    at_floor: tuple[bool, ...]
    noise_covariance: tuple[tuple[tuple[float, float], ...], ...] = ()
    units: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    def of_noise(self) -> Array:
        """Return the covariance of a component of one run's reading, (sensors, sensors)."""
        if not self.noise_covariance:
            return np.diag(np.square(self.noise))
        return complex_of(self.noise_covariance)

    def of_response(self) -> Array:
        """Return the covariance of the responses for a sensor with unit noise, (planes, planes)."""
        added = complex_of(self.runs.added)
        return fit_covariance(added[~np.array(self.at_floor)])


@dataclass(frozen=True)
class RotorReading:
    """Unbalance in a rotor's planes, and where the number comes from.

    Attributes
    ----------
    unbalance : ndarray, shape (planes,), complex
        g·mm: heavy spots, on the rotor, against rotation.
    covariance : ndarray, shape (planes, planes), complex
        Of a component, g²·mm²: what comes from the same sensors errs together.
    levers : ndarray, shape (tolerance planes, planes)
        What one unit in each plane is where it is judged.
    way : str
    speed_rpm : float
    notes : tuple of Said
    evidence : dict
    """

    unbalance: Array
    covariance: Array
    levers: Array
    way: str
    speed_rpm: float
    notes: tuple[Said, ...] = ()
    evidence: dict[str, Any] = field(default_factory=dict)

    @property
    def standard(self) -> Array:
        """Standard uncertainty of a component in each plane, g·mm."""
        return standard_of(self.covariance)

    @property
    def at_tolerance(self) -> Array:
        """The unbalance in the planes where it is judged, g·mm."""
        return np.asarray(self.levers @ self.unbalance)

    @property
    def standard_at(self) -> Array:
        """Standard uncertainty of a component in the planes where it is judged, g·mm."""
        return standard_of(carried(self.covariance, self.levers))

    def judged(self, rotor: RotorFile) -> RotorVerdict:
        """Return the verdict in the tolerance planes."""
        names = rotor.tolerance_planes
        return judge_residual(
            names, list(self.at_tolerance), [float(s) for s in self.standard_at], rotor.limits()
        )


def machine_standard(size_gmm: Array, rig: RigRecord) -> Array:
    """Return what the machine itself adds to a reading's standard uncertainty, g·mm.

    Half the claimed least residual, and half of what the claimed reduction ratio leaves of the amount.
    """
    share = 0.5 * (1 - rig.reduction) if rig.reduction is not None else USUAL_SHARE
    return np.hypot(0.5 * (rig.least_gmm or 0.0), share * np.abs(size_gmm))


def machine_covariance(rotor: RotorFile, unbalance: Array, rig: RigRecord) -> Array:
    """Return what the machine itself adds to a reading's covariance, (planes, planes), g²·mm².

    A machine errs where it feels, at its two supports, and its separation of planes carries that to the planes:
    near each other, these err much more than the supports, and against each other. With one plane it errs in
    that plane.
    """
    if len(rotor.plane) == 1:
        return np.diag(machine_standard(unbalance, rig) ** 2)
    to_supports = rotor.support_levers()
    own = machine_standard(to_supports @ unbalance, rig)
    return carried(np.diag(own**2), np.linalg.pinv(to_supports))


def typed_reading(
    rotor: RotorFile,
    amounts: Sequence[float],
    angles_deg: Sequence[float],
    *,
    unit: str = "g·mm",
    speed_rpm: float | None = None,
    light_spot: bool = False,
    rig: RigRecord | None = None,
) -> RotorReading:
    """Return what a machine's display says.

    Parameters
    ----------
    amounts, angles_deg : sequence of float
        One for each plane; angles on the rotor against rotation.
    unit : str
        One of `UNITS`; g is mass at the plane's radius.
    light_spot : bool
        The display says where to add; turned by half a turn.

    Raises
    ------
    BadInput
        Numbers do not fit the planes, the unit is not known, or an amount is negative.
    """
    planes = len(rotor.plane)
    if len(amounts) != planes or len(angles_deg) != planes:
        raise BadInput(
            Said(
                "refusal.amounts_and_angles_for_planes",
                {"amounts": len(amounts), "angles_deg": len(angles_deg), "planes": planes},
            ),
            remedy=Said(
                "remedy.give_amount_and_angle_for",
                {"known": ", ".join(p.name for p in rotor.plane)},
            ),
        )
    size, at = np.asarray(amounts, float), np.asarray(angles_deg, float)
    if (np.abs(size) > LARGEST).any() or (np.abs(at) > LARGEST).any():
        raise BadInput(
            Said("refusal.no_rotor_has_such_an"),
            remedy=Said("remedy.check_amounts_angles_and_unit"),
        )
    if not (np.isfinite(size).all() and np.isfinite(at).all()) or (size < 0).any():
        raise BadInput(
            Said("refusal.an_amount_is_negative_or"), remedy=Said("remedy.read_the_display_again")
        )
    factor = {
        "g·mm": np.ones(planes),
        "oz-in": np.full(planes, OZ_IN_GMM),
        "g·mm/kg": np.full(planes, rotor.mass_kg),
        "µm": np.full(planes, rotor.mass_kg),
        "g": np.array([p.radius_mm for p in rotor.plane]),
    }.get(unit)
    if factor is None:
        raise BadInput(
            Said("refusal.unit_is_not_known", {"unit": repr(unit)}),
            remedy=Said("remedy.known", {"known": ", ".join(UNITS)}),
        )
    u = size * factor * np.exp(1j * np.deg2rad(at + (180.0 if light_spot else 0.0)))
    covariance = machine_covariance(rotor, u, rig or RigRecord())
    speed = speed_rpm or rotor.measuring_speed_rpm or 0.0
    evidence = {
        "amounts": list(size),
        "angles_deg": list(at),
        "unit": unit,
        "light_spot": light_spot,
    }
    return RotorReading(u, covariance, rotor.tolerance_levers(), "typed", speed, (), evidence)


def signal_reading(
    rotor: RotorFile, recording: Recording, rig: RigRecord, calibration: OfMachine | None
) -> RotorReading:
    """Return what a recording of the supports says.

    Force sensors on hard bearings need no calibration run; any other sensors need influence coefficients.

    Raises
    ------
    SignalTooPoor
        No reference, too few turns, or a sensor gives nothing.
    BadInput
        Sensors that are not forces and no calibration, or the speed is not that of the calibration.
    UnreadableFile
        The channels do not fit.
    """
    sensors = recording.support_indices()
    phase = recording.phase_index()
    scales, units = zip(*(recording.channels[i].per_stored for i in sensors), strict=True)
    stretches = turn_stretches(
        (b.data for b in recording.blocks()),
        sample_rate_hz=recording.sample_rate_hz,
        phase_channel=phase,
        channels=sensors,
        scale=np.array(scales),
        reference=recording.channels[phase].reference or ReferenceSettings(),
    )
    speed = float(stretches.speed_rpm.mean())
    # forces of unbalance grow with the square of speed
    mean, scatter = mean_covariance(stretches.vectors * (speed / stretches.speed_rpm) ** 2)
    _refuse_dead(mean, [recording.channels[i].name for i in sensors])
    evidence = {"turns": stretches.turns, "units": list(units), "vectors": pairs(mean)}
    if calibration is not None:
        return through_influence(rotor, rig, calibration, mean, scatter, speed, evidence)
    if set(units) != {"N"} or len(sensors) != 2:
        raise BadInput(
            Said("refusal.the_supports_are_measured_in", {"known": ", ".join(units)}),
            remedy=Said("remedy.calibrate_the_machine_for_this"),
        )
    # force on the support is what the support feels: the unbalance at the support itself
    felt = unbalance_from_force(mean, speed)
    per_newton = unbalance_from_force(1.0, speed).real
    own = per_newton**2 * scatter + np.diag(machine_standard(np.abs(felt), rig) ** 2)
    levers = rotor.tolerance_levers()
    if len(rotor.plane) == 1:  # one plane: the resultant
        both = np.ones((1, 2))
        return RotorReading(both @ felt, carried(own, both), levers, "forces", speed, (), evidence)
    to_supports = rotor.support_levers()
    back = np.linalg.pinv(to_supports)  # two forces: exact for two planes, shared by more
    exact = len(rotor.plane) == 2
    u = back @ felt if exact else least_removal(list(felt), to_supports)
    return RotorReading(u, carried(own, back), levers, "forces", speed, (), evidence)


def without_arbor(rotor: RotorFile, reading: RotorReading, arbor: OfMachine | None) -> RotorReading:
    """Return a reading less what the machine's arbor is known to add, at index 0."""
    if arbor is None:
        return reading
    kept = stored(ArborKept, arbor.content, what="The arbor")
    fixture = np.array([amount * np.exp(1j * np.deg2rad(at)) for amount, at in kept.fixture])
    return replace(
        reading,
        unbalance=reading.unbalance - fixture,
        covariance=reading.covariance + kept.known(),
        notes=(*reading.notes, Said("note.arbor", {"day": arbor.at[:10]})),
        evidence=reading.evidence | {"arbor": arbor.id},
    )


def through_influence(
    rotor: RotorFile,
    rig: RigRecord,
    calibration: OfMachine,
    mean: Array,
    scatter: Array,
    speed: float,
    evidence: dict[str, Any],
) -> RotorReading:
    """Return what vibration at a machine's sensors says, by its influence coefficients.

    Parameters
    ----------
    mean : ndarray, shape (sensors,), complex
        In the units of the calibration.
    scatter : ndarray, shape (sensors, sensors)
        Covariance of a component of it, as far as the reading itself shows one.

    Raises
    ------
    BadInput
        The speed is not that of the calibration, or the numbers of sensors and planes are not.
    """
    kept = stored(CalibrationKept, calibration.content, what="The calibration")
    told = kept.speed_rpm
    if abs(speed / told - 1) > SPEED_SHARE:
        raise BadInput(
            Said("refusal.measured_at_rpm_the_calibration", {"speed": speed, "told": told}),
            remedy=Said("remedy.measure_at_the_calibration_speed"),
        )
    H = complex_of(kept.response)
    if H.shape != (mean.size, len(rotor.plane)):
        raise BadInput(
            Said(
                "refusal.the_calibration_is_for_sensors",
                {"shape": H.shape[0], "shape_2": H.shape[1]},
            ),
            remedy=Said("remedy.calibrate_again_with_these_sensors"),
        )
    noise = kept.of_noise()
    # what a run scatters within itself is part of what the calibration's runs scattered; only more than that counts
    more = np.maximum(np.diag(scatter).real - np.diag(noise).real, 0.0)
    weights = 1 / (np.diag(noise).real + more)
    solved = solve_least_squares(H, mean, weights)
    u = solved.unbalance
    covariance = solved_covariance(
        H, u, noise + np.diag(more),
        noise=noise, response_covariance=kept.of_response(), weights=weights,
    ) + machine_covariance(rotor, u, rig)  # fmt: skip
    notes = (solved.warning,) if solved.warning else ()
    evidence = evidence | {"calibration": calibration.id, "condition": solved.condition}
    levers = rotor.tolerance_levers()
    return RotorReading(u, covariance, levers, "influence", speed, notes, evidence)


def _refuse_dead(mean: Array, names: list[str]) -> None:
    size = np.abs(mean)
    for s, name in zip(size, names, strict=True):
        if s <= DEAD_SHARE * size.max():
            raise SignalTooPoor(
                Said("refusal.channel_gives_nothing_once_per", {"name": name}),
                remedy=Said("remedy.check_that_sensor_its_cable"),
            )


def pairs(values: Array) -> Any:
    """Return complex values as JSON holds them: real and imaginary, last."""
    return np.stack([values.real, values.imag], axis=-1).tolist()


def complex_of(kept: Any) -> Array:
    """Return what `pairs` was given."""
    parts = np.asarray(kept, float)
    return np.asarray(parts[..., 0] + 1j * parts[..., 1])
