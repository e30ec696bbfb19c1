"""Runs of cartridges and their cuts in the ledger."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError

from ...quantities.errors import Stale
from ...quantities.said import Said
from ..find.search import index_pieces
from ..records import Answer, Cut, Learnt, Run, record, withdrawn
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, add_records, standing, transaction
from ..store.tables import (
    answers,
    cut_errors,
    cuts,
    overrulings,
    piece_index,
    promises,
    responses,
    runs,
)

RUN_COLUMNS = [c for c in runs.c if c.name != "curves"]
LET_STAND = [
    overrulings.c[k].label(f"stands_{k}") for k in ("verdict", "by", "at", "why", "finding")
]
ANSWERED = [answers.c[k].label(f"answer_{k}") for k in ("looked", "knowingly", "advice")]


class Cartridges(Entries):
    """Runs and cuts."""

    def add_run(self, run: Run, curves: bytes, asked: Iterable[Cut], learnt: Learnt) -> str:
        """Add a run with the cuts asked after it and what was learnt from it, all or nothing."""
        try:
            with transaction(self._engine) as c:
                run_id = add_entry(c, runs, curves=curves, **run.values())
                last = {"number": run.number, "verdict": run.verdict}
                mine = piece_index.c.piece_id == run.piece_id
                c.execute(
                    update(piece_index).where(mine).values(worst_ratio=run.worst_ratio, **last)
                )
                add_records(c, cuts, asked)
                add_records(c, responses, learnt.responses)
                add_records(c, cut_errors, learnt.cut_errors)
                add_records(c, promises, learnt.chances)
                index_pieces(c, [run.piece_id])
                return run_id
        except IntegrityError:
            raise Stale(
                Said("refusal.another_run_of_this_piece"),
                remedy=Said("remedy.look_at_the_piece_again"),
            ) from None

    def add_cuts(self, made: Sequence[Cut], *, once: bool = False) -> list[str]:
        """Add cuts made, all or nothing; returns their ids.

        Parameters
        ----------
        once : bool
            Leave out those in a plane where a cut stands since that run already.
        """
        with transaction(self._engine) as c:
            if once and made:
                mine = (cuts.c.piece_id == made[0].piece_id) & (cuts.c.kind == "made")
                rows = c.execute(select(cuts).where(mine)).mappings()
                there = {(r.plane, r.after_run) for r in standing(record(Cut, r) for r in rows)}
                made = [m for m in made if (m.plane, m.after_run) not in there]
            return add_records(c, cuts, made)

    def runs(self, piece_id: str) -> list[Run]:
        """Return a piece's runs in order, without their curves.

        Each with the verdict an inspector let stand, and the advice after what was answered, where there are any.
        """
        query = (
            select(*RUN_COLUMNS, *LET_STAND, *ANSWERED)
            .outerjoin(overrulings, overrulings.c.run_id == runs.c.id)
            .outerjoin(answers, answers.c.run_id == runs.c.id)
            .where(runs.c.piece_id == piece_id)
            .order_by(runs.c.number, link_of(overrulings), link_of(answers))
        )
        with self._engine.connect() as c:
            found = {row["number"]: _as_it_stands(row) for row in c.execute(query).mappings()}
        return list(found.values())

    def newest_on(self, rig: str, *, since: str) -> str | None:
        """Return the piece spun last on a rig since a time, UTC, or None."""
        query = select(runs.c.piece_id).where((runs.c.rig == rig) & (runs.c.at >= since))
        with self._engine.connect() as c:
            found = c.execute(query.order_by(runs.c.id.desc()).limit(1)).scalar()
        return None if found is None else str(found)

    def spun_since(self, since: str) -> list[str]:
        """Return the pieces spun since a time, UTC, in order of their last run."""
        last = func.max(runs.c.id)
        query = select(runs.c.piece_id).where(runs.c.at >= since).group_by(runs.c.piece_id)
        with self._engine.connect() as c:
            return [str(i) for i in c.execute(query.order_by(last)).scalars()]

    def curves(self, piece_id: str) -> dict[int, bytes]:
        """Return run number to curves of each of a piece's runs."""
        query = select(runs.c.number, runs.c.curves).where(runs.c.piece_id == piece_id)
        with self._engine.connect() as c:
            return {r.number: r.curves for r in c.execute(query.order_by(runs.c.number))}

    def all_cuts(self, piece_id: str) -> list[Cut]:
        """Return a piece's cuts in order, asked and made, without those amended or never made."""
        mine = select(cuts).where(cuts.c.piece_id == piece_id)
        return standing(self._all(Cut, mine.order_by(link_of(cuts))))

    def add_answer(self, answer: Answer, asked: Sequence[Cut], learnt: Learnt) -> str:
        """Add what was said of the cuts before the last run, the cuts now asked instead and what is now learnt."""
        with transaction(self._engine) as c:
            mine = (cuts.c.piece_id == answer.piece_id) & (cuts.c.kind == "asked")
            rows = c.execute(select(cuts).where(mine)).mappings()
            for old in standing(record(Cut, r) for r in rows):
                if old.after_run == answer.number:
                    add_records(c, cuts, [withdrawn(old, by=answer.by, why=answer.why)])
            added = add_entry(c, answers, **answer.values())
            add_records(c, cuts, asked)
            add_records(c, responses, learnt.responses)
            return added

    def answers(self, piece_id: str) -> list[Answer]:
        """Return what was said of a piece's cuts after runs, in order."""
        return self._all(
            Answer, select(answers).where(answers.c.piece_id == piece_id).order_by(link_of(answers))
        )

    def cuts(self, piece_id: str, kind: str) -> list[Cut]:
        """Return a piece's cuts of a kind, as `all_cuts` does."""
        return [c for c in self.all_cuts(piece_id) if c.kind == kind]

    def run_count(self, piece_id: str) -> int:
        """Return how many runs a piece has."""
        return self._count(
            select(func.count()).select_from(runs).where(runs.c.piece_id == piece_id)
        )


def _as_it_stands(row: Mapping[Any, Any]) -> Run:
    """Return a run with the advice and the verdict that stand, and who let the verdict stand and why."""
    run = record(Run, row)
    if row["answer_advice"] is not None:
        said = {k: row[f"answer_{k}"] for k in ("looked", "knowingly", "advice")}
        run = replace(run, result={**run.result, **said})
    verdict = row["stands_verdict"]
    if verdict is None:
        return run
    said = {k: row[f"stands_{k}"] for k in ("by", "at", "why", "finding")}
    return replace(
        run, verdict=verdict, result={**run.result, "verdict": verdict, "overruled": said}
    )
