"""The errors a user can cause or meet; every one says what to do.

::

    HeavyspotError
    ├── BadInput (also ValueError)   a number, name or file content that cannot be used
    ├── UnreadableFile               a recording or model file that cannot be read
    ├── SignalTooPoor                a recording that reads, but from which nothing can be measured
    ├── SourceLost                   a device that is not there, or went away
    ├── NotInstalled (also ImportError)   a library that is no part of ours and not there
    ├── NotAllowed                   the role is not enough
    │   └── NotLoggedIn              nobody is logged in
    └── LedgerFault                  the ledger refuses
        ├── NotThere                 what was asked for is not in it: no such piece, model, rig
        ├── Taken                    a serial, name or place that something else has
        │   └── DoneBefore           asked under a key under which it was done already
        ├── OldLedger                it was made by an earlier program, and is to be brought up to date first
        ├── Stale                    somebody changed it since it was looked at
        └── LedgerAway               it cannot be reached or written at all: full disk, database gone

What a type means to a browser and to a shell stands in `STATUS` and `EXIT`, and nowhere else.
"""

from __future__ import annotations

import re
from importlib.util import find_spec
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # what is said refuses in these errors itself
    from .said import Said


class HeavyspotError(Exception):
    """Root of all errors that a user can cause; carries a remedy.

    Parameters
    ----------
    message : str or Said
        What is wrong: where, what was expected, what was found.
    remedy : str or Said
        What to do about it, as an instruction.

    Attributes
    ----------
    message, remedy : str
        In English, for programs and shells.
    told, to_do : str or Said
        As they were given, for a page in its reader's language.
    """

    def __init__(self, message: str | Said, *, remedy: str | Said) -> None:
        super().__init__(str(message))
        self.told, self.to_do = message, remedy
        self.message = str(message)
        self.remedy = str(remedy)

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


class NotInstalled(HeavyspotError, ImportError):
    """A library that is no part of ours is asked for and not installed; names it and the extra that brings it."""


def need(name: str, extra: str, what: str) -> None:
    """Refuse, with the command that installs it, what needs a library of a part that is not installed.

    Parameters
    ----------
    name : str
        Of the library, as it is imported.
    extra : str
        Part of ours that brings it.
    what : str
        What needs it, as a sentence begins.

    Raises
    ------
    NotInstalled
    """
    if find_spec(name) is None:
        raise NotInstalled(
            f'{what} need the part "{extra}", which is not installed.',
            remedy=f'Install it: uv tool install "heavyspot[{extra}]" (or: pip install "heavyspot[{extra}]").',
        )


class LedgerFault(HeavyspotError):
    """The ledger cannot do what was asked; nothing was changed."""


class NotThere(LedgerFault):
    """What was asked for is not in the ledger."""


class Taken(LedgerFault):
    """A serial, a name or a place that something else has already."""


class DoneBefore(Taken):
    """What is asked was done before under the same key; nothing was written now."""


class Stale(LedgerFault):
    """Somebody changed it since it was looked at; nothing was written."""


class OldLedger(LedgerFault):
    """The ledger was made by an earlier program; it is brought up to date by a step of its own."""


class LedgerAway(LedgerFault):
    """The ledger cannot be reached, or not be written: a full disk, a database that is gone."""


class NotAllowed(HeavyspotError):
    """The role is not enough, or a form is from an older login."""


class NotLoggedIn(NotAllowed):
    """Nobody is logged in, or the key is nobody's."""


STATUS: dict[type[HeavyspotError], int] = {
    HeavyspotError: 422,
    NotThere: 404,
    Taken: 409,
    Stale: 409,
    NotAllowed: 403,
    NotLoggedIn: 401,
    LedgerAway: 503,
}
"""Type of an error to the status an HTTP answer has; one that is not named has its parent's."""

EXIT: dict[type[HeavyspotError], int] = {
    HeavyspotError: 2,
    NotThere: 3,
    DoneBefore: 0,
    LedgerAway: 4,
}
"""Type of an error to the exit code of a command; one that is not named has its parent's."""


def _of(table: dict[type[HeavyspotError], int], fault: HeavyspotError) -> int:
    for kind in type(fault).__mro__:
        if kind in table:
            return table[kind]
    raise AssertionError("the tables hold the root")


def status_of(fault: HeavyspotError) -> int:
    """Return the status of the HTTP answer an error gives."""
    return _of(STATUS, fault)


def code_of(fault: HeavyspotError) -> str:
    """Return the word by which programs know an error: the name of its type in the tree above.

    >>> code_of(NotThere("There is no such piece.", remedy="")), code_of(HeavyspotError("x", remedy=""))
    ('not-there', 'refused')
    """
    kind = next(k for k in type(fault).__mro__ if k.__module__ == __name__)
    return (
        "refused"
        if kind is HeavyspotError
        else re.sub("(?<=[a-z])(?=[A-Z])", "-", kind.__name__).lower()
    )


def exit_of(fault: HeavyspotError) -> int:
    """Return the exit code an error gives a command."""
    return _of(EXIT, fault)
