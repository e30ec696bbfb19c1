"""A data folder of an earlier program brought up to date, as a step of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from ...ledger.exchange.upgrade import Upgraded, upgrade_ledger
from ...quantities.errors import LedgerFault, NotThere
from ..held import alone
from ..shop_file import load_shop_file

__all__ = ["COPIES", "Upgraded", "upgrade"]

COPIES = "before-upgrade"
"""Folder in the data folder: the ledger as it was, for the program of before."""

PRACTICE = "practice"

ROOM = 3.0
"""Free space an upgrade asks for, times the ledger's size: the copy, tables made anew, and their log (ours)."""


def upgrade(
    data: str | Path, *, progress: Callable[[str, int, int], None] | None = None
) -> list[tuple[Path, Upgraded]]:
    """Bring a data folder's ledger to this program's schema, and the practice ledger beside it.

    Returns
    -------
    list
        Folder, and what was done in it; none where nothing was to do.

    Raises
    ------
    NotThere
        There is no ledger.
    LedgerFault
        Another program has it open, there is no room, or it could not be proved; nothing was changed.
    """
    folder = Path(data)
    found = [f for f in (folder, folder / PRACTICE) if _holds(f)]
    if folder not in found:
        raise NotThere(f"{folder} holds no ledger.", remedy="Name its data folder with --data.")
    told = []
    for one in found:
        with alone(one):
            url = load_shop_file(one).ledger_url
            if not url:
                _refuse_little_room(one)
            done = upgrade_ledger(
                url or f"sqlite:///{one / 'ledger.sqlite'}", one / COPIES, progress=progress
            )
        if done is not None:
            told.append((one, done))
    return told


def _holds(folder: Path) -> bool:
    return folder.is_dir() and (
        (folder / "ledger.sqlite").exists() or bool(load_shop_file(folder).ledger_url)
    )


def _refuse_little_room(folder: Path) -> None:
    size, free = (folder / "ledger.sqlite").stat().st_size, shutil.disk_usage(folder).free
    if free < ROOM * size:
        raise LedgerFault(
            f"The upgrade asks for {ROOM * size / 1e6:,.0f} MB of free disk; there are {free / 1e6:,.0f}. "
            "Nothing was changed.",
            remedy="Make room, then start it again.",
        )
