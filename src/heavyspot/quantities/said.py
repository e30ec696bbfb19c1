"""What is said to people: a code with its values, and its sentence in a language.

A sentence stands once a language in ``catalogues/``, under its code. How a number is spelt stands in the
English one alone (``{speed_rpm:,.0f}``); the others only place it (``{speed_rpm}``). What only pages show
stands in ``pages_en.toml`` and ``desk_en.toml`` and their like, what is refused and what to do about it in
``refusals_en.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Any, TypeAlias

from .content import ByContent
from .errors import BadInput
from .words import short

LANGUAGES = {"en": "English", "de": "Deutsch", "fr": "Français", "es": "Español", "zh": "中文"}

PARTS = ("", "pages_", "desk_", "refusals_")
"""How the files of a language's catalogue begin."""

AS_IT_IS = "as_it_is"
"""Code of words that are nobody's sentence: the shop's own, and what was kept before there were codes."""

THIN_SPACE = "\u202f"

Value: TypeAlias = "float | str | Said"
"""Of a sentence: a number, a name, or another sentence within it."""


@dataclass(frozen=True, eq=False)
class Said(ByContent):
    """What is said, in no language yet.

    Attributes
    ----------
    code : str
        Stable name, dotted: ``verdict.too_near``.
    values : dict
        The numbers and names in it, each with its unit in its name.
    """

    code: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def __str__(self) -> str:
        """Return the sentence in English."""
        return in_words(self)


def as_it_is(text: str) -> Said:
    """Return words that stay the same in every language."""
    return Said(AS_IT_IS, {"text": text})


def kept(said: Said | None, text: str) -> Said:
    """Return what was kept; where its code is not there, or not known here, the text that was kept with it."""
    return said if said is not None and _sayable(said) else as_it_is(text)


def _sayable(said: Said) -> bool:
    """Whether its sentence is here and all its values are there, those of the sentences in it too."""
    return (
        said.code in catalogue("en")
        and _places(said.code).keys() <= said.values.keys()
        and all(_sayable(v) for v in said.values.values() if isinstance(v, Said))
    )


def kept_each(said: Sequence[Said], texts: Sequence[str]) -> tuple[Said, ...]:
    """Return what was kept of several, as `kept` does; texts without codes are from before there were any."""
    codes = said if len(said) == len(texts) else [None] * len(texts)
    return tuple(kept(s, t) for s, t in zip(codes, texts, strict=True))


def in_words(said: Said, language: str = "en") -> str:
    """Return the sentence in a language; raises `BadInput` when there is no such language.

    >>> in_words(Said("verdict.covered", {"covered": 0.8}))
    'only 80 % of the speed range was measured'
    """
    spelling = _places(said.code)
    return "".join(
        text + (_spelt(said.values[name], spelling[name], language) if name else "")
        for text, name, _ in _parts(said.code, language)
    )


def in_words_each(said: Sequence[Said], separator: str = " ", language: str = "en") -> str:
    """Return several one after the other; after a whole sentence stands a space, whatever the separator."""
    out = ""
    for each in said:
        between = " " if out.endswith((".", "。")) else separator
        out = f"{out}{between}{in_words(each, language)}" if out else in_words(each, language)
    return out


def said_json(name: str, said: Said) -> dict[str, Any]:
    """Return what is said under a name in English, and beside it its code and values."""
    return {name: in_words(said), f"{name}_said": asdict(said)}


@cache
def catalogue(language: str) -> dict[str, str]:
    """Return a language's sentences by code; raises `BadInput` when there is no such language."""
    if language not in LANGUAGES:
        raise BadInput(
            f'There is no language "{language}".', remedy="Known: " + ", ".join(LANGUAGES) + "."
        )
    known: dict[str, str] = {}
    for part in PARTS:
        path = files(__package__) / "catalogues" / f"{part}{language}.toml"
        text = path.read_text(encoding="utf-8")
        known |= _flat(tomllib.loads(text))
    return known


def _flat(table: dict[str, Any], before: str = "") -> Iterator[tuple[str, str]]:
    for name, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield before + name, value


@cache
def _places(code: str) -> dict[str, str]:
    """Return the names of a sentence's values, and how each is spelt."""
    return {name: spec for _, name, spec in _parts(code, "en") if name}


@cache
def _parts(code: str, language: str) -> tuple[tuple[str, str, str], ...]:
    """Return a sentence's stretches of text, each with the value after it and how that is spelt."""
    parts = Formatter().parse(catalogue(language)[code])
    return tuple((text, name or "", spec or "") for text, name, spec, _ in parts)


def _spelt(value: Value, spec: str, language: str) -> str:
    """Return a value as it is spelt: the one place where numbers of sentences become text."""
    if isinstance(value, Said):
        return in_words(value, language)
    if isinstance(value, str):
        return value
    if spec == "short":
        text = short(value)
    else:
        text = format(value, spec).replace("%", " %")
    return text if language == "en" else text.replace(",", THIN_SPACE)
