"""The old book: layouts guessed and remembered, every row once."""

import csv
import datetime
import os
import random
import signal
import subprocess
import sys

import pytest
import xlsxwriter
from conftest import there
from workshop.old_book.workbooks import sheet_with, xlsx_with

from heavyspot.quantities.errors import BadInput, UnreadableFile
from heavyspot.sources.loose_table import open_table
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.old_book.bring import bring_in, preview
from heavyspot.workshop.shop import Workshop, find_piece

HEAD = [
    "Date",
    "Serial no",
    "Customer",
    "Invoice",
    "Turbo",
    "Max rpm",
    "Before",
    "After [g]",
    "Result",
]


HEAD += ["Tech", "Shelf"]


ROWS = [
    line.split("|")
    for line in (
        "14/03/2011|N-1|Nordhafen Motor|11-7|Larch 52|150k|2,1|0.3 g|OK|Ida|A",
        "03/04/2011|N-2|NORDHAFEN MOTORS|11-7|larch 52|150 000|1.9|0,25|pass|Ida|A",
        "05/06/2012|N-1|Nordhafen Motor Ltd.|12-3|Larch 52|150.000 rpm|0.9|0.2|ok|Jon|B",
        "31/02/2012|N-3|Tidal Works|12-4|Oak 90|90k|3|0.4|OK|Jon|B",
        "01/07/2012||Tidal Works|12-4|Oak 90|90k|3|0.4|OK|Jon|B",
        "02/07/2012|N-4|Tidal Works|12-4|Oak 90|quick|3|0.4|OK|Jon|B",
        "02/07/2012|N-5|Tidal Works|12-4|Oak 90|90|3|9.80665 m/s²|n.i.O.|Jon|B",
        "02/07/2012|N-5|Tidal Works|12-4|Oak 90|90|3|9.80665 m/s²|n.i.O.|Jon|B",
    )
]


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    yield made
    made.close()


def write(path, rows=ROWS, head=HEAD, delimiter=";", encoding="utf-8"):
    with path.open("w", encoding=encoding, newline="") as file:
        writer = csv.writer(file, delimiter=delimiter)
        writer.writerows([["Balancing book"], [], head, *rows])
    return open_table(path)


def test_rows_come_in_once_and_what_cannot_is_kept_with_its_reason(shop, tmp_path):
    add_model(shop, {"name": "Larch 52", "rotation": "clockwise", "rated_speed_rpm": 175000,
                    "test_speed_rpm": 150000, "plane": [{"name": "nut", "radius_mm": 6.0}]})  # fmt: skip
    table, rejects = write(tmp_path / "old.csv"), tmp_path / "rejects.csv"
    seen = preview(shop, table)
    assert seen.layout.dates == "dmy" and seen.layout.peak_unit == "" and not seen.questions
    assert seen.new_models == ("Oak 90",) and seen.refused_count == 3 and not seen.remembered
    dry = bring_in(shop, table, rejects=rejects, dry_run=True)
    assert (dry.taken, dry.refused, dry.pieces) == (4, 4, 3) and shop.book.jobs.pieces() == []
    told = bring_in(shop, table, rejects=rejects, by="Ida")
    assert (told.rows, told.taken, told.known, told.refused, told.pieces, told.jobs) == (
        8,
        4,
        0,
        4,
        3,
        2,
    )
    with rejects.open(encoding="utf-8-sig") as file:
        refused = list(csv.DictReader(file))
    assert [(r["line"], r["reason"]) for r in refused] == [
        ("7", '"31/02/2012" is no date'), ("8", "no serial"), ("9", '"quick" is no speed'),
        ("11", "the same as line 10"),
    ]  # fmt: skip
    assert refused[0]["Shelf"] == "B"
    first, second, fifth = (find_piece(shop, s) for s in ("N-1", "N-2", "N-5"))
    assert first.job_id == second.job_id and first.customer == "Nordhafen Motor"
    assert second.model == "Larch 52" and first.day == "2011-03-14" and fifth.verdict == "fail"
    rows = shop.book.old_book.of_piece(first.id)
    assert [r.content["date"] for r in rows] == ["2011-03-14", "2012-06-05"]
    assert rows[0].content["cells"]["Shelf"] == "A"  # what no field takes is kept as written
    assert shop.book.old_book.of_piece(fifth.id)[0].content["last_g"] == pytest.approx(1.0)
    again = bring_in(shop, table, rejects=rejects)
    assert (again.taken, again.known, again.refused) == (0, 4, 4)
    assert preview(shop, table).remembered
    assert list(shop.book.check_chain()) == []
    found = shop.book.search.find("jon from:2012-01-01")
    assert {r.serial for r in found.rows} == {"N-5"}  # N-1 came first in 2011
    old = [e for e in whole_story(shop, "N-1") if e.kind == "old"]
    assert len(old) == 2 and "2.10 g → 0.30 g" in old[0].text and old[0].by == "Ida"


def test_a_row_that_was_put_right_comes_in_later(shop, tmp_path):
    table, rejects = write(tmp_path / "old.csv"), tmp_path / "rejects.csv"
    bring_in(shop, table, rejects=rejects)
    right = [*ROWS[:3], ["28/02/2012", *ROWS[3][1:]], *ROWS[4:]]
    told = bring_in(shop, write(tmp_path / "right.csv", right), rejects=rejects)
    assert (told.taken, told.known, told.pieces) == (1, 4, 1)


def test_the_program_s_own_piece_keeps_its_verdict(shop, tmp_path):
    add_model(shop, {"name": "Larch 52", "rotation": "clockwise", "rated_speed_rpm": 175000,
                    "test_speed_rpm": 150000, "plane": [{"name": "nut", "radius_mm": 6.0}]})  # fmt: skip
    add_piece(shop, "N-1", "Larch 52", customer="Somebody", invoice="26-1")
    told = bring_in(shop, write(tmp_path / "old.csv"), rejects=tmp_path / "r.csv")
    piece = find_piece(shop, "N-1")
    assert told.pieces == 2 and piece.customer == "Somebody" and piece.invoice == "26-1"
    assert len(shop.book.old_book.of_piece(piece.id)) == 2


@pytest.mark.parametrize(
    ("delimiter", "encoding"),
    [(",", "utf-8-sig"), ("\t", "utf-16"), ("|", "cp1252"), (";", "cp1252")],
)
def test_any_separator_and_code_page(shop, tmp_path, delimiter, encoding):
    rows = [
        [
            "14.03.2011",
            "Ü-1",
            "Müller & Söhne",
            "1",
            "Larch 52",
            "150k",
            "2",
            "0,3",
            "gut",
            "Jörg",
            "",
        ]
    ]
    told = bring_in(
        shop,
        write(tmp_path / "t.txt", rows, delimiter=delimiter, encoding=encoding),
        rejects=tmp_path / "r.csv",
    )
    assert told.taken == 1 and find_piece(shop, "Ü-1").customer == "Müller & Söhne"
    assert not (tmp_path / "r.csv").exists()


def test_a_workbook_tells_the_same_as_text(shop, tmp_path):
    book = xlsxwriter.Workbook(str(tmp_path / "old.xlsx"))
    book.add_worksheet("Cover")
    sheet, day = book.add_worksheet("Log"), book.add_format({"num_format": "dd/mm/yyyy"})
    for c, h in enumerate(HEAD):
        sheet.write(2, c, h)
    sheet.write_datetime(3, 0, datetime.datetime(2011, 3, 14), day)
    for c, v in enumerate(
        [1234567, "Tidal Works", "11-7", "Larch 52", 150000, 2.1, 0.3, "OK"], start=1
    ):
        sheet.write(3, c, v)
    book.close()
    table = open_table(tmp_path / "old.xlsx", sheet="Log")
    assert table.sheets == ("Cover", "Log")
    told = bring_in(shop, table, rejects=tmp_path / "r.csv")
    piece = find_piece(shop, "1234567")
    row = shop.book.old_book.of_piece(piece.id)[0].content
    assert told.taken == 1 and row["date"] == "2011-03-14" and row["speed_rpm"] == 150_000
    assert row["line"] == 4


def test_a_date_that_can_be_either_is_a_question(shop, tmp_path):
    table = write(tmp_path / "t.csv", [["03/04/2011", *ROWS[0][1:]]])
    assert "Day or month first?" in preview(shop, table).questions[0]
    with pytest.raises(BadInput, match="Day or month"):
        bring_in(shop, table, rejects=tmp_path / "r.csv")
    layout = preview(shop, table).layout.model_copy(update={"dates": "mdy"})
    bring_in(shop, table, layout, rejects=tmp_path / "r.csv")
    assert find_piece(shop, "N-1").day == "2011-03-04"


def test_files_that_are_none(shop, tmp_path):
    def file(name, content):
        (tmp_path / name).write_bytes(content)
        return tmp_path / name

    with pytest.raises(UnreadableFile, match="cannot be opened"):
        open_table(tmp_path / "none.csv")
    with pytest.raises(UnreadableFile, match="no readable workbook"):
        open_table(file("torn.xlsx", b"PK\x03\x04torn"))
    with pytest.raises(UnreadableFile, match="neither text"):
        open_table(file("x.bin", b"\x00\x01\x02\x03"))
    with pytest.raises(BadInput, match="No line looks like a header"):
        preview(shop, open_table(file("empty.csv", b"")))
    with pytest.raises(BadInput, match="No line looks like a header"):
        preview(shop, open_table(file("numbers.csv", b"1;2;3\n4;5;6\n")))
    questions = preview(
        shop, open_table(file("n.csv", b"Customer;Date\nTidal;1.1.2011\n"))
    ).questions
    assert "No column is the serial" in questions[0]


def test_a_workbook_cannot_read_files_or_fill_the_memory(shop, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("the shop's key")
    evil = sheet_with(f'<!DOCTYPE x [<!ENTITY e SYSTEM "file://{secret}">]>', "&e;")
    try:
        table = open_table(xlsx_with(tmp_path / "xxe.xlsx", evil))
        told = str(list(table.rows()))
    except UnreadableFile as fault:
        told = str(fault)
    assert "the shop's key" not in told
    bomb = xlsx_with(tmp_path / "bomb.xlsx", evil, [("xl/sharedStrings.xml", b" " * 250_000_000)])
    assert bomb.stat().st_size < 1_000_000
    with pytest.raises(UnreadableFile, match="unpacks to"):
        open_table(bomb)


KILLED = """
import sys
from pathlib import Path
from heavyspot.sources.loose_table import open_table
from heavyspot.workshop.old_book import bring
from heavyspot.workshop.shop import Workshop
bring.BATCH = 50
shop = Workshop(sys.argv[1])
def say(done, total):
    print(done, flush=True)
bring.bring_in(shop, open_table(Path(sys.argv[2])), rejects=Path(sys.argv[2] + ".rejects"), progress=say)
"""


def test_killed_while_it_takes_rows_it_goes_on_and_nothing_is_doubled(tmp_path):
    rows = [
        [
            f"{1 + i % 28:02d}.03.2011",
            f"K-{i}",
            "Tidal Works",
            str(i // 3),
            "Larch 52",
            "150k",
            "2",
            "0.3",
            "ok",
            "Ida",
            "",
        ]
        for i in range(1500)
    ]
    write(tmp_path / "big.csv", rows)
    rng, data = random.Random(4), tmp_path / "data"
    Workshop(data).close()
    for _ in range(4):
        child = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(data), str(tmp_path / "big.csv")],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        said = 0
        for line in there(child.stdout):
            said = int(line)
            if rng.random() < 0.2:
                break
        os.kill(child.pid, signal.SIGKILL)
        there(child.stdout).close()
        child.wait()
        shop = Workshop(data)
        kept = len(shop.book.jobs.pieces())
        assert kept >= said and list(shop.book.check_chain()) == []
        shop.close()
    shop = Workshop(data)
    told = bring_in(shop, open_table(tmp_path / "big.csv"), rejects=tmp_path / "r.csv")
    assert told.taken + told.known == 1500 and len(shop.book.jobs.pieces()) == 1500
    shop.close()


def test_rows_that_were_not_taken_begin_no_formula_and_come_in_corrected(shop, tmp_path):
    formula = "=HYPERLINK(1)"
    rows = [
        ["31/02/2012", "-5", formula, "12-4", "Oak 90", "90k", "3", "0.4", "OK", "@Jon", "a;=1"]
    ]
    table = write(tmp_path / "old.csv", rows, head=[*HEAD[:-1], "=Shelf"])
    told = bring_in(shop, table, rejects=tmp_path / "rejects.csv")
    assert told.refused == 1
    text = (tmp_path / "rejects.csv").read_text(encoding="utf-8-sig")
    for separator in (",", ";", "\t"):
        for row in csv.reader(text.splitlines(), delimiter=separator):
            assert not any(cell.strip().startswith(("=", "+", "-", "@")) for cell in row), row
    (tmp_path / "again.csv").write_text(text.replace("31/02/2012", "28/02/2012"), encoding="utf-8")
    again = bring_in(shop, open_table(tmp_path / "again.csv"), rejects=tmp_path / "rejects2.csv")
    assert (again.taken, again.refused) == (1, 0)
    assert find_piece(shop, "-5").customer == formula  # as it stood in the book
