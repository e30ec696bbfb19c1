"""The words of a sheet in the customer's language: one catalogue a language, keyed by the English sentence."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

from ..quantities.errors import BadInput

LANGUAGES = {"en": "English", "de": "Deutsch", "fr": "Français", "es": "Español", "zh": "中文"}


@cache
def catalogue(language: str) -> dict[str, str]:
    """Return a language's sentences; empty for English, whose sentences are their own keys.

    Raises
    ------
    BadInput
        There is no such language.
    """
    if language not in LANGUAGES:
        raise BadInput(
            f'There is no language "{language}".', remedy="Known: " + ", ".join(LANGUAGES) + "."
        )
    if language == "en":
        return {}
    text = (files(__package__) / "catalogues" / f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def said(text: str, language: str) -> str:
    """Return a sentence in a language; one with values in it is found by its pattern, one unknown stays."""
    words = catalogue(language)
    if text in words or not words:
        return words.get(text, text)
    for pattern, translated in _patterns(language):
        match = pattern.fullmatch(text)
        if match:
            for name, value in match.groupdict().items():
                translated = translated.replace("{" + name + "}", value)
            return translated
    return text


def said_each(text: str, language: str, separator: str = ", ") -> str:
    """Return a list of phrases in a language, each found by itself."""
    return separator.join(said(part, language) for part in text.split(separator))


@cache
def _patterns(language: str) -> list[tuple[re.Pattern[str], str]]:
    found = []
    for key, translated in catalogue(language).items():
        if "{" in key:
            parts = re.split(r"\{(\w+)\}", key)
            pattern = "".join(
                f"(?P<{p}>.+?)" if i % 2 else re.escape(p) for i, p in enumerate(parts)
            )
            found.append((re.compile(pattern), translated))
    return found
