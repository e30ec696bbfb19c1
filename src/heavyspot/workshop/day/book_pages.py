"""The day's pages of the log: everything written of any piece on one day of the shop's clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from ...ledger.store.entries import now_utc
from ...quantities.dates import local, local_now
from ...quantities.errors import BadInput
from ...quantities.said import Said, in_words
from ...sheet.day_book import BookLine, DayBook, day_book_pdf
from ..job.story import Event, story_of_piece
from ..rig.simulated import is_practice
from ..sheets.look import shop_look
from ..shop import Workshop
from ..shop_file import load_shop_file


def day_of(text: str, zone: str) -> date:
    """Return a typed day; today on the shop's clock where nothing is typed.

    Raises
    ------
    BadInput
        It is no day.
    """
    if not text.strip():
        return local_now(zone).date()
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{text!r} is no day.", remedy="As 2026-03-01.") from None


def day_book(
    shop: Workshop, day: date, *, by: str = "", language: str = "en", at: str = ""
) -> DayBook:
    """Return what was written of any piece on a day, in the order of time.

    Parameters
    ----------
    at : str
        UTC, when it is printed; now when empty.
    """
    settings = load_shop_file(shop.folder)
    zone = settings.timezone
    since, until = (_utc(day + timedelta(days=n), zone) for n in (0, 1))
    found: list[tuple[str, str, Event]] = []
    for piece in shop.book.jobs.pieces_by_id(shop.book.days.pieces_between(since, until)):
        found += [
            (e.at, piece.serial, e) for e in story_of_piece(shop, piece) if since <= e.at < until
        ]
    link, digest = shop.book.head()
    return DayBook(
        settings.name,
        settings.address,
        day.isoformat(),
        at or now_utc(),
        by,
        link,
        digest,
        is_practice(shop),
        tuple(_line(*f, zone, language) for f in sorted(found, key=lambda f: f[:2])),
    )


def day_book_paper(shop: Workshop, day: date, *, by: str = "", language: str = "") -> bytes:
    """Return the day's pages as a PDF, in the shop's look."""
    look = shop_look(shop.folder, language)
    return day_book_pdf(day_book(shop, day, by=by, language=look.language), look)


def _line(at: str, serial: str, e: Event, zone: str, language: str) -> BookLine:
    what = in_words(Said(f"story_event.{e.kind}"), language)
    number = f" {e.number}" if e.number else ""
    verdict = f" {in_words(Said(f'verdict_word.{e.verdict}'), language)}." if e.verdict else ""
    clock = f"{local(at, zone):%H:%M}" if "T" in at else ""  # the old book knows days only
    return BookLine(clock, serial, f"{what}{number}{verdict}", e.words(language), e.by)


def _utc(day: date, zone: str) -> str:
    """Return when a day begins on the shop's clock, as the ledger writes times."""
    clock = local(f"{day.isoformat()}T12:00:00.000Z", zone).tzinfo
    return f"{datetime.combine(day, time.min, clock).astimezone(UTC):%Y-%m-%dT%H:%M:%S}.000Z"
