"""The rotor's sheet: its data inside it, the same for the same report, before and after on it."""

import json
from dataclasses import replace

import pytest

from heavyspot.quantities.errors import LedgerFault
from heavyspot.quantities.said import Said
from heavyspot.sheet.pdf import rotor_pdf
from heavyspot.sheet.polar import polar_svg
from heavyspot.workshop.demo.rigs import DEMO_ROTORS
from heavyspot.workshop.rotor.models import add_rotor
from heavyspot.workshop.sheets.issue import issue_rotor_sheet
from heavyspot.workshop.sheets.rotor import make_rotor_report


def test_the_sheet_carries_its_data_and_its_verdict(rotors, tmp_path):
    made = issue_rotor_sheet(rotors, "W-1", tmp_path / "w.pdf", by="Ida")
    pdf = (tmp_path / "w.pdf").read_bytes()
    assert pdf.startswith(b"%PDF") and b"sheet.json" in pdf and b"pdfaid" in pdf
    assert made.verdict == "pass"
    report = make_rotor_report(rotors, "W-1", number=made.number)
    assert [p.first is not None for p in report.planes] == [True, True]
    assert report.planes[0].last.amount_gmm < report.planes[0].limit_gmm
    assert len(report.corrections) == 3 and report.corrections[0].way == "remove"
    assert Said("calibration.past_due", {"day": "2020-01-01"}) in report.calibration
    assert Said("overdue.calibration", {"rig": "old", "day": "2020-01-01"}) in report.notes


def test_the_same_report_gives_the_same_bytes(rotors):
    report = make_rotor_report(rotors, "W-1", number="2026-00001", at="2026-11-25T10:00:00.000Z")
    assert rotor_pdf(report) == rotor_pdf(report)
    other = replace(report, mass_kg=0.36)
    assert other.digest() != report.digest() and json.loads(other.data())["mass_kg"] == 0.36


def test_a_rotor_without_a_reading_has_no_sheet(rotors):
    add_rotor(rotors, "W-2", DEMO_ROTORS[0]["name"])
    with pytest.raises(LedgerFault, match="not been measured"):
        make_rotor_report(rotors, "W-2", number="x")


def test_the_plane_is_drawn_against_rotation():
    """At 90 degrees the vector points left on a clockwise rotor, right on the other; long ones end at the rim."""

    def tip(rotation, amount=1.0):
        svg = polar_svg("A", 1.0, [(amount, 90.0, 0.1)], rotation, size=300)
        line = svg.split('stroke-width="2.4"')[0].rsplit("<line", 1)[1]
        return float(line.split('x2="')[1].split('"')[0])

    assert tip("clockwise") == pytest.approx(150 - 0.37 * 300 / 2, abs=0.1)
    assert tip("counterclockwise") == pytest.approx(150 + 0.37 * 300 / 2, abs=0.1)
    assert tip("clockwise", 9.0) == pytest.approx(150 - 0.37 * 300, abs=0.1)
    assert "9.0 x" in polar_svg("A", 1.0, [(9.0, 90.0, 0.1)], "clockwise")
