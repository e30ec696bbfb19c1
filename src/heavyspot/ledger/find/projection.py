"""The index of pieces as they stand, made anew from the entries that say so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import Connection, insert, select, update

from ..records import Piece, record
from ..store.chain import link_of
from ..store.entries import current_job, newest
from ..store.tables import (
    amendments,
    models,
    old_rows,
    overrulings,
    piece_index,
    pieces,
    rotor_runs,
    runs,
)
from .search import index_pieces


def project(c: Connection, piece_ids: Iterable[str]) -> list[str]:
    """Make the index of pieces anew; returns those whose serial another piece has, which keep their old one."""
    taken = []
    ids = list(dict.fromkeys(piece_ids))
    for piece_id in ids:
        now = as_it_stands(c, piece_id)
        there = newest_index(c, piece_id)
        other = select(piece_index.c.piece_id).where(
            piece_index.c.serial == now.serial, piece_index.c.piece_id != piece_id
        )
        if c.execute(other).first() is not None:
            taken.append(piece_id)
            if there is None:
                continue
            now = replace(now, serial=there.serial)
        line = {k: v for k, v in asdict(now).items() if k in piece_index.c}
        if there is None:
            c.execute(insert(piece_index).values(piece_id=piece_id, **line))
        else:
            c.execute(update(piece_index).where(piece_index.c.piece_id == piece_id).values(**line))
    shown = select(piece_index.c.piece_id).where(piece_index.c.piece_id.in_(ids))
    index_pieces(c, [r.piece_id for r in c.execute(shown).all()])
    return taken


def newest_index(c: Connection, piece_id: str) -> Any:
    """Return a piece's line in the index, or None."""
    return c.execute(select(piece_index).where(piece_index.c.piece_id == piece_id)).first()


def as_it_stands(c: Connection, piece_id: str) -> Piece:
    """Return a piece as its entries say, without the index."""
    made = newest(c, pieces, pieces.c.id == piece_id)
    assert made is not None  # every caller has just written it
    changed = select(amendments.c.content).where(amendments.c.of_id == piece_id)
    for a in c.execute(changed.order_by(amendments.c.id)):
        made |= a.content
    job = current_job(c, str(made["job_id"])) or {}
    now = record(Piece, {k: job.get(k, "") for k in ("customer", "invoice")} | made | {"kind": ""})
    known = select(models.c.kind).where(models.c.name == now.model).order_by(models.c.id.desc())
    now = replace(now, kind=c.execute(known.limit(1)).scalar() or "cartridge", day=now.at[:10])
    for table in (runs, rotor_runs):
        last = select(table.c.number, table.c.verdict, table.c.worst_ratio)
        mine = last.where(table.c.piece_id == piece_id).order_by(table.c.number.desc()).limit(1)
        for row in c.execute(mine):
            verdict = (table is runs and _let_stand(c, piece_id, row.number)) or row.verdict
            now = replace(now, number=row.number, verdict=verdict, worst_ratio=row.worst_ratio)
    told = select(old_rows.c.content).where(old_rows.c.piece_id == piece_id)
    dated = sorted((r.content["date"], r.content["verdict"]) for r in c.execute(told))
    now = replace(now, day=min([now.day, *(d for d, _ in dated if d)]))
    if now.number is None:
        now = replace(now, verdict=next((v for _, v in reversed(dated) if v), None))
    return now


def _let_stand(c: Connection, piece_id: str, number: int) -> str | None:
    """Return the verdict an inspector let stand for a run; None when nothing was overruled."""
    mine = select(overrulings.c.verdict).where(
        overrulings.c.piece_id == piece_id, overrulings.c.number == number
    )
    return c.execute(mine.order_by(link_of(overrulings).desc()).limit(1)).scalar()
