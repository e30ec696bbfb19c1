"""The ledger, opened: its entries by subject. SQLAlchemy stays on this floor."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from ..quantities.errors import LedgerFault
from .entries.cartridge import Cartridges
from .entries.event import Events
from .entries.flow import FlowTests
from .entries.job import Jobs
from .entries.model import Models
from .entries.old_book import OldBook
from .entries.overruling import Overrulings
from .entries.reread import Rereads
from .entries.response_library import ResponseLibrary
from .entries.retention import Retention
from .entries.rig import Rigs
from .entries.rotor import Rotors
from .entries.sheet import Sheets
from .entries.station import Stations
from .entries.view_log import ViewLog
from .exchange.conflicts import Conflicts
from .exchange.exchange import Exchange
from .find.bulk_rows import BulkRows
from .find.search import Search
from .store import chain
from .store.accounts import Accounts
from .store.archive import Archive
from .store.chain import Broken
from .store.schema import open_engine


class Book:
    """One shop's ledger.

    Parameters
    ----------
    folder : Path
        Data folder; made when it is not there.
    url : str, optional
        Database; SQLite in the folder when not given.
    recordings_url : str
        Where recordings are handed over to; the folder when empty.
    """

    def __init__(self, folder: Path, url: str | None = None, *, recordings_url: str = "") -> None:
        self.folder = Path(folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise LedgerFault(
                f"The data folder {folder} cannot be made ({fault.strerror}).",
                remedy="Name another with --data.",
            ) from None
        engine = open_engine(url or f"sqlite:///{self.folder / 'ledger.sqlite'}")
        self._engine = engine
        self.archive = Archive(self.folder, recordings_url)
        self.accounts = Accounts(engine)
        self.models = Models(engine)
        self.rigs = Rigs(engine)
        self.jobs = Jobs(engine)
        self.cartridges = Cartridges(engine)
        self.overrulings = Overrulings(engine)
        self.rotors = Rotors(engine)
        self.flow = FlowTests(engine)
        self.events = Events(engine)
        self.sheets = Sheets(engine)
        self.library = ResponseLibrary(engine)
        self.rereads = Rereads(engine)
        self.retention = Retention(engine)
        self.old_book = OldBook(engine)
        self.views = ViewLog(engine)
        self.search = Search(engine)
        self.bulk = BulkRows(engine)
        self.exchange = Exchange(engine)
        self.conflicts = Conflicts(engine)
        self.stations = Stations(engine)

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def head(self) -> tuple[int, str]:
        """Return number and digest of the newest link of the chain."""
        return chain.head(self._engine)

    def has_link(self, digest: str) -> bool:
        """Whether a digest, as it stands on a sheet, is a link of this ledger."""
        return chain.has_link(self._engine, digest)

    def check_chain(self, progress: Callable[[int, int], None] | None = None) -> Iterator[Broken]:
        """Yield everything that is not as it was written."""
        return chain.check_chain(self._engine, progress=progress)
