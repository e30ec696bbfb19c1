"""Entries from one store to another: once, in order, and none dropped when two stores disagree.

A store (the main house's, or a station's) offers the entries of its chain after a link, each with the link's
digest, and leaves out those that came from elsewhere. The taker puts each where it belongs, in one
transaction with its place in the other chain, so that the line may break at any moment and whatever
is sent again is known by its identifier. What clashes is held, whole and in order, until a person decides
(`conflicts.py`); where two buildings changed the same field both entries stand and a person is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select
from sqlalchemy.exc import IntegrityError

from ...quantities.errors import BadInput, LedgerFault, NotThere
from ..find.projection import newest_index, project
from ..records import Branch, Clash
from ..store.chain import FIRST, OF_ONE_STORE, head_of, link_of, rows_by_id
from ..store.entries import Entries, Row, add_entries, add_entry, newest, now_utc, transaction
from ..store.identity import new_id
from ..store.schema import HEAD
from ..store.tables import (
    amendments,
    arrivals,
    branches,
    chain,
    clashes,
    cuts,
    metadata,
    models,
    old_rows,
    own_store,
    piece_index,
    pieces,
    rigs,
    rotor_runs,
    runs,
    sheets,
)
from .conflicts import find_taking, has_open, hold, taken_as
from .cursor import BATCH, move_cursor, refuse_another_s, refuse_jump, refuse_shape
from .cursor import cursor as cursor_at
from .envelope import Arriving, Offer, Parcel, opened, wrapped

LARGEST = 2_000_000
"""Bytes of the larger parts of the entries in one offer."""


LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass
class Taken:
    """What became of an offer: newly kept, there already, held for a person, clashes to be shown."""

    kept: int = 0
    known: int = 0
    held: int = 0
    clashes: int = 0


class Exchange(Entries):
    """A store's part in it."""

    def own_id(self) -> str:
        """Return this store's name among stores."""
        branches = self.branches()
        if branches:
            return branches[-1].store
        with self._engine.connect() as c:
            newest_first = select(own_store.c.id).order_by(own_store.c.at.desc()).limit(1)
            return str(c.execute(newest_first).scalar_one())

    def own_ids(self) -> list[str]:
        """Return all names this store has had, the present one last."""
        with self._engine.connect() as c:
            named = [str(r.id) for r in c.execute(select(own_store.c.id).order_by(own_store.c.at))]
        present = self.own_id()
        return [n for n in named if n != present] + [present]

    def take_new_id(self) -> str:
        """Give this store a new name and a branch, after it was restored from a backup: it may be behind."""
        made = new_id()
        with transaction(self._engine) as c:
            number, digest = head_of(c)
            c.execute(insert(own_store).values(id=made, at=now_utc()))
            add_entry(
                c, branches, name=branch_name(made), store=made,
                from_number=number, from_digest=digest,
            )  # fmt: skip
        return made

    def branches(self) -> list[Branch]:
        """Return where this ledger went on from a backup, oldest first."""
        return self._all(Branch, select(branches).order_by(branches.c.from_number))

    def came(self, entry_id: str) -> bool:
        """Whether an entry came from another store: its sheet holds a link of that store's chain."""
        with self._engine.connect() as c:
            from_there = select(arrivals.c.number).where(arrivals.c.entry_id == entry_id).limit(1)
            return c.execute(from_there).first() is not None

    def link(self, number: int) -> str:
        """Return the digest of a link of the own chain; empty when there is none."""
        if number == 0:
            return FIRST
        with self._engine.connect() as c:
            found = c.execute(select(chain.c.digest).where(chain.c.number == number)).scalar()
        return str(found or "")

    def cursor(self, store: str) -> tuple[int, str]:
        """Return how far into another store's chain everything has arrived."""
        with self._engine.connect() as c:
            return cursor_at(c, store)

    def refuse_another_s(self, store: str, station: str) -> None:
        """Raise `NotAllowed` when a store is another station's than the one that asks."""
        with self._engine.connect() as c:
            refuse_another_s(c, store, station)

    def arrived(self, store: str) -> int:
        """Return how many entries of another store are here, held ones included."""
        with self._engine.connect() as c:
            count = select(func.count()).select_from(arrivals).where(arrivals.c.store == store)
            return int(c.execute(count).scalar_one())

    def waiting(self, after: int) -> int:
        """Return how many own entries stand behind a link of the own chain."""
        elsewhere = select(arrivals.c.entry_id)
        count = select(func.count()).where(
            chain.c.number > after,
            chain.c.of_table.not_in(OF_ONE_STORE),
            chain.c.entry_id.not_in(elsewhere),
        )
        with self._engine.connect() as c:
            return int(c.execute(count).scalar_one())

    def offer(self, after: int, *, taker: str) -> Offer:
        """Return the next entries behind a link, without those that came from the taker.

        Parameters
        ----------
        after : int
            Link of the own chain the taker has.
        taker : str
            The store it is for.
        """
        with self._engine.connect() as c:
            links = c.execute(
                select(chain).where(chain.c.number > after).order_by(chain.c.number).limit(BATCH)
            ).all()
            came = select(arrivals.c.entry_id).where(
                arrivals.c.entry_id.in_([link.entry_id for link in links]),
                arrivals.c.store == taker,
            )
            elsewhere = {r.entry_id for r in c.execute(came)}
            before, reached, size = self.link(after), after, 0
            parcels: list[Parcel] = []
            wanted = [
                link
                for link in links
                if link.of_table not in OF_ONE_STORE and link.entry_id not in elsewhere
            ]
            rows = _rows(c, wanted)
            keys = {(link.of_table, link.entry_id) for link in wanted}
            for link in links:
                key = (link.of_table, link.entry_id)
                if key in keys:
                    size += _size(rows[key])
                    if parcels and size > LARGEST:
                        break
                    seen = _seen(c, link.number, taker) if link.of_table == "amendments" else 0
                    row = wrapped(link.of_table, rows[key])
                    parcels.append(
                        Parcel(link.number, link.of_table, row, before, link.digest, seen)
                    )
                before, reached = link.digest, link.number
        return Offer(self.own_id(), tuple(parcels), reached, before)

    def take(
        self, offer: Offer, *, clock_s: float = 0.0, deciding: bool = True, station: str = ""
    ) -> Taken:
        """Take an offer, all of it or nothing.

        Parameters
        ----------
        clock_s : float
            How much the other store's clock is before ours; kept beside each arrival.
        deciding : bool
            Whether clashes are decided here (the main house), or left to the other side.
        station : str
            Who sends; a store belongs to the station that named it first.

        Raises
        ------
        BadInput
            The schema is another, an entry does not fit its link, or the offer does not go on from what has
            arrived: nothing is taken.
        NotAllowed
            The store is another station's.
        """
        if offer.schema != HEAD:
            raise BadInput(
                f"The other store has schema {offer.schema}, this one {HEAD}.",
                remedy="Bring both to the same version of the program.",
            )
        refuse_shape(offer)
        taken = Taken()
        try:
            self._take(offer, clock_s, deciding, taken, station)
        except IntegrityError:
            raise LedgerFault(
                "Something else was written at the same moment; nothing was taken.",
                remedy="Send it again.",
            ) from None
        return taken

    def _take(
        self, offer: Offer, clock_s: float, deciding: bool, taken: Taken, station: str
    ) -> None:
        with transaction(self._engine) as c:
            refuse_another_s(c, offer.store, station)
            refuse_jump(c, offer)
            at, touched = now_utc(), set[str]()
            for parcel in offer.parcels:
                if parcel.number <= cursor_at(c, offer.store)[0]:
                    continue
                entry = opened(parcel)
                if newest(c, entry.table, entry.table.c.id == entry.id) is not None:
                    taken.known += 1
                else:
                    touched |= self._place(c, offer.store, parcel, entry, deciding, taken)
                c.execute(
                    insert(arrivals).values(
                        store=offer.store, number=parcel.number, of_table=parcel.table,
                        entry_id=entry.id, at=at, clock_s=clock_s,
                    )
                )  # fmt: skip
            for piece_id in project(c, touched):
                _tell(
                    c, taken, deciding, "piece", piece_id, {"why": "the serial is another piece's"}
                )
            move_cursor(c, offer, station)

    @staticmethod
    def _place(
        c: Connection,
        store: str,
        parcel: Parcel,
        entry: Arriving,
        deciding: bool,
        taken: Taken,
    ) -> set[str]:
        """Put one entry where it belongs; returns the pieces whose index it changes."""
        table = entry.table
        if entry.piece_id:
            taking = find_taking(c, store, entry.piece_id)
            as_it_comes = taken_as(entry, taking)
            if has_open(c, store, entry.piece_id, taking) or _collides(c, as_it_comes):
                hold(c, store, parcel, entry)
                taken.held += 1
                return set()
            entry = as_it_comes
        if table is old_rows and newest(c, table, table.c.digest == entry.digest) is not None:
            taken.known += 1  # the same row of the same old book, brought in twice
            return set()
        if table is sheets and newest(c, table, table.c.number == entry.number) is not None:
            _tell(c, taken, deciding, "sheet", entry.number, {"entries": [entry.id]})
            entry = entry.but(number=f"{entry.number}*")
        _tell_forks(c, entry, parcel, store, deciding, taken)
        add_entries(c, table, [entry.row])
        taken.kept += 1
        if table is amendments and entry.kind == "job":
            mine = select(piece_index.c.piece_id).where(piece_index.c.job_id == entry.of_id)
            return {r.piece_id for r in c.execute(mine)}
        now_of = entry.piece_id
        return {now_of} if now_of and _is_shown(c, table, now_of) else set()

    def clashes(self) -> list[Clash]:
        """Return the clashes that nobody has settled yet, oldest first."""
        settled = select(clashes.c.replaces).where(clashes.c.replaces.is_not(None))
        open_ = select(clashes).where(clashes.c.replaces.is_(None), clashes.c.id.not_in(settled))
        return self._all(Clash, open_.order_by(link_of(clashes)))

    def settle(self, clash_id: str, *, by: str, why: str) -> None:
        """Say that a clash was looked at and is settled."""
        with transaction(self._engine) as c:
            old = newest(c, clashes, clashes.c.id == clash_id)
            if old is None:
                raise NotThere("There is no such clash.", remedy="Look at the list again.")
            about = {k: old[k] for k in ("kind", "of", "content")}
            add_entry(c, clashes, **about, replaces=clash_id, by=by, why=why)


def branch_name(store: str) -> str:
    """Return four letters and digits, hard to mistake, from the random end of a store's name."""
    end = int(store.replace("-", "")[-8:], 16)
    return "".join(LETTERS[end >> 5 * k & 31] for k in range(4))


def _size(row: Row) -> int:
    return sum(len(v) for v in row.values() if isinstance(v, bytes)) + len(
        str(row.get("content", ""))
    )


def _rows(c: Connection, links: Sequence[Any]) -> dict[tuple[str, str], Row]:
    return {
        (name, entry_id): row
        for name in {link.of_table for link in links}
        for entry_id, row in rows_by_id(
            c, metadata.tables[name], [link.entry_id for link in links if link.of_table == name]
        ).items()
    }


def _collides(c: Connection, entry: Arriving) -> bool:
    """Whether an entry would take a place that is taken: a serial, or the number of a run."""
    table = entry.table
    if table is pieces:
        same = piece_index.c.serial == entry.serial
        return c.execute(select(piece_index.c.piece_id).where(same)).first() is not None
    if table is runs or table is rotor_runs:
        same = (table.c.piece_id == entry.piece_id) & (table.c.number == entry.number)
        return newest(c, table, same) is not None
    return False


def _is_shown(c: Connection, table: Table, piece_id: str) -> bool:
    """Whether a piece has, or is to get, a line in the index; one that was taken as another has none."""
    return table is pieces or newest_index(c, piece_id) is not None


def _tell(c: Connection, taken: Taken, deciding: bool, kind: str, of: str, content: Row) -> None:
    if deciding:
        add_entry(c, clashes, kind=kind, of=of, content=content)
        taken.clashes += 1


def _tell_forks(
    c: Connection, entry: Arriving, parcel: Parcel, store: str, deciding: bool, taken: Taken
) -> None:
    """Tell a person where the other building changed what was changed here without knowing of it."""
    table = entry.table
    if table in (models, rigs, cuts):
        if entry.replaces is not None:
            fork = table.c.replaces == entry.replaces
        elif table is cuts:
            return
        else:
            fork = (table.c.name == entry.name) & table.c.replaces.is_(None)
        other = c.execute(select(table.c.id).where(fork).order_by(table.c.id.desc()).limit(1))
        if (id_here := other.scalar()) is not None:
            of = entry.name or entry.piece_id
            _tell(c, taken, deciding, table.name[:-1], of, {"entries": [id_here, entry.id]})
        return
    if table is not amendments:
        return
    from_there = select(arrivals.c.entry_id).where(arrivals.c.store == store)
    mine = (
        select(amendments, chain.c.number)
        .join(chain, chain.c.entry_id == amendments.c.id)
        .where(amendments.c.of_id == entry.of_id, chain.c.number > parcel.seen)
        .where(amendments.c.id.not_in(from_there))
    )
    for ours in c.execute(mine):
        fields = sorted(set(ours.content) & set(entry.content))
        if fields:
            content: Row = {"entries": [ours.id, entry.id], "fields": fields}
            content |= {"here": ours.content, "there": entry.content}
            _tell(c, taken, deciding, entry.kind, entry.of_id, content)


def _seen(c: Connection, number: int, taker: str) -> int:
    """Return how far into the taker's chain had been read when a link of the own chain was made."""
    read = (
        select(func.max(arrivals.c.number))
        .join(chain, chain.c.entry_id == arrivals.c.entry_id)
        .where(arrivals.c.store == taker, chain.c.number < number)
    )
    return int(c.execute(read).scalar() or 0)
