"""The report of a cartridge's last run that could be judged."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..._version import __version__
from ...balance.uncertainty import COVERAGE_K
from ...ledger.store.entries import Row
from ...quantities.angles import Rotation, clock_text
from ...quantities.errors import LedgerFault
from ...sheet.cartridge import SheetCurve, SheetCut, SheetReport
from ...signal.curve import Curve
from ..cartridge.model_file import parse_model
from ..cartridge.past import past_runs
from ..shop import Workshop
from .head import calibration_text, head_of

CAUTIONS = (
    "Rated speed, oil supply, clearances and installation remain by the maker's data and local rules.",
    "Fill the oil feed and let oil pressure build before the first start.",
)
"""Cautions on every sheet (common practice, no source)."""


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
        overruled=_overruled(result.get("overruled")),
        uncertainty=(
            f"Expanded uncertainty k = 2 from tracker noise, repeatability "
            f"({100 * model.scatter.run_share:.1f} %) and calibration "
            f"({100 * model.scatter.calibration_share:.1f} %), combined after the GUM. "
            "A pass keeps clear of the limit by 1.5 times that."
        ),
        program=f"Heavyspot {__version__}, run read with {conditions['program']}",
    )


def _overruled(said: dict[str, str] | None) -> tuple[str, ...]:
    return (said["by"], said["at"][:10], said["why"], said["finding"]) if said else ()


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


def _sensor(channel: dict[str, Any]) -> str:
    sensitivity = channel.get("sensitivity")
    said = [channel.get("sensor", ""), channel.get("name", "")]
    if sensitivity:
        said.append(f"{sensitivity['value']:g} {sensitivity['unit']}")
    return ", ".join(s for s in said if s)
