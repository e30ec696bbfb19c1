"""The errors a user can cause or meet; every one says what to do.

::

    HeavyspotError
    ├── BadInput (also ValueError)   a number, name or file content that cannot be used
    ├── UnreadableFile               a recording or model file that cannot be read
    ├── SignalTooPoor                a recording that reads, but from which nothing can be measured
    ├── SourceLost                   a device that is not there, or went away
    └── LedgerFault                  the ledger refuses: unknown piece, duplicate serial
        └── LedgerAway               it cannot be reached or written at all: full disk, database gone
"""

from __future__ import annotations


class HeavyspotError(Exception):
    """Root of all errors that a user can cause; carries a remedy.

    Parameters
    ----------
    message : str
        What is wrong: where, what was expected, what was found.
    remedy : str
        What to do about it, as an instruction.
    """

    def __init__(self, message: str, *, remedy: str) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.message} {self.remedy}".strip()


class BadInput(HeavyspotError, ValueError):
    """A value that cannot be used; names it and the range."""


class UnreadableFile(HeavyspotError):
    """A file that cannot be read; names the file, the place, what was expected and found."""


class SignalTooPoor(HeavyspotError):
    """A recording from which nothing trustworthy can be measured."""


class SourceLost(HeavyspotError):
    """A live source that is not there, or went away while it delivered."""


class LedgerFault(HeavyspotError):
    """The ledger cannot do what was asked; nothing was changed."""


class LedgerAway(LedgerFault):
    """The ledger cannot be reached, or not be written: a full disk, a database that is gone."""
