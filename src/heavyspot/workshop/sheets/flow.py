"""The report of a piece's last flow test."""

from __future__ import annotations

from typing import Any

from ..._version import __version__
from ...quantities.errors import LedgerFault
from ...sheet.flow import FlowReading, FlowReport, FlowWindow
from ..flow.testing import COVERAGE_K, flow_tests_of
from ..shop import Workshop
from .head import calibration_text, head_of

CAUTIONS = (
    "Flow holds for the housings and the reference conditions named here; other benches correct otherwise.",
    "Actuator, stop and linkage are set and sealed by the maker's data and local rules.",
)
"""Cautions on every flow sheet (common practice, no source)."""


def make_flow_report(
    shop: Workshop, serial: str, *, number: str, at: str | None = None, by: str = ""
) -> FlowReport:
    """Return the report of a piece's last flow test; raises `LedgerFault` when it has none."""
    tests = flow_tests_of(shop, serial)
    if not tests:
        raise LedgerFault(f"{serial} has no flow test.", remedy="Test it first.")
    test, piece = tests[-1], shop.piece(serial)
    bench, curve = test["bench"], test["curve"]
    return FlowReport(
        **head_of(shop, piece, number=number, at=at, by=by, cautions=CAUTIONS, flow=True),
        model=piece["model"],
        rig=test["rig"],
        calibration=calibration_text(test["rig_record"], test["at"]),
        element=bench["element"]
        + (f", certificate {bench['certificate']}" if bench["certificate"] else ""),
        reference=test["reference"],
        housings=test["housings"],
        operator=test["by"],
        run=-test["number"],  # negative: of a flow test, so that it never replaces a sheet of a run
        measured_at=test["at"],
        verdict=test["verdict"],
        windows=tuple(
            FlowWindow(
                w["name"],
                w["position"],
                w["low_kg_s"],
                w["high_kg_s"],
                w["corrected"],
                w["u"],
                w["verdict"],
            )
            for w in test["windows"]
        ),
        readings=tuple(
            FlowReading(
                r.get("position"),
                r["way"],
                r["corrected"],
                COVERAGE_K * r["corrected_u"],
                r["ratio"],
                r["efficiency"],
            )
            for r in test["readings"]
        ),
        curve=_drawn(curve),
        hysteresis_kg_s=curve["hysteresis_kg_s"] if curve else None,
        repeat_kg_s=curve["repeat_kg_s"] if curve else None,
        stop=stop_words(test["stop"]),
        leak_kg_s=test["leak_kg_s"],
        recording_sha256="",
        program=f"Heavyspot {__version__}",
    )


def _drawn(curve: dict[str, Any] | None) -> tuple[tuple[float, float], ...]:
    if curve is None:
        return ()
    low, high, c = curve["low"], curve["high"], curve["coefficients"]
    at = [low + (high - low) * i / 40 for i in range(41)]
    return tuple((x, sum(k * x**n for n, k in enumerate(c))) for x in at)


def stop_words(stop: dict[str, Any] | None) -> str:
    """Return where the stop belongs, in words; empty when nothing was asked."""
    if not stop:
        return ""
    if "why" in stop:
        return str(stop["why"])
    where = f"for {stop['wanted_kg_s']:.4g} kg/s at position {stop['position']:.3g}"
    if stop["way"] == "none":
        return f"The stop stands right: {where}."
    turns = f"{stop['turns']:.2f} ± {COVERAGE_K * stop['turns_u']:.2f} turns"
    beyond = (
        "" if stop["inside"] else " That lies beyond what was measured: set it, then test again."
    )
    return f"Turn the stop {stop['way']} {turns}, {where}.{beyond}"
