"""The report of a piece's last flow test."""

from __future__ import annotations

from dataclasses import asdict

from ..._version import __version__
from ...quantities.errors import NotThere
from ...quantities.said import Said, in_words_each, kept
from ...sheet.flow import FlowReading, FlowReport, FlowWindow
from ..flow import COVERAGE_K, KeptStop, flow_tests_of_piece
from ..shop import Workshop, find_piece
from .head import calibration_said, head_of

CAUTIONS = (Said("caution.flow_conditions"), Said("caution.flow_maker"))
"""Cautions on every flow sheet (common practice, no source)."""


def make_flow_report(
    shop: Workshop, serial: str, *, number: str, at: str | None = None, by: str = ""
) -> FlowReport:
    """Return the report of a piece's last flow test; raises `NotThere` when it has none."""
    piece = find_piece(shop, serial)
    tests = flow_tests_of_piece(shop, piece.id)
    if not tests:
        raise NotThere(
            Said("refusal.has_no_flow_test", {"serial": serial}),
            remedy=Said("remedy.test_it_first"),
        )
    test = tests[-1]
    entry, flow, bench = test.entry, test.flow, test.bench
    curve = flow.curve
    return FlowReport(
        **head_of(
            shop, piece, "flow", rig=entry.rig, number=number, at=at, by=by, cautions=CAUTIONS
        ),
        model=piece.model,
        calibration=calibration_said(flow.rig_record, entry.at),
        element=_element(bench.element, bench.certificate),
        reference=Said("flow.reference", {**asdict(bench.reference)}),
        housings=flow.housings,
        operator=entry.by,
        run=test.number,
        measured_at=entry.at,
        verdict=entry.verdict,
        windows=tuple(
            FlowWindow(w.name, w.position, w.low_kg_s, w.high_kg_s, w.corrected, w.u, w.verdict)
            for w in flow.windows
        ),
        readings=tuple(
            FlowReading(
                r.position,
                r.way,
                r.corrected,
                COVERAGE_K * r.corrected_u,
                r.ratio,
                r.efficiency,
                _expanded(r.efficiency_u),
            )
            for r in flow.readings
        ),
        curve=curve.drawn() if curve else (),
        hysteresis_kg_s=curve.hysteresis_kg_s if curve else None,
        repeat_kg_s=curve.repeat_kg_s if curve else None,
        stop=stop_said(flow.stop),
        leak_kg_s=flow.leak_kg_s,
        leak_u_kg_s=_expanded(flow.leak_u_kg_s),
        recording_sha256="",
        uncertainty=(Said("uncertainty.flow"),),
        program=Said("program.flow", {"program": __version__}),
    )


def _expanded(u: float | None) -> float | None:
    return None if u is None else COVERAGE_K * u


def _element(kind: str, certificate: str) -> tuple[Said, ...]:
    name = Said("element." + kind.replace(" ", "_"))
    if not certificate:
        return (name,)
    return name, Said("calibration.certificate", {"certificate": certificate})


def stop_words(stop: KeptStop | None) -> str:
    """Return where the stop belongs, in words; empty when nothing was asked."""
    return in_words_each(stop_said(stop))


def stop_said(stop: KeptStop | None) -> tuple[Said, ...]:
    """Return where the stop belongs; nothing when nothing was asked."""
    if stop is None:
        return ()
    if stop.why:
        return (kept(stop.why_said, stop.why),)
    where: dict[str, float | str] = {"wanted_kg_s": stop.wanted_kg_s, "position": stop.position}
    if stop.way == "none":
        return (Said("stop.right", where),)
    turns: dict[str, float | str] = {
        "turns": stop.turns,
        "expanded_turns": stop.factor * stop.turns_u,
    }
    turn = Said(f"stop.{stop.way}", where | turns)
    return (turn,) if stop.inside else (turn, Said("stop.beyond"))
