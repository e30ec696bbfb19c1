"""What in a data folder is its owner's alone, and whether it is."""

from __future__ import annotations

from pathlib import Path

from ..quantities.private import close_to_others, open_to_others
from .shop_file import load_shop_file

SECRET = (
    "ledger.sqlite", "ledger.sqlite-wal", "ledger.sqlite-shm", "shop-key.pem", "station.json",
    "insight.duckdb", "insight-asked-*.duckdb", "before-upgrade/*.sqlite",
)  # fmt: skip
"""Names, customers, hashed passwords; the key that signs; a station's key."""


def readable_words(folder: Path) -> str:
    """Return a word where others on this computer may read the ledger or a key; empty where none may."""
    found = open_to_others(_secret(folder))
    if not found:
        return ""
    names = ", ".join(p.relative_to(folder).as_posix() for p in found)
    return (
        f"Others on this computer may read {names}: names, customers, keys. "
        "heavyspot private closes them; backups of before are closed by hand."
    )


def make_private(folder: Path) -> list[str]:
    """Close what others may read; returns the names."""
    found = open_to_others(_secret(folder))
    for path in found:
        close_to_others(path)
    return [p.relative_to(folder).as_posix() for p in found]


def _secret(folder: Path) -> list[Path]:
    found = [p for name in SECRET for p in sorted(folder.glob(name))]
    settings = folder / "shop.toml"
    if (
        settings.is_file() and "@" in load_shop_file(folder).ledger_url
    ):  # a database's password may stand there
        found.append(settings)
    return found
