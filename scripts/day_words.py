"""Write src/heavyspot/quantities/catalogues/days.toml: how each language writes days, from Unicode's locale data.

The program needs four patterns of five languages; Babel, which has them of all, is 33 MB. A test compares the two.
"""

from __future__ import annotations

import sys
from pathlib import Path

import tomli_w
from babel import Locale
from babel.dates import match_skeleton

HOUSE = Path(__file__).parents[1]
TABLE = HOUSE / "src/heavyspot/quantities/catalogues/days.toml"
LOCALES = {"en": "en_GB", "de": "de", "fr": "fr", "es": "es", "zh": "zh"}
"""The day stands first, as in the rest of the trade's papers."""

SKELETONS = ("MMMd", "yMMMd", "Ed", "MMMMEd", "yyMMM")


def words_of(name: str) -> dict[str, object]:
    """Return patterns, months and days of the week (from Monday) of a locale."""
    locale = Locale.parse(name)
    patterns = {"long": locale.date_formats["long"].pattern}
    for one in SKELETONS:
        known = locale.datetime_skeletons
        patterns[one] = known[one if one in known else match_skeleton(one, known)].pattern
    months, days = locale.months["format"], locale.days["format"]
    return {
        "months": [months["wide"][n] for n in range(1, 13)],
        "months_short": [months["abbreviated"][n] for n in range(1, 13)],
        "days_short": [days["abbreviated"][n] for n in range(7)],
        "patterns": patterns,
    }


def main() -> None:
    """Write the table."""
    content = {language: words_of(name) for language, name in LOCALES.items()}
    head = "# Made from Unicode's locale data by scripts/day_words.py.\n\n"
    TABLE.write_text(head + tomli_w.dumps(content), encoding="utf-8")
    sys.stdout.write(f"{TABLE.relative_to(HOUSE)}\n")


if __name__ == "__main__":
    main()
