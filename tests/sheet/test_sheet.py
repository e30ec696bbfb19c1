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
from heavyspot.sheet.before_after import calmer, curve_svg
from heavyspot.sheet.cartridge import SheetCut
from heavyspot.sheet.cut_dial import cut_dial_svg
from heavyspot.sheet.look import SheetLook
from heavyspot.sheet.pdf import qr_text, sheet_pdf
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.reading.results import judgement_json
from heavyspot.workshop.sheets.cartridge import make_report


def test_one_page_that_says_what_it_must(finished, tmp_path):
    made = issue_sheet(finished, "S-1", tmp_path / "s.pdf", by="Ines", why="x")
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
    made = issue_sheet(finished, "S-1", tmp_path / "s.pdf", why="x")
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
    a = issue_sheet(finished, "S-1", tmp_path / "a.pdf", why="x").number
    b = issue_sheet(finished, "S-1", tmp_path / "b.pdf", why="one more copy").number
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
    cut = (SheetCut(1, "nut", "compressor", 90.0, "9:00", 0.1, 5.0, 1),)
    assert cut_dial_svg(cut, "clockwise") != cut_dial_svg(cut, "counterclockwise")


def test_each_cut_is_read_from_where_it_was_ground(finished, tmp_path):
    report = make_report(finished, "S-1", number="2026-00009")
    assert {c.seen_from for c in report.cuts} == {"compressor"}
    nose = replace(report.cuts[0], plane="turbine nose", seen_from="turbine", clock="7:17")
    told = text_of(sheet_pdf(replace(report, cuts=(report.cuts[0], nose))), tmp_path)
    assert "Seen from the compressor nut" in told and "Seen from the turbine" in told
    assert "7:17" in told


def test_a_pass_is_told_with_what_it_was_before_and_what_to_check(finished, tmp_path):
    report = make_report(finished, "S-1", number="2026-00009")
    assert report.first is not None
    before, after = max(report.first.amplitude_g), max(report.last.amplitude_g)
    assert calmer(report) == int(before / after) >= 2  # never rounded up
    told = text_of(sheet_pdf(report), tmp_path)
    assert f"{int(before / after)} times quieter than it came" in told
    assert "Shaft turns free by hand" in told and "is left free" in told
    a_little = tuple(1.5 * g for g in report.last.amplitude_g)
    other = replace(report, first=replace(report.last, amplitude_g=a_little))
    assert "quieter" not in text_of(sheet_pdf(other), tmp_path)
    came_so = text_of(sheet_pdf(replace(report, first=None, cuts=())), tmp_path)
    assert "Passed as it came" in came_so and "Nothing was cut" in came_so
    for verdict in ("fail", "undecided"):
        said = text_of(sheet_pdf(replace(report, verdict=verdict, tiers=(), fitting=())), tmp_path)
        assert "When you fit it" not in said and "quieter" not in said and "What it needs" in said


def test_its_times_are_on_the_shop_s_clock_and_its_data_in_utc(finished, tmp_path):
    """Oslo was two hours before UTC on 3 September 2026 (IANA time zone data)."""
    at = "2026-09-03T11:58:00.000Z"
    report = replace(make_report(finished, "S-1", number="2026-1"), spun_at=at)
    told = text_of(sheet_pdf(report, SheetLook(zone="Europe/Oslo")), tmp_path)
    assert "3 September 2026, 13:58" in told and at in report.data()
    told = text_of(sheet_pdf(report, SheetLook("zh", zone="Asia/Tokyo")), tmp_path)
    assert "2026年9月3日,20:58" in told.replace(" ", "")


def test_labels_of_the_two_curves_never_lie_on_each_other(finished):
    import re

    report = make_report(finished, "S-1", number="2026-1")
    assert report.first is not None
    for share in (0.0, 0.02, 0.5, 1.0):  # where the first curve ends, from the axis to the top
        first = replace(report.first, amplitude_g=tuple(share * 3 for _ in report.first.speed_rpm))
        svg = curve_svg(replace(report, first=first))
        tops = [float(y) for y in re.findall(r'y="([\d.]+)"[^>]*>as (?:it came|delivered)', svg)]
        assert len(tops) == 2 and abs(tops[0] - tops[1]) >= 34
        assert all(15 < y < 292 - 17 for y in tops)


def test_the_shop_s_own_list_for_fitting(finished, tmp_path):
    (finished.book.folder / "shop.toml").write_text('fitting = ["Torque the clamp in a cross"]\n')
    try:
        report = make_report(finished, "S-1", number="2026-1")
    finally:
        (finished.book.folder / "shop.toml").unlink()
    told = text_of(sheet_pdf(report), tmp_path)
    assert "Torque the clamp in a cross" in told and "Shaft turns free" not in told


@pytest.mark.parametrize(("size", "pages"), [("29x62", 3), ("36x89", 3), ("a4", 1)])
def test_labels(size, pages, tmp_path):
    from heavyspot.sheet.label import label_pdf

    rows = [(f"L52-{i:04d}", "Larch 52", "Fjord Haulage · 26-7 · left") for i in range(3)]
    pdf = label_pdf(rows, size=size)
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert len(document.pages) == pages
    assert "L52-0002" in text_of(pdf, tmp_path)


def test_no_word_undermines_a_pass(finished, tmp_path):
    """A stricter limit is spoken of where it is kept with all of the doubt, and not at all elsewhere."""
    add_piece(finished, "S-6", "Larch 52")
    spin(finished, "S-6", simulated_recording(make_cartridge("Larch 52", 5, peak_g=0.35), 1, QUICK))
    report = make_report(finished, "S-6", number="2026-00011")
    assert report.verdict == "pass" and report.tiers == ()
    said = text_of(sheet_pdf(report), tmp_path)
    assert "very good" not in said and "over" not in said.lower().split("sensor")[0]
    assert "Passed, very good" in text_of(
        sheet_pdf(make_report(finished, "S-1", number="2026-00012")), tmp_path
    )
    assert [n for n, _ in make_report(finished, "S-1", number="2026-00012").tiers] == ["very good"]
