"""Sheets in a language whose every letter is a q: any other word on the page is data, or fell through."""

import json
import re
from dataclasses import replace

import pytest
from q_language import speak_q
from sheet.pdf_text import text_of

from heavyspot.quantities.said import Said, as_it_is
from heavyspot.sheet import pdf
from heavyspot.sheet.flow import FlowReading, FlowReport, FlowWindow
from heavyspot.sheet.look import SheetLook
from heavyspot.sheet.pdf import flow_pdf, rotor_pdf, sheet_pdf
from heavyspot.workshop.sheets.cartridge import make_report
from heavyspot.workshop.sheets.rotor import make_rotor_report

QS = SheetLook("qq")
UNITS = {"UTC", "SHA"}
"""Not of any language; those of one or two letters are not looked at."""


@pytest.fixture
def q_s(monkeypatch):
    speak_q(monkeypatch, pdf)
    monkeypatch.setattr(pdf, "moment_text", lambda at, zone, language: at[:16])
    monkeypatch.setattr(pdf, "day_text", lambda day, language: day)


def words(text):
    return set(re.findall(r"[^\W\d_]{3,}", text))


def own_words(value):
    """The words of a report's data, without its codes and keys."""
    if isinstance(value, dict):
        return set().union(*(own_words(v) for k, v in value.items() if k != "code"))
    if isinstance(value, list):
        return set().union(*map(own_words, value))
    return words(value) if isinstance(value, str) else set()


def fell_through(report, told):
    mine = own_words(json.loads(report.data())) | words(report.digest()) | UNITS
    mine |= {w.capitalize() for w in mine}  # a plane's name begins its picture
    hidden = {
        "clockwise",
        "counterclockwise",
        "pass",
        "fail",
        "undecided",
    }  # data, but not as it is
    shas = words(
        report.recording_sha256[:16] + " " + report.ledger[:16] + " " + report.digest()[:16]
    )
    return {
        w
        for w in words(told) - (mine - hidden) - shas - {"sheet", "json"}
        if set(w.lower()) != {"q"}
    }


def test_no_sentence_of_a_balancing_sheet_falls_through(finished, tmp_path, q_s):
    report = make_report(finished, "S-1", number="2026-00009", by="Ines")
    values: dict[str, float | str] = {"duration_s": 0.3, "speed_rpm": 98_000.0}
    report = replace(
        report,
        verdict="undecided",
        reason=Said("verdict.covered", {"covered": 0.7}),
        findings=(Said("finding.reference.lost_above", values), Said("finding.sensor.dead")),
        replaces="2026-00001",
        overruled=Said(
            "verdict.overruled", {"who": "Ines", "day": "2026-11-26", "why": "inspected"}
        ),
    )
    told = text_of(sheet_pdf(report, QS), tmp_path)
    assert (
        len(re.findall(r"q{3,}", told)) > 60
        and "70 %" in told
        and "left" not in told
        and "inspected" in told
    )
    assert fell_through(report, told) == set()
    old = replace(report, reason=as_it_is("words of then"))
    assert "words of then" in text_of(sheet_pdf(old, QS), tmp_path)


def test_no_sentence_of_a_rotor_s_sheet_falls_through(rotors, tmp_path, q_s):
    report = make_rotor_report(rotors, "W-1", number="2026-00001")
    told = text_of(rotor_pdf(report, QS), tmp_path)
    assert len(re.findall(r"q{3,}", told)) > 60
    assert fell_through(report, told) == set()


def test_no_sentence_of_a_flow_sheet_falls_through(rotors, tmp_path, q_s):
    head = make_rotor_report(rotors, "W-1", number="2026-00001")
    shared = {
        f: getattr(head, f)
        for f in (
            "number", "issued_at", "shop", "address", "customer", "invoice", "serial", "model", "received", "rig",
            "calibration", "operator", "run", "verdict", "recording_sha256", "cautions", "issued_by", "replaces",
            "ledger", "verify_url", "measured_at",
        )
    }  # fmt: skip
    report = FlowReport(
        **shared,
        uncertainty=(Said("uncertainty.flow"),),
        program=Said("program.flow", {"program": "1"}),
        element=(Said("element.orifice"), Said("calibration.certificate", {"certificate": "N-1"})),
        reference=Said("flow.reference", {"temperature_c": 25.0, "pressure_kpa": 100.0}),
        housings="ours",
        windows=(
            FlowWindow("wide", 5.0, 0.07, 0.08, 0.075, 0.001, "pass"),
            FlowWindow("shut", 0.0, 0.03, 0.04, None, None, "undecided"),
        ),
        readings=tuple(
            FlowReading(p, w, 0.04 + 0.007 * p, 0.001, 2.0, 0.7)
            for p in (0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0)
            for w in ("opening", "closing")
        ),
        curve=((0.0, 0.04), (10.0, 0.11)),
        hysteresis_kg_s=0.001,
        repeat_kg_s=0.001,
        stop=(
            Said(
                "stop.in",
                {"turns": 0.3, "expanded_turns": 0.1, "wanted_kg_s": 0.05, "position": 1.4},
            ),
            Said("stop.beyond"),
        ),
        leak_kg_s=0.0001,
    )
    told = text_of(flow_pdf(report, QS), tmp_path)
    assert len(re.findall(r"q{3,}", told)) > 60
    assert "opening" not in told and "orifice" not in told
    assert fell_through(report, told) - {"kPa"} == set()
    assert flow_pdf(report, QS) == flow_pdf(report, QS)
