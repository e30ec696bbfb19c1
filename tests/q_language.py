"""A language whose every letter is a q: any other word that is shown in it is somebody's own, or fell through."""

import re
from string import Formatter
from types import ModuleType

import pytest

from heavyspot.quantities import said


def q_d(sentence: str) -> str:
    parts = Formatter().parse(sentence)
    return "".join(
        re.sub(r"[^\W\d_]", "q", text) + (f"{{{name}}}" if name else "")
        for text, name, _, _ in parts
    )


def speak_q(monkeypatch: pytest.MonkeyPatch, *modules: ModuleType) -> None:
    """Let `said`, and modules that hold its catalogue by name, know the language: its values are the true ones."""
    real = said.catalogue

    def catalogue(language: str) -> dict[str, str]:
        if language != "qq":
            return real(language)
        return {code: q_d(sentence) for code, sentence in real("en").items()}

    for module in (said, *modules):
        monkeypatch.setattr(module, "catalogue", catalogue)
