"""The frozen report value behind a cartridge's sheet: everything on the page, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

from ..quantities.angles import Rotation
from ..quantities.said import Said
from .head import Head


@dataclass(frozen=True)
class SheetCurve:
    """A curve as it is drawn."""

    run: int
    speed_rpm: tuple[float, ...]
    amplitude_g: tuple[float, ...]


@dataclass(frozen=True)
class SheetCut:
    """A cut as it is listed, its clock as it is seen from where it was ground."""

    number: int
    plane: str
    seen_from: str
    angle_deg: float
    clock: str
    depth_mm: float
    mass_mg: float
    after_run: int


@dataclass(frozen=True, kw_only=True)
class SheetReport(Head):
    """One sheet's content; the same value always gives the same PDF bytes."""

    position: Said
    rotation: Rotation
    test_speed_rpm: float
    sensor: str
    run_id: str
    spun_at: str
    margin: float
    worst_speed_rpm: float
    worst_g: float
    worst_u_g: float
    worst_limit_g: float
    reason: Said
    limit_speed_rpm: tuple[float, ...]
    limit_g: tuple[float, ...]
    tiers: tuple[tuple[str, Said], ...]
    first: SheetCurve | None
    last: SheetCurve
    cuts: tuple[SheetCut, ...]
    findings: tuple[Said, ...]
    fitting: tuple[Said, ...] = ()
    """What to check when it is fitted; nothing for a piece that did not pass."""
    overruled: Said | None = None
    """Who let the verdict stand against a finding, when, why, and the finding; none when nobody did."""
