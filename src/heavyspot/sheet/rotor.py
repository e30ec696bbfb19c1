"""The frozen report value behind a rotor's sheet: before and after in each tolerance plane."""

from __future__ import annotations

from dataclasses import dataclass

from ..quantities.angles import Rotation
from ..quantities.said import Said
from .head import Head


@dataclass(frozen=True)
class SheetVector:
    """A residual vector; the circle holds the truth 95 times in 100."""

    amount_gmm: float
    angle_deg: float
    uncertainty_gmm: float
    circle_gmm: float


@dataclass(frozen=True)
class SheetPlane:
    """One tolerance plane, as found and as it is."""

    name: Said
    limit_gmm: float
    verdict: str
    first: SheetVector | None
    last: SheetVector


@dataclass(frozen=True)
class SheetCorrection:
    """A correction as it is listed."""

    plane: str
    way: str
    angle_deg: float
    clock: str
    amount_gmm: float
    after_run: int


@dataclass(frozen=True, kw_only=True)
class RotorReport(Head):
    """One rotor sheet's content; the same value always gives the same PDF bytes."""

    rotation: Rotation
    mass_kg: float
    service_speed_rpm: float
    speed_rpm: float
    measured_at: str
    way: Said
    rule: Said
    planes: tuple[SheetPlane, ...]
    corrections: tuple[SheetCorrection, ...]
    notes: tuple[Said, ...]
