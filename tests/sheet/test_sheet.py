"""The sheet: content, attached data, same bytes, and what a scanner would see."""

import io
import json
from dataclasses import replace

import pikepdf
import pytest
from sheet.pdf_text import text_of
from workshop.cartridge.test_spin import QUICK

from heavyspot import LedgerFault, issue_sheet
from heavyspot.quantities.said import Said, as_it_is
from heavyspot.sheet.cartridge import SheetCut
from heavyspot.sheet.look import SheetLook
from heavyspot.sheet.pdf import qr_text, sheet_pdf
from heavyspot.sheet.plots import dial_svg
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.reading.results import judgement_json
from heavyspot.workshop.sheets.cartridge import make_report


def test_one_page_that_says_what_it_must(finished, tmp_path):
    made = issue_sheet(finished, "S-1", tmp_path / "s.pdf", by="Ines")
    pdf = (tmp_path / "s.pdf").read_bytes()
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert len(document.pages) == 1
    text = text_of(pdf, tmp_path)
    for word in (
        made.number, "Fjord Haulage & Søn", "26-7", "S-1", "left", "Larch 52", "Passed",
        "clockwise", "PAST DUE", "C-1", "very good", "nut", "0.50 g", "maker's data",
    ):  # fmt: skip
        assert word in text, word


def test_data_is_attached_and_matches_its_digest(finished, tmp_path):
    made = issue_sheet(finished, "S-1", tmp_path / "s.pdf")
    with pikepdf.open(tmp_path / "s.pdf") as document:
        data = document.attachments["sheet.json"].get_file().read_bytes()
        assert document.open_metadata().get("pdfaid:part") == "3"
    import hashlib

    assert hashlib.sha256(data).hexdigest() == made.digest
    content = json.loads(data)
    assert content["serial"] == "S-1" and content["verdict"] == "pass"
    assert len(content["last"]["speed_rpm"]) == len(content["last"]["amplitude_g"]) > 100
    assert content["cuts"]


def test_same_report_same_bytes(finished):
    report = make_report(finished, "S-1", number="2026-00009", at="2026-11-25T08:00:00.000Z")
    assert sheet_pdf(report) == sheet_pdf(report)
    other = replace(report, operator="Tomas")
    assert sheet_pdf(other) != sheet_pdf(report)
    assert qr_text(other) != qr_text(report)
    assert "2026-00009" in qr_text(report)


def test_numbers_go_up(finished, tmp_path):
    a = issue_sheet(finished, "S-1", tmp_path / "a.pdf").number
    b = issue_sheet(finished, "S-1", tmp_path / "b.pdf").number
    assert int(b.split("-")[1]) == int(a.split("-")[1]) + 1


def test_no_run_no_sheet(finished, tmp_path):
    add_piece(finished, "S-2", "Larch 52")
    with pytest.raises(LedgerFault, match="no run"):
        issue_sheet(finished, "S-2", tmp_path / "n.pdf")
    assert not list(tmp_path.iterdir())


def test_a_failed_piece_never_looks_passed(finished, tmp_path):
    add_piece(finished, "S-3", "Larch 52")
    spin(finished, "S-3", simulated_recording(make_cartridge("Larch 52", 5, peak_g=1.5), 1, QUICK))
    issue_sheet(finished, "S-3", tmp_path / "f.pdf")
    text = text_of((tmp_path / "f.pdf").read_bytes(), tmp_path)
    assert "Not passed" in text and "over" in text


def test_what_a_run_said_before_there_were_codes_is_shown_as_it_was_said(
    finished, tmp_path, monkeypatch
):
    """An entry as it was written then: the words, and neither a code nor the numbers of a finding."""
    from heavyspot.workshop.cartridge import spinning

    words = "words of then: 0.70 g, one place too many"
    monkeypatch.setattr(
        spinning,
        "judgement_json",
        lambda *judged: (
            {k: v for k, v in judgement_json(*judged).items() if k != "reason_said"}
            | {"reason": words}
        ),
    )
    old = {
        "code": "reference.weak",
        "severity": "warn",
        "text": "Weak, then.",
        "do": "",
        "evidence": {},
    }
    monkeypatch.setattr(spinning, "finding_json", lambda finding: old)
    add_piece(finished, "S-4", "Larch 52")
    oiled = replace(
        simulated_recording(make_cartridge("Larch 52", 5, peak_g=0.3), 1, QUICK), lost_samples=3
    )
    spin(finished, "S-4", oiled)
    report = make_report(finished, "S-4", number="2026-00009")
    assert report.reason == as_it_is(words) and report.findings == (as_it_is("Weak, then."),)
    told = text_of(sheet_pdf(replace(report, verdict="undecided"), SheetLook("de")), tmp_path)
    assert "words of then" in told and "Weak, then." in told
    monkeypatch.undo()
    spin(finished, "S-4", oiled)
    report = make_report(finished, "S-4", number="2026-00009")
    assert report.reason.code.startswith("verdict.")
    assert report.findings == (Said("finding.recording.lost_samples", {"lost_samples": 3.0}),)


def test_a_name_in_any_script_still_gives_a_sheet(finished):
    report = make_report(finished, "S-1", number="2026-1", at="2026-11-25T08:00:00.000Z")
    assert sheet_pdf(replace(report, customer="海湾运输")).startswith(b"%PDF")
    assert sheet_pdf(replace(report, customer='#evil "quoted" $x$ [a] \\')).startswith(b"%PDF")


def test_dial_mirrors_with_rotation():
    cut = (SheetCut("nut", 90.0, "9:00", 0.1, 5.0, 1),)
    assert dial_svg(cut, "clockwise") != dial_svg(cut, "counterclockwise")


@pytest.mark.parametrize(("size", "pages"), [("29x62", 3), ("36x89", 3), ("a4", 1)])
def test_labels(size, pages, tmp_path):
    from heavyspot.sheet.label import label_pdf

    rows = [(f"L52-{i:04d}", "Larch 52", "Fjord Haulage · 26-7 · left") for i in range(3)]
    pdf = label_pdf(rows, size=size)
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert len(document.pages) == pages
    assert "L52-0002" in text_of(pdf, tmp_path)
