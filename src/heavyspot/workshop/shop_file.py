"""The shop's own file, ``shop.toml`` in the data folder: every key optional, unknown keys refused."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..quantities.errors import UnreadableFile
from ..sources.sidecar import first_fault
from ..sources.toml_text import read_toml


class ShopFile(BaseModel):
    """Name and address as they stand on a sheet."""

    model_config = ConfigDict(extra="forbid")
    name: str = "Turbocharger workshop"
    address: str = ""
    cautions: list[str] = []
    verify_url: str = ""
    ledger_url: str = ""
    recordings_url: str = ""
    keep_recordings_days: Annotated[int, Field(ge=0)] = 0
    keep_last_recording: bool = True
    language: Literal["en", "de", "fr", "es", "zh"] = "en"
    paper: Literal["a4", "letter"] = "a4"
    accent: Annotated[str, Field(pattern="^#[0-9a-fA-F]{6}$")] = "#b5371f"
    logo: str = ""


def load_shop_file(folder: Path) -> ShopFile:
    """Return the shop's settings; defaults when there is no file.

    Raises
    ------
    UnreadableFile
        It is not TOML, or has a key that is not known.
    """
    path = folder / "shop.toml"
    if not path.exists():
        return ShopFile()
    try:
        return ShopFile.model_validate(read_toml(path))
    except ValidationError as fault:
        raise UnreadableFile(
            f"shop.toml: {first_fault(fault)}", remedy="docs/reference/shop-file.md lists the keys."
        ) from None
