"""Sentences with a stress in them: ``*0.31 mm*`` stands out, ``[, as expected]`` goes where room is short."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from ....quantities.said import Said, in_words

KEPT_BACK = {"*": "\ue000", "[": "\ue001", "]": "\ue002"}
"""What a value may hold of the marks stands for itself: names and serials are nobody's markup."""


def marked(said: Said, language: str = "en") -> Markup:
    """Return a sentence as HTML, its stress as ``<b>``, what may be dropped in a span of class ``wide``.

    >>> marked(Said("bench.say.grind", {"plane": "n*t", "clock": "4:30", "depth_mm": 0.31}))
    Markup('Grind the n*t at <b>4:30</b>, <b>0.31 mm</b> deep.')
    """
    text = str(escape(in_words(_held(said), language)))
    text = re.sub(r"\*([^*]+)\*", r"<b>\1</b>", text)
    text = re.sub(r"\[([^\]]+)\]", r'<span class="wide">\1</span>', text)
    return Markup(_given_back(text))


def plain(said: Said, language: str = "en") -> str:
    """Return a sentence without its marks, to be read aloud."""
    return _given_back(re.sub(r"[*\[\]]", "", in_words(_held(said), language)))


def _held(said: Said) -> Said:
    """Return a sentence whose values hold no marks."""
    values = {}
    for name, value in said.values.items():
        if isinstance(value, str):
            for mark, stand_in in KEPT_BACK.items():
                value = value.replace(mark, stand_in)
        elif isinstance(value, Said) and value.code == "as_it_is":
            value = _held(value)
        values[name] = value
    return Said(said.code, values)


def _given_back(text: str) -> str:
    for mark, stand_in in KEPT_BACK.items():
        text = text.replace(stand_in, mark)
    return text
