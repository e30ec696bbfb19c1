"""How a sheet looks: language, paper, the shop's colour and its logo; none of it is part of the data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class SheetLook:
    """How a sheet looks.

    Attributes
    ----------
    language : str
        en, de, fr, es or zh.
    paper : str
    accent : str
        Colour of what must be seen, ``#rrggbb``.
    logo : str
        SVG; empty for none.
    zone : str
        Time zone of the times on it; the computer's own when empty.
    """

    language: str = "en"
    paper: Literal["a4", "us-letter"] = "a4"
    accent: str = "#b5371f"
    logo: str = ""
    zone: str = ""
