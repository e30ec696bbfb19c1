"""The look of a shop's sheets, from its own file and its logo."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Literal

from ...quantities.errors import UnreadableFile
from ...quantities.said import catalogue
from ...sheet.look import SheetLook
from ..shop_file import ShopFile, load_shop_file

LARGEST_LOGO = 2_000_000
KINDS = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg"}


def shop_look(folder: Path, language: str = "") -> SheetLook:
    """Return the look of a shop's sheets.

    Parameters
    ----------
    language : str
        Of this sheet; the shop's own when empty.

    Raises
    ------
    BadInput
        No such language.
    UnreadableFile
        The logo is not there, too large, or neither SVG, PNG nor JPEG.
    """
    settings: ShopFile = load_shop_file(folder)
    language = language or settings.language
    catalogue(language)  # refuse one that is not known before anything is made
    paper: Literal["a4", "us-letter"] = "us-letter" if settings.paper == "letter" else "a4"
    logo = _logo(folder / settings.logo) if settings.logo else ""
    return SheetLook(language, paper, settings.accent.lower(), logo, settings.timezone)


def _logo(path: Path) -> str:
    """Return a logo as SVG; a picture is wrapped in one."""
    try:
        content = path.read_bytes()
    except OSError as fault:
        raise UnreadableFile(
            f"The logo {path.name} cannot be read ({fault.strerror}).",
            remedy="Put it into the data folder, or take logo out of shop.toml.",
        ) from None
    kind = KINDS.get(path.suffix.lower())
    if len(content) > LARGEST_LOGO or (kind is None and path.suffix.lower() != ".svg"):
        raise UnreadableFile(
            f"{path.name} is no logo: {len(content) / 1e6:.1f} MB.",
            remedy="SVG, PNG or JPEG of at most 2 MB.",
        )
    if kind is None:
        return content.decode("utf-8", errors="replace")
    data = base64.b64encode(content).decode()
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 220 160">'
        f'<image width="220" height="160" href="data:{kind};base64,{data}"/></svg>'
    )
