"""The day's pages of the log: all of a day on the shop's clock, nothing of another, as paper."""

import io
from datetime import date

import pikepdf
import pytest
from workshop.cartridge.test_spin import QUICK

from heavyspot.quantities.errors import BadInput
from heavyspot.sheet.day_book import BookLine, DayBook, day_book_pdf
from heavyspot.sheet.look import SheetLook
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import RIG, simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.day.book_pages import _utc, day_book, day_book_paper, day_of
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.shop import Workshop


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    furnish(made)
    with (tmp_path / "data/shop.toml").open("a") as file:
        file.write('timezone = "Asia/Tokyo"\n')
    yield made
    made.close()


def test_a_day_is_the_shop_s_own_not_utc_s():
    assert _utc(date(2026, 3, 1), "Asia/Tokyo") == "2026-02-28T15:00:00.000Z"
    # the day the clocks go forward has 23 hours (EU, 29 March 2026, 01:00 UTC)
    assert _utc(date(2026, 3, 29), "Europe/Oslo") == "2026-03-28T23:00:00.000Z"
    assert _utc(date(2026, 3, 30), "Europe/Oslo") == "2026-03-29T22:00:00.000Z"


def test_all_of_the_day_in_order_and_nothing_of_another(shop, monkeypatch):
    now_is = {"at": "2026-02-28T14:59:59.000Z"}
    monkeypatch.setattr(
        "heavyspot.ledger.store.entries.now_utc", lambda: now_is["at"]
    )  # a second before the day begins in Tokyo
    add_piece(shop, "D-1", "Larch 52", by="Ines")
    now_is["at"] = "2026-02-28T15:00:01.000Z"
    tell(shop, "D-1", "note", "first of the day", by="Ines")
    now_is["at"] = "2026-03-01T14:00:00.000Z"
    add_piece(shop, "D-2", "Larch 52", by="Per")
    now_is["at"] = "2026-03-01T15:00:00.000Z"
    tell(shop, "D-2", "note", "the day after", by="Per")
    book = day_book(shop, date(2026, 3, 1), language="de", at="2026-03-02T00:00:00.000Z")
    assert [(x.clock, x.serial, x.by) for x in book.lines] == [
        ("00:00", "D-1", "Ines"), ("23:00", "D-2", "Per"),
    ]  # fmt: skip
    assert (book.lines[0].what, book.lines[0].text) == ("Notiz", "first of the day")
    assert book.simulated and (book.link, book.digest) == shop.book.head()


def test_a_spin_stands_with_its_verdict_and_highest(shop):
    add_piece(shop, "S-1", "Larch 52", by="Ines")
    spin(
        shop,
        "S-1",
        simulated_recording(make_cartridge("Larch 52", 3, peak_g=1.4), 5, QUICK),
        operator="Ines",
        rig=RIG,
    )
    run = next(
        x for x in day_book(shop, day_of("", "Asia/Tokyo")).lines if x.what.startswith("Run")
    )
    assert run.what == "Run 1 Not passed." and " g at " in run.text and run.by == "Ines"


def a_book(lines):
    line = ('#"quoted" *stars* $x$ 合格', "Ines")
    return DayBook(
        "Saltmarsh <Works>", "Quay Lane 4", "2026-03-01", "2026-03-02T06:00:00.000Z", "Ines", 7, "ab" * 32,
        False, tuple(BookLine("08:00", f"D-{i}", "Run 1", *line) for i in range(lines)),
    )  # fmt: skip


@pytest.mark.parametrize("language", ["en", "zh"])
def test_the_same_day_gives_the_same_bytes_and_a_long_one_more_pages(language):
    look = SheetLook(language=language, zone="Europe/Oslo")
    short, long_ = day_book_pdf(a_book(2), look), day_book_pdf(a_book(200), look)
    assert short == day_book_pdf(a_book(2), look)
    assert len(pikepdf.open(io.BytesIO(short)).pages) == 1
    assert len(pikepdf.open(io.BytesIO(long_)).pages) >= 4


def test_a_day_without_anything_is_a_page_that_says_so(shop):
    assert day_book(shop, date(1999, 1, 1)).lines == ()
    assert day_book_paper(shop, date(1999, 1, 1)).startswith(b"%PDF")


def test_what_is_no_day_is_refused():
    with pytest.raises(BadInput, match="no day"):
        day_of("01.03.2026", "")
