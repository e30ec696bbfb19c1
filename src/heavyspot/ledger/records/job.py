"""Jobs and their pieces, and what happened to them."""

from __future__ import annotations

from dataclasses import dataclass

from .entry import Content, Entry


@dataclass(frozen=True, kw_only=True)
class Job(Entry):
    """A job, as it stands."""

    customer: str = ""
    invoice: str = ""
    due: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A piece as it stands: with its job's customer and invoice, and its last run's number and verdict.

    Attributes
    ----------
    kind : str
        Of its model: cartridge or rotor.
    number, verdict, worst_ratio
        Of its last run or reading; None before the first.
    day : str
        When it came in, ISO 8601 date; the old book's where that is earlier.
    """

    id: str
    serial: str
    model: str
    kind: str
    job_id: str
    at: str
    by: str = ""
    position: str = ""
    customer: str = ""
    invoice: str = ""
    number: int | None = None
    verdict: str | None = None
    worst_ratio: float | None = None
    day: str = ""


@dataclass(frozen=True, kw_only=True)
class Amendment(Entry):
    """Changed fields of a piece or a job, with their new values."""

    kind: str
    of_id: str
    content: Content


@dataclass(frozen=True, kw_only=True)
class PieceEvent(Entry):
    """What happened to a piece beside runs and cuts; `kind` is build, signed, returned, claim, note, ..."""

    piece_id: str
    kind: str
    content: Content


@dataclass(frozen=True, kw_only=True)
class OldBookEntry(Entry):
    """A row of the old book."""

    piece_id: str
    digest: str
    content: Content


@dataclass(frozen=True, kw_only=True)
class Sheet(Entry):
    """An issued sheet.

    Attributes
    ----------
    kind : str
        ``run`` (of a cartridge or a rotor) or ``flow``.
    run_number : int
        Of the run, reading or flow test it tells of.
    digest : str
        Of what it says.
    kept_as, sha256 : str or None
        The file that was issued, as it is kept, and its digest; None where none was kept yet.
    why : str
        Why it was issued, though another one stood.
    """

    number: str
    piece_id: str
    kind: str
    run_number: int
    digest: str
    kept_as: str | None = None
    sha256: str | None = None


@dataclass(frozen=True, kw_only=True)
class Branch(Entry):
    """Where a ledger went on from a backup: its name, its store's, and the newest link of the backup."""

    name: str
    store: str
    from_number: int
    from_digest: str


@dataclass(frozen=True, kw_only=True)
class View:
    """Who saw, printed or took away something."""

    id: str
    at: str
    by: str
    what: str
    of: str
