"""Days and times as people read them: in their own time zone and language."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from importlib.resources import files
from zoneinfo import ZoneInfo, available_timezones

from .clock import now, time_of
from .errors import BadInput


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
    return _written(day, skeleton, language).replace("Thu, ", "Thu ")


def _short(when: datetime, zone: str, language: str) -> str:
    this_year = local_now(zone).year
    said = _written(when, "MMMd" if when.year == this_year else "yMMMd", language)
    return said.replace("Sept", "Sep") if language == "en" else said


def _day(when: datetime, length: str, language: str) -> str:
    return _written(when, length, language)


_PART = re.compile("'([^']*)'|([a-zA-Z])\\2*")
"""Of a pattern of Unicode's locale data: words between marks, or a letter as often as it stands."""


def _written(day: date, pattern: str, language: str) -> str:
    words = _languages().get(language) or _languages()["en"]
    short = {
        "d": str(day.day),
        "y": str(day.year),
        "yy": f"{day.year % 100:02d}",
        "M": str(day.month),
        "MMM": words.months_short[day.month - 1],
        "MMMM": words.months[day.month - 1],
        "E": words.days_short[day.weekday()],
    }
    return _PART.sub(lambda m: m[1] if m[2] is None else short[m[0]], words.patterns[pattern])


@dataclass(frozen=True)
class _Words:
    months: list[str]
    months_short: list[str]
    days_short: list[str]
    patterns: dict[str, str]


@cache
def _languages() -> dict[str, _Words]:
    text = files(__package__).joinpath("catalogues/days.toml").read_text(encoding="utf-8")
    return {language: _Words(**words) for language, words in tomllib.loads(text).items()}
