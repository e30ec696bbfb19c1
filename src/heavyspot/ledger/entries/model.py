"""Models in the ledger: each change is a new version."""

from __future__ import annotations

from sqlalchemy import select

from ...quantities.errors import Taken
from ...quantities.said import Said
from ..records import Content, Model
from ..store.entries import Entries, add_entry, newest, refuse_stale, transaction
from ..store.tables import models


class Models(Entries):
    """What kinds of cartridge and rotor there are."""

    def add(
        self,
        name: str,
        content: Content,
        *,
        kind: str = "cartridge",
        by: str = "",
        seen: str | None = None,
    ) -> str:
        """Add a model, or a new version of it; returns its id.

        Parameters
        ----------
        seen : str, optional
            Identifier of the version it was made from; empty: there was none.

        Raises
        ------
        Taken
            The name is taken by a model of another kind.
        Stale
            Somebody else made a version meanwhile.
        """
        with transaction(self._engine) as c:
            old = newest(c, models, models.c.name == name)
            refuse_stale(old, seen)
            if old and old["kind"] != kind:
                raise Taken(
                    Said("refusal.is_already_a_model_of", {"name": name, "old": old["kind"]}),
                    remedy=Said("remedy.give_this_one_another_name"),
                )
            values = {"name": name, "kind": kind, "content": content, "by": by}
            return add_entry(c, models, replaces=old["id"] if old else None, **values)

    def newest(self, name: str) -> Model | None:
        """Return the newest version of a model, or None."""
        return self._newest(Model, models, models.c.name == name)

    def names(self, kind: str = "cartridge") -> list[str]:
        """Return the names of all models of a kind."""
        query = select(models.c.name).where(models.c.kind == kind).distinct()
        with self._engine.connect() as c:
            return [r[0] for r in c.execute(query.order_by(models.c.name))]
