"""What to do to a rotor: amounts at angles or places, depths, masses of a set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...balance.rotor.mass_sets import set_of_masses
from ...balance.rotor.places import least_removal, split_over
from ...balance.rotor.tolerance import RotorVerdict
from ...quantities.angles import angle_of
from ...quantities.arrays import Array
from ...quantities.said import Said
from ...quantities.words import short
from .model_file import RotorFile, RotorPlaneFile
from .reading import RotorReading

SPACING_DEG = 15.0
"""Where a single cut is not enough and any angle is allowed: cuts so far apart."""

ENOUGH = 0.1
"""Share of the limit that a set of masses may leave in a plane: no more masses for less."""

SPARING_SHARE = 0.5
"""Share of the limit that the sparing way leaves in each tolerance plane."""

MOST_SIDE_BY_SIDE = 9
"""So many of them at most: what they cannot make stays for the next time."""


@dataclass(frozen=True)
class Correction:
    """One thing to do.

    Attributes
    ----------
    plane : str
    way : "remove" or "add"
    angle_deg : float
        Where, on the rotor.
    amount_gmm, mass_g : float
    depth_mm : float
        Of a cut; 0 for added mass.
    pieces : dict of mass in g -> count
        Of a set of masses.
    """

    plane: str
    way: str
    angle_deg: float
    amount_gmm: float
    mass_g: float
    depth_mm: float = 0.0
    pieces: dict[str, int] | None = None


@dataclass(frozen=True)
class RotorAdvice:
    """What to do to a rotor, and what should stay.

    Attributes
    ----------
    corrections : tuple of Correction
    expected : tuple of complex
        What should stay in each plane, g·mm.
    why : tuple of Said
    sparing : tuple of Correction
        The least that may be taken off to be within half the limit; empty when that is no less.
    """

    corrections: tuple[Correction, ...]
    expected: tuple[complex, ...]
    why: tuple[Said, ...]
    sparing: tuple[Correction, ...] = ()


def correct(rotor: RotorFile, reading: RotorReading, verdict: RotorVerdict) -> RotorAdvice:
    """Return the corrections that bring each plane as near to nothing as its ways allow."""
    if verdict.verdict == "pass":
        stay = tuple(complex(u) for u in reading.unbalance)
        return RotorAdvice((), stay, (Said("rotor_why.within"),))
    worst = verdict.worst
    why = [
        Said("rotor_why.open")
        if verdict.verdict == "undecided"
        else Said("rotor_why.over", {"plane": worst.name, "ratio": worst.ratio})
    ]
    done: list[Correction] = []
    left: list[complex] = []
    for plane, u in zip(rotor.plane, reading.unbalance, strict=True):
        made, stays = _in_plane(plane, complex(u), ENOUGH * min(rotor.limits()))
        done += made
        left.append(stays)
        if abs(stays) > 0.02 * abs(u) and abs(stays) > 0.2 * min(rotor.limits()):
            why.append(
                Said("rotor_why.stays", {"plane": plane.name, "unbalance_gmm": short(abs(stays))})
            )
    return RotorAdvice(tuple(done), tuple(left), tuple(why), _sparing(rotor, reading, done))


def _sparing(
    rotor: RotorFile, reading: RotorReading, done: list[Correction]
) -> tuple[Correction, ...]:
    """Return the shares of both planes that take off least and still leave half the limit free."""
    planes = rotor.plane
    if not rotor.in_bearings or any(p.way == "add" or p.angles().size for p in planes):
        return ()
    levers = rotor.tolerance_levers()
    may_stay = [SPARING_SHARE * limit for limit in rotor.limits()]
    wanted = [complex(u) for u in reading.at_tolerance]
    out: list[Correction] = []
    for plane, u in zip(planes, least_removal(wanted, levers, may_stay), strict=True):
        if abs(u) > 1e-3 * min(may_stay):
            out += _in_plane(plane, complex(u), 0.0)[0]
    if sum(c.amount_gmm for c in out) > 0.98 * sum(c.amount_gmm for c in done):
        return ()
    return tuple(out)


def _in_plane(
    plane: RotorPlaneFile, heavy: complex, enough: float
) -> tuple[list[Correction], complex]:
    """Return what to do in a plane, and what stays."""
    where = heavy if plane.way == "remove" else -heavy
    places = plane.angles()
    if plane.masses_g:
        return _with_masses(plane, where, places, enough)
    most = _most(plane)
    if places.size == 0:
        at, each = _side_by_side(where, most)
        made = each * np.exp(1j * np.deg2rad(at)).sum()
        stays = where - made if plane.way == "remove" else made - where
        return _rows(plane, at, np.full(at.size, each)), complex(stays)
    split = split_over(where, places, most_each=most)
    stays = split.residual if plane.way == "remove" else -split.residual
    return _rows(plane, places, split.amounts), complex(stays)


def _side_by_side(where: complex, most: float) -> tuple[Array, float]:
    """Return as few equal cuts as will do, side by side round an angle, and the amount of each."""
    at = float(angle_of(where))
    for n in range(1, MOST_SIDE_BY_SIDE + 1):
        offsets = SPACING_DEG * (np.arange(n) - (n - 1) / 2)
        each = abs(where) / float(np.cos(np.deg2rad(offsets)).sum())
        if each <= most:
            break
    return (at + offsets) % 360.0, min(each, most)


def _most(plane: RotorPlaneFile) -> float:
    if plane.way == "add":
        return float("inf")
    return plane.as_cutter().largest_unbalance(0.0, plane.deepest_mm)


def _rows(plane: RotorPlaneFile, at: Array, amounts: Array) -> list[Correction]:
    out = []
    for angle, amount in zip(at, amounts, strict=True):
        if amount <= 0:
            continue
        if plane.way == "add":
            mass = amount / plane.radius_mm
            out.append(Correction(plane.name, "add", float(angle), float(amount), float(mass)))
            continue
        cutter = plane.as_cutter()
        depth = cutter.depth_for(float(amount))
        mass = cutter.removed(depth).mass_mg / 1e3
        out.append(
            Correction(plane.name, "remove", float(angle), float(amount), mass, round(depth, 3))
        )
    return out


def _with_masses(
    plane: RotorPlaneFile, where: complex, places: Array, enough: float
) -> tuple[list[Correction], complex]:
    each = np.array(plane.masses_g) * plane.radius_mm
    found = set_of_masses(
        where,
        places,
        each,
        stock=plane.stock or None,
        most_at_place=plane.most_at_place,
        enough=enough,
    )
    out = []
    for angle, counts in zip(places, found.counts, strict=True):
        if not counts.any():
            continue
        amount = float(counts @ each)
        pieces = {f"{m:g}": int(n) for m, n in zip(plane.masses_g, counts, strict=True) if n}
        out.append(
            Correction(
                plane.name, "add", float(angle), amount, amount / plane.radius_mm, 0.0, pieces
            )
        )
    return out, complex(-found.residual)
