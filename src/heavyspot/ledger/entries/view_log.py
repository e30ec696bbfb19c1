"""Who saw what: a page looked at is no entry, but it is remembered."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import insert, select

from ...quantities.clock import utc_text
from ..records import View
from ..store.entries import Entries, now_utc, transaction
from ..store.identity import new_id
from ..store.tables import looks

ONCE_IN = timedelta(hours=1)
"""The same person looking at the same thing again within this time is one look."""


class ViewLog(Entries):
    """What was looked at."""

    def saw(self, by: str, what: str, of: str) -> None:
        """Remember that somebody saw, printed or took away something."""
        of = of[:200]
        since = utc_text(datetime.now(UTC) - ONCE_IN)
        same = (
            (looks.c.of == of) & (looks.c.what == what) & (looks.c.by == by) & (looks.c.at > since)
        )
        with self._engine.connect() as c:
            if c.execute(select(looks.c.id).where(same).limit(1)).first():
                return
        with transaction(self._engine) as c:
            c.execute(
                insert(looks).values(id=new_id(), at=now_utc(), by=by, what=what, of=of[:200])
            )

    def of(self, of: str, *, most: int = 50) -> list[View]:
        """Return who saw a thing, newest first."""
        mine = select(looks).where(looks.c.of == of).order_by(looks.c.id.desc()).limit(most)
        return self._all(View, mine)
