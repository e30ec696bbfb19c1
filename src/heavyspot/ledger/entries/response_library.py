"""What earlier units taught, read back: responses, errors of cuts, chances that were said."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select

from ..records import ChanceKept, Cut, CutError, LearntResponse, Outcome
from ..store.entries import Entries, standing
from ..store.tables import cut_errors, cuts, piece_index, promises, responses, runs


class ResponseLibrary(Entries):
    """What the ledger has learnt."""

    def responses(
        self, model: str, plane: str, *, not_piece: str, most: int = 200
    ) -> list[LearntResponse]:
        """Return the newest response learnt from each other piece of a model, newest first."""
        newest = (
            select(responses.c.piece_id, func.max(responses.c.id).label("id"))
            .where(
                responses.c.model == model,
                responses.c.plane == plane,
                responses.c.piece_id != not_piece,
            )
            .group_by(responses.c.piece_id)
            .subquery()
        )
        return self._all(
            LearntResponse,
            select(responses)
            .join(newest, responses.c.id == newest.c.id)
            .order_by(responses.c.id.desc())
            .limit(most),
        )

    def taught_by(self, piece_id: str) -> list[str]:
        """Return the planes of which a piece has taught something."""
        query = select(responses.c.plane).where(responses.c.piece_id == piece_id).distinct()
        with self._engine.connect() as c:
            return sorted(c.execute(query).scalars())

    def cut_errors(self, cutter: str, *, most: int = 400) -> list[CutError]:
        """Return the errors of the newest cuts made with a kind of cutter; none of a cut that was amended."""
        amended = select(cuts.c.replaces).where(cuts.c.replaces.is_not(None))
        query = select(cut_errors).where(
            cut_errors.c.cutter == cutter, cut_errors.c.cut_id.not_in(amended)
        )
        return self._all(CutError, query.order_by(cut_errors.c.id.desc()).limit(most))

    def chances(self, *, most: int = 4000) -> list[ChanceKept]:
        """Return the newest chances that were said and followed, and whether the next run passed."""
        of = (promises.c.piece_id, promises.c.run_number)
        kept = select(*of, promises.c.computed, promises.c.said, promises.c.passed)
        return self._all(ChanceKept, kept.order_by(promises.c.id.desc()).limit(most))

    def outcomes_of_newest(self, most: int) -> list[Outcome]:
        """Return the runs of the newest pieces, a piece at a time in order."""
        query = (
            select(
                runs.c.piece_id,
                piece_index.c.serial,
                piece_index.c.model,
                runs.c.number,
                runs.c.verdict,
                runs.c.worst_ratio,
            )
            .join(piece_index, piece_index.c.piece_id == runs.c.piece_id)
            .where(runs.c.piece_id.in_(self._newest_pieces(most)))
            .order_by(runs.c.piece_id, runs.c.number)
        )
        return self._all(Outcome, query)

    def cuts_of_newest(self, most: int) -> list[Cut]:
        """Return the cuts made on the newest pieces, without those amended or never made."""
        query = select(cuts).where(
            cuts.c.kind == "made", cuts.c.piece_id.in_(self._newest_pieces(most))
        )
        return standing(self._all(Cut, query))

    @staticmethod
    def _newest_pieces(most: int) -> Any:
        return select(piece_index.c.piece_id).order_by(piece_index.c.piece_id.desc()).limit(most)
