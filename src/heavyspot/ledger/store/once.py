"""Once: what is asked under a key is written once, however often it is asked.

The key stands in the same transaction as the first entry written under it: either both are there or neither.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, Engine, delete, insert, select, update

from ...quantities.clock import utc_minute, utc_text
from ...quantities.errors import BadInput, DoneBefore
from ...quantities.said import Said
from .tables import once

KEPT_DAYS = 30
"""How long a key is known (ours)."""


@dataclass
class Asked:
    """What is being asked under a key.

    Attributes
    ----------
    key, digest : str
        64 hexadecimal digits each: the key, and what is asked with it.
    goes_on : bool
        Whether what is asked is made of several writes, each of which is done once by itself: begun before and
        not finished, it goes on.
    written, done_before : bool
        Whether this call wrote the key, or found it.
    """

    key: str
    digest: str
    goes_on: bool = False
    written: bool = False
    done_before: bool = False


@dataclass(frozen=True)
class Answer:
    """What was answered the first time; no status: it was done, but its answer was lost."""

    key: str
    digest: str
    at: str
    status: int | None = None
    kind: str = ""
    place: str = ""
    body: bytes = b""


_ASKED: ContextVar[Asked | None] = ContextVar("asked", default=None)


@contextmanager
def asked_once(key: str, digest: str, *, goes_on: bool = False) -> Iterator[Asked]:
    """Let what is written inside be written once for all times under a key."""
    asked = Asked(key, digest, goes_on)
    token = _ASKED.set(asked)
    try:
        yield asked
    finally:
        _ASKED.reset(token)


def write_key(c: Connection, at: datetime) -> None:
    """Write the key of what is being asked, if any; the caller holds the lock (`lock_chain`).

    Raises
    ------
    DoneBefore
        It was done before.
    BadInput
        The key was used for something else.
    """
    asked = _ASKED.get()
    if asked is None or asked.written:
        return
    found = c.execute(select(once).where(once.c.key == asked.key)).first()
    if found is not None:
        _refuse_another(asked, str(found.digest))
        if asked.goes_on and found.status is None:  # a cut came before its end
            return
        asked.done_before = True
        raise DoneBefore(
            Said("refusal.this_was_done_before_on", {"at": utc_minute(found.at)}),
            remedy=Said("remedy.to_do_it_again_ask"),
        )
    c.execute(delete(once).where(once.c.at < utc_text(at - timedelta(days=KEPT_DAYS))))
    c.execute(insert(once).values(key=asked.key, digest=asked.digest, at=utc_text(at)))


def mark_written() -> None:
    """Remember that the transaction that wrote the key has ended well."""
    asked = _ASKED.get()
    if asked is not None:
        asked.written = True


def _refuse_another(asked: Asked, digest: str) -> None:
    if digest != asked.digest:
        raise BadInput(
            Said("refusal.this_key_was_used_for"), remedy=Said("remedy.take_a_new_key_for")
        )


class Answers:
    """Answers as they were given the first time."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def find(self, key: str, digest: str) -> Answer | None:
        """Return what was answered under a key, or None; raises `BadInput` when something else was asked then."""
        with self._engine.connect() as c:
            row = c.execute(select(once).where(once.c.key == key)).first()
        if row is None:
            return None
        _refuse_another(Asked(key, digest), str(row.digest))
        return Answer(
            key, digest, row.at, row.status, row.kind or "", row.place or "", bytes(row.body or b"")
        )

    def keep(self, answer: Answer) -> None:
        """Keep what was answered under a key that is there."""
        values = {"status": answer.status, "kind": answer.kind, "place": answer.place}
        with self._engine.begin() as c:
            mine = update(once).where(once.c.key == answer.key, once.c.status.is_(None))
            c.execute(mine.values(**values, body=answer.body))
