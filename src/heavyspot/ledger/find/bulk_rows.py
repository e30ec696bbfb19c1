"""The ledger's entries as narrow rows: what statistics need, without curves or samples."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import func, select

from ..store.entries import Entries
from ..store.tables import (
    amendments,
    chain,
    cuts,
    events,
    piece_index,
    pieces,
    rotor_runs,
    runs,
)

BATCH = 20_000

COLUMNS: dict[str, tuple[Any, ...]] = {
    "runs": (
        runs.c.id, runs.c.piece_id, runs.c.number, runs.c.at, runs.c.by, runs.c.rig, runs.c.verdict,
        runs.c.worst_ratio, runs.c.recording,
    ),
    "cuts": (
        cuts.c.id, cuts.c.piece_id, cuts.c.after_run, cuts.c.kind, cuts.c.plane, cuts.c.angle_deg, cuts.c.mass_mg,
        cuts.c.unbalance_gmm, cuts.c.replaces, cuts.c.at, cuts.c.by,
    ),
    "told": (events.c.id, events.c.piece_id, events.c.at, events.c.kind, events.c.content),
    "pieces": (
        piece_index.c.piece_id, piece_index.c.serial, piece_index.c.model, piece_index.c.customer,
        piece_index.c.invoice, piece_index.c.number, piece_index.c.verdict, piece_index.c.worst_ratio,
        piece_index.c.day,
    ),
}  # fmt: skip
"""Table to columns, as `BulkRows` yields them."""

TABLES = {"runs": runs, "cuts": cuts, "told": events}


class BulkRows(Entries):
    """Reading it in batches; memory stays flat."""

    def count(self) -> dict[str, int]:
        """Return how many rows each table has."""
        with self._engine.connect() as c:
            return {
                name: int(
                    c.execute(select(func.count()).select_from(columns[0].table)).scalar_one()
                )
                for name, columns in COLUMNS.items()
            }

    def all(self, name: str) -> Iterator[list[tuple[Any, ...]]]:
        """Yield every row of a table."""
        key = COLUMNS[name][0]
        with self._engine.connect() as c:
            last = ""
            while True:
                query = select(*COLUMNS[name]).where(key > last).order_by(key).limit(BATCH)
                rows = [tuple(r) for r in c.execute(query)]
                if not rows:
                    return
                yield rows
                last = rows[-1][0]

    def since(self, number: int, up_to: int) -> dict[str, list[tuple[Any, ...]]]:
        """Return rows of entries behind a link of the chain, and every piece they touch."""
        with self._engine.connect() as c:
            new = (chain.c.number > number) & (chain.c.number <= up_to)
            found: dict[str, list[tuple[Any, ...]]] = {}
            touched: set[str] = set()
            for name, table in TABLES.items():
                query = select(*COLUMNS[name]).join(chain, chain.c.entry_id == table.c.id)
                mine = query.where(new, chain.c.of_table == table.name).order_by(chain.c.number)
                found[name] = [tuple(r) for r in c.execute(mine)]
                touched |= {r[1] for r in found[name]}
            for table, key in (
                (pieces, pieces.c.id), (amendments, amendments.c.of_id), (rotor_runs, rotor_runs.c.piece_id),
            ):  # fmt: skip
                query = select(key).join(chain, chain.c.entry_id == table.c.id)
                touched |= {
                    r[0] for r in c.execute(query.where(new, chain.c.of_table == table.name))
                }
            ids, found["pieces"] = sorted(touched), []
            for at in range(0, len(ids), 500):
                part = ids[at : at + 500]
                here = piece_index.c.piece_id.in_(part) | piece_index.c.job_id.in_(part)
                found["pieces"] += [
                    tuple(r) for r in c.execute(select(*COLUMNS["pieces"]).where(here))
                ]
        return found
