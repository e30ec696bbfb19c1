"""A ledger from one database to another, with proof that it is the same: SQLite, PostgreSQL, and back."""

from __future__ import annotations

import itertools
from collections.abc import Callable

from sqlalchemy import Connection, Engine, delete, func, insert, select

from ...quantities.errors import LedgerFault
from ..find.search import index_pieces
from ..store.chain import check_chain, head, rows_by_id
from ..store.schema import open_engine
from ..store.tables import (
    arrivals,
    chain,
    cursors,
    heads,
    looks,
    metadata,
    own_store,
    piece_index,
    tree,
    upgrades,
)

BATCH = 2000


def move_ledger(
    source: str, target: str, *, progress: Callable[[str, int, int], None] | None = None
) -> tuple[int, str]:
    """Copy a whole ledger, entry by entry in the order it was written; returns entries and newest link.

    Equal because the newest link is equal and every entry of the copy fits its link; the source is only read.
    Who is logged in is not copied.

    Parameters
    ----------
    source, target : str
        SQLAlchemy URLs; the target must hold no entry.

    Raises
    ------
    LedgerFault
        The target is not empty, the source is not as it was written, or a database cannot be reached.
    """
    old, new = open_engine(source), open_engine(target)
    try:
        if head(new)[0]:
            raise LedgerFault(
                "The target holds a ledger already; nothing was copied.",
                remedy="Name an empty database.",
            )
        with old.connect() as from_, new.begin() as to:  # all or nothing
            _copy_entries(from_, to, progress)
            _copy_index(from_, to, progress)
            _copy_plain(from_, to)
        return _proved(old, new, progress)
    finally:
        old.dispose()
        new.dispose()


def _copy_entries(
    from_: Connection, to: Connection, progress: Callable[[str, int, int], None] | None
) -> None:
    total = int(from_.execute(select(func.count()).select_from(chain)).scalar_one())
    done = 0
    while links := from_.execute(
        select(chain).where(chain.c.number > done).order_by(chain.c.number).limit(BATCH)
    ).all():
        for name, group in itertools.groupby(links, key=lambda link: link.of_table):
            table, ids = metadata.tables[name], [link.entry_id for link in group]
            rows = rows_by_id(from_, table, ids)
            missing = [i for i in ids if i not in rows]
            if missing:
                raise LedgerFault(
                    f"{name} {missing[0]} is missing in the source.",
                    remedy="heavyspot verify names all that is not as it was written.",
                )
            to.execute(insert(table), [rows[i] for i in ids])
        to.execute(insert(chain), [dict(link._mapping) for link in links])
        done = links[-1].number
        if progress:
            progress("entries", done, total)


def _copy_index(
    from_: Connection, to: Connection, progress: Callable[[str, int, int], None] | None
) -> None:
    last = ""
    total = int(from_.execute(select(func.count()).select_from(piece_index)).scalar_one())
    done = 0
    key = piece_index.c.piece_id
    while rows := [
        dict(r)
        for r in from_.execute(
            select(piece_index).where(key > last).order_by(key).limit(BATCH)
        ).mappings()
    ]:
        to.execute(insert(piece_index), rows)
        index_pieces(to, [r["piece_id"] for r in rows])
        last, done = rows[-1]["piece_id"], done + len(rows)
        if progress:
            progress("pieces", done, total)


def _copy_plain(from_: Connection, to: Connection) -> None:
    """Copy what is no entry: which store this is, what came from where, who saw what, where chains ended."""
    for table in (own_store, arrivals, cursors, looks, upgrades, tree, heads):
        to.execute(delete(table))
        rows = from_.execute(select(table).execution_options(yield_per=BATCH)).mappings()
        for part in rows.partitions(BATCH):
            to.execute(insert(table), [dict(r) for r in part])


def _proved(
    old: Engine, new: Engine, progress: Callable[[str, int, int], None] | None
) -> tuple[int, str]:
    def show(done: int, total: int) -> None:
        if progress:
            progress("reading back", done, total)

    broken = next(check_chain(new, progress=show), None)
    if broken is not None:
        raise LedgerFault(
            f"The copy does not read back: {broken.words()}",
            remedy="Empty the target; heavyspot verify tells whether the source is whole.",
        )
    if head(old) != head(new):
        raise LedgerFault(
            "The source went on while it was copied.",
            remedy="Stop the program that writes, then move again.",
        )
    with old.connect() as a, new.connect() as b:
        for table in metadata.sorted_tables:
            if table.name in {"logins", "once"}:
                continue
            count = select(func.count()).select_from(table)
            if a.execute(count).scalar_one() != b.execute(count).scalar_one():
                raise LedgerFault(
                    f"{table.name}: the copy holds another number.", remedy="Move again."
                )
    return head(new)
