"""Days and times as people read them: in their own time zone and language."""

from __future__ import annotations

from datetime import date, datetime
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from .clock import now, time_of
from .errors import BadInput

LOCALES = {"en": "en_GB", "de": "de", "fr": "fr", "es": "es", "zh": "zh"}
"""The day stands first, as in the rest of the trade's papers."""


def known_zone(name: str) -> str:
    """Return a time zone's name as it was given, empty for the computer's own; raises `BadInput` for no zone."""
    if name and name not in available_timezones():
        raise BadInput(
            f'There is no time zone "{name}".',
            remedy='Name it as in "Europe/Oslo", or leave it empty.',
        )
    return name


def local(at: str, zone: str = "") -> datetime:
    """Return a time of the ledger on the clock of a zone; the computer's own where `zone` is empty."""
    return time_of(at).astimezone(_zone(zone))


def local_now(zone: str = "") -> datetime:
    """Return the time on the clock of a zone."""
    return now().astimezone(_zone(zone))


@cache
def _zone(name: str) -> ZoneInfo | None:
    return ZoneInfo(name) if name else None


def moment_text(at: str, zone: str = "", language: str = "en") -> str:
    """Return a time in full, to the minute.

    >>> moment_text("2026-09-03T11:58:00.000Z", "Europe/Oslo")
    '3 September 2026, 13:58'
    """
    when = local(at, zone)
    return f"{_day(when, 'long', language)}, {when:%H:%M}"


def day_text(day: str, language: str = "en") -> str:
    """Return a day that has no time in full.

    >>> day_text("2026-09-03", "de")
    '3. September 2026'
    """
    return _day(datetime.fromisoformat(day[:10]), "long", language)


def moment_short(at: str, zone: str = "", language: str = "en") -> str:
    """Return a time to the minute, the year only where it is not this one.

    >>> moment_short("2001-09-03T11:58:00.000Z", "Europe/Oslo")
    '3 Sep 2001, 13:58'
    """
    when = local(at, zone)
    return f"{_short(when, zone, language)}, {when:%H:%M}"


def day_short(at: str, zone: str = "", language: str = "en") -> str:
    """Return the day of a time, or a day, the year only where it is not this one.

    >>> day_short("2001-09-03T22:58:00.000Z", "Europe/Oslo"), day_short("2001-09-03", language="fr")
    ('4 Sep 2001', '3 sept. 2001')
    """
    when = local(at, zone) if "T" in at else datetime.fromisoformat(at[:10])
    return _short(when, zone, language)


def day_words(day: date, skeleton: str, language: str = "en") -> str:
    """Return a day by a pattern of Unicode's locale data, each language in its own order.

    >>> day_words(date(2026, 11, 26), "MMMMEd"), day_words(date(2026, 11, 26), "MMMMEd", "es")
    ('Thu 26 Nov', 'jue, 26 de noviembre')
    """
    from babel.dates import format_skeleton

    at_noon = datetime(day.year, day.month, day.day, 12)
    return str(format_skeleton(skeleton, at_noon, locale=_locale(language))).replace(
        "Thu, ", "Thu "
    )


def _short(when: datetime, zone: str, language: str) -> str:
    from babel.dates import format_skeleton

    this_year = local_now(zone).year
    skeleton = "MMMd" if when.year == this_year else "yMMMd"
    said = str(format_skeleton(skeleton, when.replace(tzinfo=None), locale=_locale(language)))
    return said.replace("Sept", "Sep") if language == "en" else said


def _day(when: datetime, length: str, language: str) -> str:
    from babel.dates import format_date

    return str(format_date(when.date(), format=length, locale=_locale(language)))


def _locale(language: str) -> str:
    return LOCALES.get(language, LOCALES["en"])
