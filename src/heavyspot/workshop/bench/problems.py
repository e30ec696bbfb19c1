"""What went wrong at the bench, kept by the piece it concerns, so that it stands at no other one's."""

from __future__ import annotations

from dataclasses import dataclass, field

EVERYBODY = ""
"""Under this, in place of a serial, stands what concerns every piece."""


@dataclass
class Problems:
    """Sentences by serial, until that piece's next spin."""

    _said: dict[str, str] = field(default_factory=dict)

    def say(self, serial: str, words: str) -> None:
        """Add a sentence to what was said of a piece; an empty one adds nothing."""
        if words:
            self._said[serial] = f"{self._said.get(serial, '')} {words}".strip()

    def of(self, serial: str) -> str:
        """Return what concerns every piece, then what concerns this one; empty when nothing does."""
        keys = dict.fromkeys((EVERYBODY, serial))
        return " ".join(self._said[k] for k in keys if k in self._said)

    def over(self, serial: str) -> None:
        """Forget what was said of a piece, and of every one: a person went on and has seen it."""
        for whose in (EVERYBODY, serial):
            self._said.pop(whose, None)
