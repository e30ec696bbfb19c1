"""Sheets in five languages, on two papers, with the shop's colour and logo; many in one go."""

import base64
from dataclasses import replace

import pikepdf
import pytest
from sheet.pdf_text import text_of

from heavyspot.quantities.errors import BadInput, UnreadableFile
from heavyspot.quantities.said import LANGUAGES, Said
from heavyspot.sheet.look import SheetLook
from heavyspot.sheet.pdf import rotor_pdf, sheet_pdf
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.sheets.cartridge import make_report
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.sheets.look import shop_look
from heavyspot.workshop.sheets.reissue import DONE, reissue
from heavyspot.workshop.sheets.rotor import make_rotor_report

PASSED = {"en": "Passed", "de": "Bestanden", "fr": "Conforme", "es": "Conforme", "zh": "合格"}
TITLE = {"en": "Balancing sheet", "de": "Wuchtprotokoll", "fr": "Fiche d'équilibrage",
         "es": "Hoja de equilibrado", "zh": "平衡报告"}  # fmt: skip
RED_DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mP8z8BQDwAEhQGAhKmMIQAAAABJRU5ErkJggg=="
)


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize("language", list(LANGUAGES))
def test_one_page_in_each_language_on_each_paper(finished, rotors, tmp_path, language, paper):
    look = SheetLook(language, paper)
    report = make_report(finished, "S-1", number="2026-00009", by="Ines")
    report = replace(
        report,
        findings=(
            Said(
                "finding.oil.sub_synchronous",
                {"order": 0.46, "amplitude_g": 0.21, "speed_rpm": 98_000.0},
            ),
            Said("finding.sensor.hum", {"amplitude_g": 0.05, "frequency_hz": 50.0}),
            Said("finding.speed.unsteady"),
        ),
    )
    pdf = sheet_pdf(report, look)
    told = text_of(pdf, tmp_path)
    assert TITLE[language] in told and PASSED[language] in told and "Ines" in told
    pdfs = [pdf, rotor_pdf(make_rotor_report(rotors, "W-1", number="2026-00001"), look)]
    for made in pdfs:
        (tmp_path / "x.pdf").write_bytes(made)
        with pikepdf.open(tmp_path / "x.pdf") as opened:
            assert len(opened.pages) == 1
            assert float(opened.pages[0].mediabox[3]) == pytest.approx(
                792 if paper == "us-letter" else 841.9, abs=0.1
            )
            assert b"pdfaid:part" in opened.Root.Metadata.read_bytes()  # still PDF/A
            assert str(opened.Root.Lang).startswith(language)
    if language != "en":
        english = text_of(sheet_pdf(report), tmp_path)
        for words in (
            "Customer",
            "Received",
            "as it came",
            "as delivered",
            "When you fit it",
            "highest value",
            "by the maker",
        ):
            assert words in english and words not in told


def test_chinese_names_stay_pdf_a(finished, tmp_path):
    report = make_report(finished, "S-1", number="2026-00009")
    pdf = sheet_pdf(replace(report, customer="海湾运输公司"))
    (tmp_path / "x.pdf").write_bytes(pdf)
    with pikepdf.open(tmp_path / "x.pdf") as opened:
        assert b"pdfaid:part" in opened.Root.Metadata.read_bytes()
    assert "海湾运输公司" in text_of(pdf, tmp_path)


def test_the_shop_s_colour_logo_and_paper(finished, tmp_path):
    folder = finished.book.folder
    report = make_report(finished, "S-1", number="2026-00009")
    plain = sheet_pdf(report)
    try:
        (folder / "shop.toml").write_text(
            'paper = "letter"\nlanguage = "de"\naccent = "#2F5F7A"\nlogo = "dot.png"\n'
        )
        with pytest.raises(UnreadableFile, match=r"dot\.png cannot be read"):
            shop_look(folder)
        (folder / "dot.png").write_bytes(RED_DOT)
        look = shop_look(folder)
        assert (look.paper, look.language, look.accent) == ("us-letter", "de", "#2f5f7a")
        assert shop_look(folder, "fr").language == "fr"
        drawn = sheet_pdf(report, look)
        assert drawn == sheet_pdf(report, look) != plain
        (tmp_path / "x.pdf").write_bytes(drawn)
        with pikepdf.open(tmp_path / "x.pdf") as opened:
            assert any(
                o.get("/Subtype") == "/Image"
                for o in opened.objects
                if isinstance(o, pikepdf.Stream)
            )
        (folder / "dot.svg").write_text("<svg><broken")
        (folder / "shop.toml").write_text('logo = "dot.svg"\n')
        with pytest.raises(BadInput, match="logo cannot be drawn"):
            sheet_pdf(report, shop_look(folder))
        (folder / "shop.toml").write_text('logo = "notes.txt"\n')
        (folder / "notes.txt").write_text("x")
        with pytest.raises(UnreadableFile, match="no logo"):
            shop_look(folder)
        for wrong in ('accent = "red"', 'paper = "a5"', 'language = "xx"'):
            (folder / "shop.toml").write_text(wrong)
            with pytest.raises(UnreadableFile, match=r"shop\.toml"):
                shop_look(folder)
    finally:
        (folder / "shop.toml").unlink()


def test_many_sheets_in_one_go_can_be_gone_on_with(finished, tmp_path):
    add_piece(finished, "S-9", "Larch 52")
    serials = ["S-1", "S-9", "nobody"] + ["S-1b"] * 0
    seen = []
    told = reissue(
        finished,
        serials,
        tmp_path / "out",
        language="es",
        why="in Spanish",
        by="Ida",
        progress=lambda *p: seen.append(p),
    )
    assert told.issued == 1 and [s for s, _ in told.refused] == ["S-9", "nobody"]
    assert seen == [(1, 3), (2, 3), (3, 3)]
    (made,) = (tmp_path / "out").glob("sheet-*.pdf")
    assert "Conforme" in text_of(made.read_bytes(), tmp_path)
    with (tmp_path / "out" / DONE).open("a") as journal:
        journal.write('{"serial": "S-')  # torn by a power cut
    again = reissue(finished, serials, tmp_path / "out")
    assert (again.issued, again.before) == (0, 1)
    first = reissue(finished, ["S-1", "S-9"], tmp_path / "other", why="x", stop=lambda: True)
    assert first.stopped and first.issued == 1


def test_a_new_sheet_names_the_one_it_replaces(finished, tmp_path):
    one = issue_sheet(finished, "S-1", tmp_path / "a.pdf", why="x")
    issue_sheet(finished, "S-1", tmp_path / "b.pdf", why="the customer lost it")
    assert f"replaces {one.number}" in text_of((tmp_path / "b.pdf").read_bytes(), tmp_path)
