"""Days in five languages, against Babel with Unicode's locale data: every day of two years."""

from datetime import date, timedelta

import pytest
from babel.dates import format_date, format_skeleton

from heavyspot.quantities.dates import _written, day_text, day_words

DAYS = [date(2027, 12, 20) + timedelta(days=n) for n in range(731)]
LOCALES = {"en": "en_GB", "de": "de", "fr": "fr", "es": "es", "zh": "zh"}


@pytest.mark.parametrize("language", LOCALES)
@pytest.mark.parametrize("skeleton", ["MMMd", "yMMMd", "Ed", "MMMMEd", "yyMMM"])
def test_each_day_is_written_as_unicode_has_it(language, skeleton):
    for day in DAYS:
        assert _written(day, skeleton, language) == format_skeleton(
            skeleton, day, locale=LOCALES[language]
        )


@pytest.mark.parametrize("language", LOCALES)
def test_each_day_in_full(language):
    for day in DAYS:
        full = format_date(day, format="long", locale=LOCALES[language])
        assert day_text(day.isoformat(), language) == full


def test_a_language_that_nobody_wrote_is_english():
    assert day_words(date(2026, 11, 26), "MMMMEd", "xx") == "Thu 26 Nov"
