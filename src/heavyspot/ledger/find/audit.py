"""Who wrote what, the newest first: every entry by its link, whichever table it is of."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Engine, select

from ..store.chain import rows_by_id
from ..store.tables import arrivals, chain, logins, metadata

LOOKED_AT = 20_000
"""Links that are looked through for entries of one person, before a page ends."""


@dataclass(frozen=True)
class Written:
    """One entry.

    Attributes
    ----------
    number : int
        Of its link.
    at, by, why : str
    table : str
    of : str
        What it is of, where it says so: a serial, a name, a number.
    amends : bool
        Whether it stands in for an earlier one.
    arrived : bool
        Whether it came from another building.
    """

    number: int
    at: str
    by: str
    why: str
    table: str
    of: str
    amends: bool
    arrived: bool


@dataclass(frozen=True)
class LoggedIn:
    """A login: who, when, until when, and how."""

    at: str
    name: str
    until: str
    how: str
    ended: bool


NAMED = ("serial", "name", "number", "label", "of", "recording", "customer", "kind")


class Audit:
    """Reads only."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def written(
        self, *, before: int = 0, by: str = "", table: str = "", most: int = 100
    ) -> tuple[list[Written], int]:
        """Return the newest entries, and the link to go on before; 0 at the end.

        Parameters
        ----------
        before : int
            Only links below it; 0: from the newest on.
        by : str
            Only of a person: part of the name.
        table : str
            Only of a table.
        """
        found: list[Written] = []
        at, looked = before, 0
        while len(found) < most and looked < LOOKED_AT:
            part = self._part(at, by.casefold(), table)
            if part is None:
                return found, 0
            rows, at, count = part
            looked += count
            for row in rows:
                found.append(row)
                if len(found) == most:
                    return found, row.number
        return found, at

    def _part(self, before: int, by: str, table: str) -> tuple[list[Written], int, int] | None:
        links = select(chain).order_by(chain.c.number.desc()).limit(500)
        if before:
            links = links.where(chain.c.number < before)
        if table:
            links = links.where(chain.c.of_table == table)
        with self._engine.connect() as c:
            part = c.execute(links).all()
            if not part:
                return None
            rows: dict[tuple[str, str], dict[str, object]] = {}
            for name in {link.of_table for link in part} & set(metadata.tables):
                ids = [link.entry_id for link in part if link.of_table == name]
                rows |= {(name, k): r for k, r in rows_by_id(c, metadata.tables[name], ids).items()}
            came = select(arrivals.c.entry_id).where(
                arrivals.c.entry_id.in_([link.entry_id for link in part])
            )
            elsewhere = {r.entry_id for r in c.execute(came)}
        found = []
        for link in part:
            row = rows.get((link.of_table, link.entry_id), {})
            who = str(row.get("by") or row.get("operator") or "")
            if by and by not in who.casefold():
                continue
            of = next((str(row[k]) for k in NAMED if row.get(k)), "")
            found.append(
                Written(
                    link.number, str(row.get("at") or ""), who, str(row.get("why") or ""), link.of_table,
                    of[:80], bool(row.get("replaces")), link.entry_id in elsewhere,
                )
            )  # fmt: skip
        return found, int(part[-1].number), len(part)

    def logins(self, most: int = 100) -> list[LoggedIn]:
        """Return the newest logins."""
        with self._engine.connect() as c:
            newest = c.execute(select(logins).order_by(logins.c.id.desc()).limit(3 * most)).all()
        ended = {r.replaces for r in newest if r.replaces}
        begun = [r for r in newest if not r.replaces][:most]
        return [
            LoggedIn(r.at, r.name, r.until, _how(r.why, r.passkey), r.id in ended) for r in begun
        ]


def _how(why: str, passkey: str | None) -> str:
    if passkey:
        return "passkey"
    return "pin" if why == "pin" else "password"
