"""What a run teaches, on its way into the ledger."""

from __future__ import annotations

from dataclasses import dataclass, field

from sqlalchemy import Table

from ..store.entries import Row
from ..store.tables import cut_errors, promises, responses


@dataclass(frozen=True)
class Learnt:
    """What a run teaches, as rows: responses of its planes, errors of its cuts, chances kept."""

    responses: list[Row] = field(default_factory=list)
    cut_errors: list[Row] = field(default_factory=list)
    promises: list[Row] = field(default_factory=list)

    def tables(self) -> list[tuple[Table, list[Row]]]:
        """Return each table with its rows."""
        return [
            (responses, self.responses),
            (cut_errors, self.cut_errors),
            (promises, self.promises),
        ]
