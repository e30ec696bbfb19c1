"""Issuing is an act with a reason; what was issued is given again, byte for byte; numbers are never burnt."""

import hashlib

import pytest

from heavyspot.quantities.errors import BadInput, LedgerFault, NotThere
from heavyspot.workshop.job.editing import amend_piece
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.rotor.measuring import measure_typed
from heavyspot.workshop.rotor.models import add_rotor
from heavyspot.workshop.sheets import issue
from heavyspot.workshop.sheets.issue import _same, issue_rotor_sheet, sheet_now
from heavyspot.workshop.sheets.issued import issued_sheet, newest_sheet, pdf_of
from heavyspot.workshop.sheets.signature import check_sheet
from heavyspot.workshop.shop import Workshop


@pytest.fixture
def measured(shop):
    add_rotor(shop, "W-1", "Blower 900")
    measure_typed(shop, "W-1", [100, 100], [1, 2])
    return shop


def numbers(shop):
    return [s.number for p in shop.book.jobs.pieces() for s in shop.book.sheets.of_piece(p.id)]


def test_a_second_one_needs_a_reason_that_is_kept(measured, tmp_path):
    one = issue_rotor_sheet(measured, "W-1", tmp_path / "a.pdf", by="Ida")
    for why in ("", "  "):
        with pytest.raises(BadInput, match=f"{one.number} .*stands"):
            issue_rotor_sheet(measured, "W-1", tmp_path / "b.pdf", why=why)
    assert numbers(measured) == [one.number] and not (tmp_path / "b.pdf").exists()
    two = issue_rotor_sheet(measured, "W-1", tmp_path / "b.pdf", why="invoice was wrong")
    assert issued_sheet(measured, two.number).why == "invoice was wrong"
    assert int(two.number[5:]) == int(one.number[5:]) + 1


def test_what_was_issued_is_given_again_byte_for_byte(measured, tmp_path):
    made = sheet_now(measured, "W-1", tmp_path / "a.pdf")
    first = (tmp_path / "a.pdf").read_bytes()
    for name in ("b.pdf", "c.pdf"):  # the same command again, as a retry does
        assert sheet_now(measured, "W-1", tmp_path / name).number == made.number
        assert (tmp_path / name).read_bytes() == first
    assert numbers(measured) == [made.number]
    measure_typed(measured, "W-1", [1, 1], [1, 2])  # a new reading: a new sheet, no reason asked
    other = sheet_now(measured, "W-1", tmp_path / "d.pdf")
    assert other.number != made.number
    assert pdf_of(measured, issued_sheet(measured, made.number)) == first  # for ever
    assert newest_sheet(measured, "W-1").number == other.number


def test_a_sheet_whose_piece_was_amended_is_not_given_as_if_it_still_stood(measured):
    made = sheet_now(measured, "W-1")
    amend_piece(measured, "W-1", {"position": "rear"}, by="Ida", why="wrong side")
    amend_piece(measured, "W-1", {"serial": "W-2"}, by="Ida", why="wrong digit")
    with pytest.raises(BadInput, match="Say why"):
        sheet_now(measured, "W-2")
    assert sheet_now(measured, "W-2", why="serial amended").number != made.number


@pytest.mark.parametrize("place", ["nowhere/s.pdf", "folder", "file/s.pdf"])
def test_a_bad_place_burns_no_number_and_leaves_nothing(measured, tmp_path, place):
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("x")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BadInput):
        issue_rotor_sheet(measured, "W-1", tmp_path / place)
    assert numbers(measured) == []
    assert [p for p in sorted(tmp_path.rglob("*")) if p.suffix in (".part", ".pdf")] == []
    assert {p for p in before if "data" not in p.parts} <= set(tmp_path.rglob("*"))


def test_a_full_disk_burns_no_number(measured, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as m:
        m.setattr(issue, "write_bytes", full)
        with pytest.raises(LedgerFault, match="no number was taken"):
            issue_rotor_sheet(measured, "W-1")
    assert numbers(measured) == []
    assert issue_rotor_sheet(measured, "W-1").number.endswith("-00001")


def test_the_file_is_there_before_the_number(measured, monkeypatch):
    seen = []
    add = measured.book.sheets.add

    def noted(sheet):
        pdf = (measured.folder / sheet.kept_as).read_bytes()
        seen.append(hashlib.sha256(pdf).hexdigest() == sheet.sha256)
        return add(sheet)

    monkeypatch.setattr(measured.book.sheets, "add", noted)
    issue_rotor_sheet(measured, "W-1")
    assert seen == [True]


def test_issued_sheets_are_backed_up_and_their_damage_is_named(measured, tmp_path):
    made = issue_rotor_sheet(measured, "W-1")
    sheet = issued_sheet(measured, made.number)
    back_up(measured, tmp_path / "copy")
    restore(tmp_path / "copy", tmp_path / "new")
    back = Workshop(tmp_path / "new")
    assert check_sheet(pdf_of(back, issued_sheet(back, made.number))).intact
    back.close()
    path = measured.folder / str(sheet.kept_as)
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    assert [d.name for d in check_recordings(measured)] == [sheet.kept_as]
    with pytest.raises(LedgerFault, match="changed after it was issued"):
        pdf_of(measured, sheet)


def test_what_was_never_issued_is_said(measured):
    with pytest.raises(NotThere, match="No sheet"):
        newest_sheet(measured, "W-1")
    with pytest.raises(NotThere, match="no sheet 2026-9"):
        issued_sheet(measured, "2026-9")


def test_a_sheet_of_before_a_field_was_printed_still_says_the_same():
    """Sheets stand for ever; what later versions print more is no change, what they print other is one."""
    then = {"serial": "S-1", "cuts": [{"plane": "nut", "clock": "4:50"}], "worst_g": 0.31}
    now = {
        **then,
        "cuts": [{"plane": "nut", "clock": "4:50", "seen_from": "compressor"}],
        "more": 1,
    }
    assert _same(now, then)
    assert not _same({**now, "worst_g": 0.32}, then)
    assert not _same({**now, "cuts": []}, then)
    assert not _same({"serial": "S-1"}, then)
