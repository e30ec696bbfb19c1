"""What is held because two buildings disagree about a piece, and what a person decides about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from ...quantities.errors import NotThere, Taken
from ...quantities.said import Said
from ..find.projection import project
from ..records import record
from ..store.entries import Entries, add_entries, add_entry, newest, transaction
from ..store.tables import (
    amendments,
    held,
    metadata,
    piece_index,
    pieces,
    rotor_runs,
    runs,
    takings,
)
from .envelope import Arriving, Parcel, unwrapped

NUMBER_OF = {
    "runs": "number", "rotor_runs": "number", "cuts": "after_run", "rotor_corrections": "after_run",
    "responses": "run_number", "promises": "run_number", "sheets": "run_number",
}  # fmt: skip
"""Which field of an entry names a run of its piece."""

RUNS = ("runs", "rotor_runs")


@dataclass(frozen=True)
class HeldPiece:
    """A piece some of whose entries are held.

    Attributes
    ----------
    store, piece_id : str
        Where it comes from, and what it is there.
    serial, model : str
    why : str
        ``serial``: another piece here has its serial; ``number``: both buildings have spun it.
    here : str
        Piece that is here.
    entries : int
    runs : int
        Of them.
    since : str
    """

    store: str
    piece_id: str
    serial: str
    model: str
    why: str
    here: str
    entries: int
    runs: int
    since: str


@dataclass(frozen=True)
class Taking:
    """What was decided about a piece of another store.

    Attributes
    ----------
    as_piece_id : str
        The piece it is here.
    from_number, shift : int
        From which of its runs on that holds, and what is added to their numbers.
    up_to : int
        The last held entry it let in, by its link there.
    """

    as_piece_id: str
    from_number: int
    shift: int
    up_to: int


def find_taking(c: Connection, store: str, piece_id: str) -> Taking | None:
    """Return the newest decision about a piece of another store, or None."""
    about = (takings.c.store == store) & (takings.c.piece_id == piece_id)
    row = newest(c, takings, about)
    return record(Taking, row) if row else None


def has_open(c: Connection, store: str, piece_id: str, taking: Taking | None) -> bool:
    """Whether entries of a piece wait for a decision."""
    return c.execute(_open(store, piece_id, taking).limit(1)).first() is not None


def _open(store: str, piece_id: str, taking: Taking | None) -> Any:
    up_to = taking.up_to if taking else 0
    mine = (held.c.store == store) & (held.c.piece_id == piece_id) & (held.c.number > up_to)
    return select(held).where(mine).order_by(held.c.number)


def hold(c: Connection, store: str, parcel: Parcel, entry: Arriving) -> None:
    """Keep an entry, as it was sent, for a person to decide."""
    add_entry(
        c, held, store=store, number=parcel.number, of_table=parcel.table, entry_id=entry.id,
        piece_id=entry.piece_id, content=parcel.row,
    )  # fmt: skip


def taken_as(entry: Arriving, taking: Taking | None) -> Arriving:
    """Return an entry as a decision about its piece says: of which piece, and of which run."""
    if taking is None or entry.table is pieces:
        return entry
    field = NUMBER_OF.get(entry.table.name)
    if field is None:
        if taking.from_number > 1:
            return entry
    elif entry.row[field] >= taking.from_number:
        entry = entry.but(**{field: entry.row[field] + taking.shift})
    else:
        return entry
    piece = "of_id" if entry.table is amendments else "piece_id"
    return entry.but(**{piece: taking.as_piece_id})


class Conflicts(Entries):
    """What is held."""

    def pieces(self) -> list[HeldPiece]:
        """Return the pieces that wait for a decision, oldest first."""
        found = []
        with self._engine.connect() as c:
            every = select(held.c.store, held.c.piece_id, func.min(held.c.number).label("first"))
            for r in c.execute(every.group_by(held.c.store, held.c.piece_id).order_by("first")):
                taking = find_taking(c, r.store, r.piece_id)
                rows = c.execute(_open(r.store, r.piece_id, taking)).all()
                if rows:
                    found.append(_told(c, r.store, r.piece_id, rows))
        return found

    def decide(
        self, store: str, piece_id: str, *, serial: str = "", by: str = "", why: str = ""
    ) -> str:
        """Let held entries in; returns the serial under which they now stand.

        Parameters
        ----------
        serial : str
            Of its own, when it is another piece; empty when it is the same piece: then its runs come
            after those that are here.

        Raises
        ------
        NotThere
            Nothing is held of it.
        Taken
            The serial is taken.
        """
        with transaction(self._engine) as c:
            before = find_taking(c, store, piece_id)
            rows = c.execute(_open(store, piece_id, before)).all()
            if not rows:
                raise NotThere(
                    Said("refusal.nothing_is_held_of_that"),
                    remedy=Said("remedy.look_at_the_list_again"),
                )
            told = _told(c, store, piece_id, rows)
            other = piece_index.c.serial == serial
            if serial and c.execute(select(piece_index.c.piece_id).where(other)).first():
                raise Taken(
                    Said("refusal.a_piece_with_serial_is_there", {"serial": serial}),
                    remedy=Said("remedy.give_it_another"),
                )
            first = min((n for h in rows if (n := _number(h)) is not None), default=1)
            first = 1 if told.why == "serial" else first
            up_to = rows[-1].number
            if told.why == "serial" and serial:
                now = Taking(piece_id, 1, 0, up_to)
            elif serial:
                now = Taking(self._another(c, piece_id, serial, by), first, 1 - first, up_to)
            else:
                now = Taking(told.here, first, _last_run(c, told.here) - first + 1, up_to)
            add_entry(c, takings, store=store, piece_id=piece_id, **asdict(now), by=by, why=why)
            touched = {now.as_piece_id}
            for h in rows:
                table = metadata.tables[h.of_table]
                entry = taken_as(Arriving(table, unwrapped(table, h.content)), now)
                add_entries(c, table, [entry.row])
                touched.add(now.as_piece_id if table is pieces else entry.piece_id)
            if told.why == "serial" and serial:
                change = {"kind": "piece", "of_id": piece_id, "content": {"serial": serial}}
                add_entry(c, amendments, **change, by=by, why=why or "made in two buildings")
            project(c, touched)
            row_now = c.execute(
                select(piece_index.c.serial).where(piece_index.c.piece_id == now.as_piece_id)
            ).one()
            return str(row_now.serial)

    @staticmethod
    def _another(c: Connection, piece_id: str, serial: str, by: str) -> str:
        """Add a piece like one that is here, with a serial of its own."""
        line = piece_index.c.piece_id == piece_id
        like = c.execute(select(piece_index).where(line)).mappings().one()
        kept = {k: like[k] for k in ("model", "job_id", "position")}
        made = add_entry(c, pieces, serial=serial, by=by, **kept)
        project(c, [made])
        return made


def _told(c: Connection, store: str, piece_id: str, rows: Sequence[Any]) -> HeldPiece:
    made = next((h.content for h in rows if h.of_table == "pieces"), None)
    key = piece_index.c.piece_id == piece_id
    if made:
        key = piece_index.c.serial == made["serial"]
    here = c.execute(select(piece_index).where(key)).first()
    if made:
        serial, model = made["serial"], made["model"]
    else:
        serial, model = (here.serial, here.model) if here else ("", "")
    return HeldPiece(
        store, piece_id, serial, model, "serial" if made else "number", here.piece_id if here else piece_id,
        len(rows), sum(h.of_table in RUNS for h in rows), rows[0].at,
    )  # fmt: skip


def _number(h: Any) -> int | None:
    """Return the number of a held run."""
    return int(h.content["number"]) if h.of_table in RUNS else None


def _last_run(c: Connection, piece_id: str) -> int:
    counts = [
        c.execute(select(func.max(t.c.number)).where(t.c.piece_id == piece_id)).scalar() or 0
        for t in (runs, rotor_runs)
    ]
    return max(counts)
