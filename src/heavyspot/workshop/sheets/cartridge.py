"""The frozen report value behind a sheet: everything on the page, and nothing else."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from ..._version import __version__
from ...balance.uncertainty import COVERAGE_K
from ...ledger.store.entries import Row, now_utc
from ...quantities.angles import Rotation, clock_text
from ...quantities.errors import LedgerFault
from ...signal.curve import Curve
from ..cartridge.model_file import parse_model
from ..cartridge.past import past_runs
from ..shop import Workshop
from ..shop_file import load_shop_file

CAUTIONS = (
    "Rated speed, oil supply, clearances and installation remain by the maker's data and local rules.",
    "Fill the oil feed and let oil pressure build before the first start.",
)
"""Cautions on every sheet (common practice, no source)."""


@dataclass(frozen=True)
class SheetCurve:
    """A curve as it is drawn."""

    run: int
    speed_rpm: tuple[float, ...]
    amplitude_g: tuple[float, ...]


@dataclass(frozen=True)
class SheetCut:
    """A cut as it is listed."""

    plane: str
    angle_deg: float
    clock: str
    depth_mm: float
    mass_mg: float
    after_run: int


class Provable:
    """A report whose content has one spelling, and a digest of it."""

    def data(self) -> str:
        """Return the report as canonical JSON: sorted keys, no spaces."""
        return json.dumps(
            asdict(self),  # type: ignore[call-overload]  # every report is a dataclass
            sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False,
        )  # fmt: skip

    def digest(self) -> str:
        """Return the SHA-256 of `data`, hexadecimal."""
        return hashlib.sha256(self.data().encode()).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Head(Provable):
    """What every sheet says: whose, of what, by whom, and how it is proved."""

    number: str
    issued_at: str
    shop: str
    address: str
    customer: str
    invoice: str
    serial: str
    model: str
    received: str
    rig: str
    calibration: str
    operator: str
    run: int
    verdict: str
    recording_sha256: str
    cautions: tuple[str, ...]
    issued_by: str
    replaces: str
    program: str
    ledger: str
    verify_url: str


def head_of(
    shop: Workshop,
    piece: Row,
    *,
    number: str,
    at: str | None,
    by: str,
    cautions: tuple[str, ...],
    flow: bool = False,
) -> dict[str, Any]:
    """Return the fields of a head that hang on the piece and the shop, for any kind of sheet."""
    settings = load_shop_file(shop.book.folder)
    return {
        "number": number,
        "issued_at": at or now_utc(),
        "shop": settings.name,
        "address": settings.address,
        "customer": piece["customer"],
        "invoice": piece["invoice"],
        "serial": piece["serial"],
        "received": piece["day"],
        "cautions": (*cautions, *settings.cautions),
        "issued_by": by,
        "replaces": replaced_by(shop, piece["id"], number, flow=flow),
        "ledger": shop.book.head()[1],
        "verify_url": settings.verify_url,
    }


@dataclass(frozen=True, kw_only=True)
class SheetReport(Head):
    """One sheet's content; the same value always gives the same PDF bytes."""

    position: str
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
    reason: str
    limit_speed_rpm: tuple[float, ...]
    limit_g: tuple[float, ...]
    tiers: tuple[tuple[str, str], ...]
    first: SheetCurve | None
    last: SheetCurve
    cuts: tuple[SheetCut, ...]
    findings: tuple[str, ...]
    uncertainty: str
    finding_codes: tuple[str, ...]


def make_report(
    shop: Workshop, serial: str, *, number: str, at: str | None = None, by: str = ""
) -> SheetReport:
    """Return the report of a piece's last run that could be judged.

    Parameters
    ----------
    at : str, optional
        When it is issued; now when not given.
    by : str
        Who issues it, and so stands for it.

    Raises
    ------
    LedgerFault
        The piece has no run with a curve.
    """
    piece = shop.piece(serial)
    runs = [r for r in past_runs(shop.book, piece["id"]) if r.curves and r.row["result"]["worst"]]
    if not runs:
        raise LedgerFault(
            f"{serial} has no run that could be judged.", remedy="Spin it to test speed first."
        )
    last, first = runs[-1], runs[0]
    row, result, conditions = last.row, last.row["result"], last.row["conditions"]
    model = parse_model(conditions["model"], name="the run's model")
    worst = result["worst"]
    house = model.house_limit()
    sensor: dict[str, Any] = next(
        (c for c in conditions["recording"]["channels"] if c["quantity"] == "acceleration"), {}
    )
    made = shop.book.cuts(piece["id"], "made")
    return SheetReport(
        **head_of(shop, piece, number=number, at=at, by=by, cautions=CAUTIONS),
        model=model.name,
        position=piece["position"],
        rotation=model.rotation,
        test_speed_rpm=model.test_speed_rpm,
        rig=row["rig"],
        calibration=calibration_text(conditions["rig"], row["at"]),
        sensor=_sensor(sensor),
        operator=row["by"],
        run=last.number,
        run_id=row["id"],
        spun_at=row["recorded_at"] or row["at"],
        recording_sha256=row["recording_sha256"],
        verdict=result["verdict"],
        margin=result["margin"],
        worst_speed_rpm=worst["speed_rpm"],
        worst_g=worst["amplitude_g"],
        worst_u_g=COVERAGE_K * worst["uncertainty_g"],
        worst_limit_g=worst["limit_g"],
        reason=result["reason"],
        limit_speed_rpm=house.speed_rpm,
        limit_g=house.limit_g,
        tiers=tuple((t.name, _tier(t, last.curves)) for t in model.tiers()),
        first=_curve(first.number, first.curves[0]) if first is not last else None,
        last=_curve(last.number, last.curves[0]),
        cuts=tuple(_cut(c, model.rotation) for c in made if c["after_run"] < last.number),
        findings=tuple(f["text"] for f in result["findings"]),
        finding_codes=tuple(f["code"] for f in result["findings"]),
        uncertainty=(
            f"Expanded uncertainty k = 2 from tracker noise, repeatability "
            f"({100 * model.scatter.run_share:.1f} %) and calibration "
            f"({100 * model.scatter.calibration_share:.1f} %), combined after the GUM. "
            "A pass keeps clear of the limit by 1.5 times that."
        ),
        program=f"Heavyspot {__version__}, run read with {conditions['program']}",
    )


def replaced_by(shop: Workshop, piece_id: str, number: str, *, flow: bool = False) -> str:
    """Return the number of the sheet of the same kind a new one replaces; empty for the first."""
    earlier = shop.book.papers.newest_sheet(piece_id, flow=flow)
    return str(earlier["number"]) if earlier and earlier["number"] != number else ""


def _curve(number: int, curve: Curve) -> SheetCurve:
    return SheetCurve(
        number,
        tuple(float(v) for v in curve.speed_rpm),
        tuple(float(f"{v:.5g}") for v in np.abs(curve.vector[0])),
    )


def _cut(cut: Row, rotation: Rotation) -> SheetCut:
    return SheetCut(
        cut["plane"],
        cut["angle_deg"],
        clock_text(cut["angle_deg"], rotation),
        cut["depth_mm"],
        cut["mass_mg"],
        cut["after_run"],
    )


def _tier(limit: Any, curves: tuple[Curve, ...]) -> str:
    ratio = max(float((np.abs(c.vector[0]) / limit.at(c.speed_rpm)).max()) for c in curves)
    return f"{'within' if ratio <= 1 else 'over'} ({ratio:.2f} of it)"


def calibration_text(rig: dict[str, Any], at: str) -> str:
    """Return the calibration state on the day of the run."""
    if not rig:
        return "no calibration on record"
    text = (
        f"calibrated {rig['calibrated_at']}"
        if rig.get("calibrated_at")
        else "calibration date unknown"
    )
    if rig.get("certificate"):
        text += f", certificate {rig['certificate']}"
    if rig.get("due"):
        day = datetime.fromisoformat(at.replace("Z", "+00:00")).date()
        overdue = date.fromisoformat(rig["due"]) < day
        text += f", PAST DUE since {rig['due']}" if overdue else f", due {rig['due']}"
    return text


def _sensor(channel: dict[str, Any]) -> str:
    sensitivity = channel.get("sensitivity")
    said = [channel.get("sensor", ""), channel.get("name", "")]
    if sensitivity:
        said.append(f"{sensitivity['value']:g} {sensitivity['unit']}")
    return ", ".join(s for s in said if s)
