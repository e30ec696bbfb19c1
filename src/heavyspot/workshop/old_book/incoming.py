"""Tables handed in through a browser, kept until they are taken, with the layout a person said."""

from __future__ import annotations

import re
from pathlib import Path

import tomli_w

from ...ledger.store.identity import new_id
from ...quantities.durable import remove, write_bytes, write_text
from ...quantities.errors import LedgerFault
from ...sources.loose_table import LooseTable, open_table
from ..shop import Workshop
from .layout import Layout, load_layout

_ID = re.compile(r"^[0-9a-f-]{36}$")


class Incoming:
    """One table handed in.

    Parameters
    ----------
    id_ : str
        As `receive` gave it.

    Raises
    ------
    LedgerFault
        There is no such table.
    """

    def __init__(self, shop: Workshop, id_: str) -> None:
        self.id, self.folder = id_, shop.book.folder / "incoming"
        if not _ID.match(id_) or not self._path("table").exists():
            raise LedgerFault(
                "There is no piece or table of that name.", remedy="Hand it in again."
            )

    def _path(self, suffix: str) -> Path:
        return self.folder / f"{self.id}.{suffix}"

    @property
    def name(self) -> str:
        """Its name, as it was handed in."""
        return self._path("name").read_text(encoding="utf-8")

    @property
    def rejects(self) -> Path:
        """Where its refused rows go."""
        return self._path("rejects.csv")

    def table(self, sheet: str = "") -> LooseTable:
        """Return it ready to be read."""
        return open_table(self._path("table"), name=self.name, sheet=sheet)

    def layout(self) -> Layout | None:
        """Return the layout that was said last, or None."""
        path = self._path("toml")
        return load_layout(path) if path.exists() else None

    def say(self, layout: Layout) -> None:
        """Keep a layout for it."""
        text = tomli_w.dumps(layout.model_dump(exclude_defaults=True))
        write_text(self._path("toml"), text)


def receive(shop: Workshop, name: str, content: bytes) -> Incoming:
    """Keep a table that was handed in; raises `UnreadableFile` when it is none."""
    folder = shop.book.folder / "incoming"
    folder.mkdir(exist_ok=True)
    id_ = new_id()
    path = folder / f"{id_}.table"
    write_bytes(path, content)
    try:
        open_table(path, name=name or "the file")
    except Exception:
        remove(path)
        raise
    write_text(folder / f"{id_}.name", name[:200] or "table")
    return Incoming(shop, id_)
