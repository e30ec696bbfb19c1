"""A clock that went back: what it was set to is seen in the chain, whose own numbers only go forward."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Connection, Engine, select

from ...quantities.clock import time_of
from .tables import arrivals, chain, metadata

STEP_S = 60.0
"""A clock that is put right by a time server moves less (ours)."""

BATCH = 2000


@dataclass(frozen=True)
class ClockBack:
    """Entries that bear an earlier time than one before them.

    Attributes
    ----------
    first, last : int
        Their links.
    at, before : str
        The first one's time, and the latest of an entry before it.
    """

    first: int
    last: int
    at: str
    before: str

    def words(self) -> str:
        """Return it in words."""
        return (
            f"The clock went back from {self.before} to {self.at}: "
            f"links {self.first:,} to {self.last:,} bear a time before that of an earlier one."
        )


def clock_backs(engine: Engine) -> list[ClockBack]:
    """Return where this store's clock went back, in order; what came from other stores has their clocks."""
    found: list[ClockBack] = []
    latest, open_ = "", False
    with engine.connect() as c:
        for number, at in _times(c, 0):
            if latest and _behind_s(at, latest) > STEP_S:
                if open_:
                    last = found.pop()
                    found.append(ClockBack(last.first, number, last.at, last.before))
                else:
                    found.append(ClockBack(number, number, at, latest))
                open_ = True
            else:
                latest, open_ = max(latest, at), False
    return found


def behind_now_s(engine: Engine) -> float:
    """Return how far this computer's clock is behind the newest entries, in s; 0 when it is not."""
    with engine.connect() as c:
        last = c.execute(select(chain.c.number).order_by(chain.c.number.desc()).limit(1)).scalar()
        times = [at for _, at in _times(c, max(0, (last or 0) - 100))]
    if not times:
        return 0.0
    now = datetime.now(UTC)
    return max(0.0, (time_of(max(times)) - now).total_seconds())


def _times(c: Connection, after: int) -> Iterator[tuple[int, str]]:
    """Yield link and time of this store's own entries, in the order they were written."""
    while links := c.execute(
        select(chain.c.number, chain.c.of_table, chain.c.entry_id)
        .where(chain.c.number > after)
        .order_by(chain.c.number)
        .limit(BATCH)
    ).all():
        ids = [link.entry_id for link in links]
        came = select(arrivals.c.entry_id).where(arrivals.c.entry_id.in_(ids))
        elsewhere = {r.entry_id for r in c.execute(came)}
        times: dict[str, str] = {}
        for name in {link.of_table for link in links} & set(metadata.tables):
            table = metadata.tables[name]
            mine = [link.entry_id for link in links if link.of_table == name]
            rows = c.execute(select(table.c.id, table.c.at).where(table.c.id.in_(mine)))
            times |= {r.id: r.at for r in rows}
        for link in links:
            if link.entry_id in times and link.entry_id not in elsewhere:
                yield link.number, times[link.entry_id]
        after = links[-1].number


def _behind_s(at: str, latest: str) -> float:
    return (time_of(latest) - time_of(at)).total_seconds()
