"""The ledger, opened: its entries by subject. SQLAlchemy stays on this floor."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from ..quantities import durable
from ..quantities.errors import LedgerAway, LedgerFault
from ..quantities.private import close_folder_to_others
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
from .exchange.heads import Heads
from .find import index_check
from .find.audit import Audit
from .find.bulk_rows import BulkRows
from .find.day import Days
from .find.news import News
from .find.pages import Pages
from .find.search import Search
from .store import chain
from .store.accounts import Accounts
from .store.archive import Archive
from .store.chain import Broken
from .store.clock import ClockBack, behind_now_s, clock_backs
from .store.once import Answers
from .store.schema import open_engine
from .trail import Trail


def make_data_folder(folder: Path) -> None:
    """Make a data folder that is not there; raises `LedgerFault` when it cannot be."""
    try:
        if not folder.is_dir():
            folder.mkdir(parents=True, exist_ok=True)
            close_folder_to_others(folder)
    except OSError as fault:
        raise LedgerFault(
            f"The data folder {folder} cannot be made ({fault.strerror}).",
            remedy="Name another with --data.",
        ) from None


def _make_private(path: Path) -> None:
    """Make the ledger's file its owner's alone from its first moment; what stands beside it follows it."""
    try:
        durable.make_private(path)
    except OSError as fault:
        raise LedgerAway(
            f"The ledger cannot be opened: {path} ({fault.strerror}).",
            remedy="Check the data folder, its permissions and the disk.",
        ) from None


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
        make_data_folder(self.folder)
        if not url:
            _make_private(self.folder / "ledger.sqlite")
        engine = open_engine(url or f"sqlite:///{self.folder / 'ledger.sqlite'}")
        self._engine = engine
        self.archive = Archive(self.folder, recordings_url)
        self.accounts = Accounts(engine)
        self.answers = Answers(engine)
        self.models = Models(engine)
        self.rigs = Rigs(engine)
        self.jobs = Jobs(engine)
        self.pages = Pages(engine)
        self.news = News(engine)
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
        self.heads = Heads(engine)
        self.audit = Audit(engine)
        self.days = Days(engine)

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def head(self) -> tuple[int, str]:
        """Return number and digest of the newest link of the chain."""
        return chain.head(self._engine)

    def has_link(self, digest: str) -> bool:
        """Whether a digest, as it stands on a sheet, is a link of this ledger."""
        return chain.has_link(self._engine, digest)

    def has_entry(self, entry_id: str) -> bool:
        """Whether an entry is in the ledger."""
        return chain.has_entry(self._engine, entry_id)

    def clock_backs(self) -> list[ClockBack]:
        """Return where this store's clock went back."""
        return clock_backs(self._engine)

    def behind_now_s(self) -> float:
        """Return how far this computer's clock is behind the newest entries, in s; 0 when it is not."""
        return behind_now_s(self._engine)

    def index_faults(
        self, progress: Callable[[int, int], None] | None = None, trail: Trail | None = None
    ) -> Iterator[Broken]:
        """Yield every line of the index of pieces that is not what the entries say, and damaged pages."""
        return index_check.index_faults(self._engine, progress, trail)

    def index_differs(self, piece_id: str) -> list[str]:
        """Return the fields of a piece's line in the index that are not what its entries say."""
        return index_check.index_differs(self._engine, piece_id)

    def rebuild_index(self, progress: Callable[[int, int], None] | None = None) -> int:
        """Make the index anew where it is wrong; returns how many lines were."""
        return index_check.rebuild_index(self._engine, progress)

    def check_chain(
        self, progress: Callable[[int, int], None] | None = None, trail: Trail | None = None
    ) -> Iterator[Broken]:
        """Yield everything that is not as it was written."""
        return chain.check_chain(self._engine, progress=progress, trail=trail)
