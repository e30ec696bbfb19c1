"""Opening the database: connection settings, and the schema this program works with.

A ledger of another schema is refused, never changed in passing: `heavyspot.ledger.exchange.upgrade` is a step of
its own. An empty database is given the tables, all of them or none.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import ExceptionContext
from sqlalchemy.exc import (
    ArgumentError,
    DataError,
    DBAPIError,
    IntegrityError,
    ProgrammingError,
)

from ...quantities.errors import BadInput, LedgerAway, LedgerFault, OldLedger
from .chain import lock_chain

HEAD = "0023"
"""The schema this program works with."""


def open_engine(url: str) -> Engine:
    """Return an engine on the schema of this program; an empty database gets it.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.

    Raises
    ------
    LedgerFault
        The database cannot be opened, or was made by a newer program.
    OldLedger
        It was made by an older program; nothing was changed.
    """
    engine = connected(url)
    try:
        version = version_of(engine)
        if version is None:
            with all_or_nothing(url) as c:
                if not light(c):  # SQLite's own lock is held already
                    lock_chain(c)
                if schema_of(c) is None:  # another program may just have made it
                    migrate(c)
        elif version != HEAD:
            refuse_newer(engine, version)
            raise OldLedger(
                f"The ledger was written by an earlier program (schema {version}; this one works with {HEAD}).",
                remedy="heavyspot upgrade copies it, proves the copy and brings it up to date; "
                "serve --upgrade does so before it begins. Nothing was changed.",
            )
    except BaseException:
        engine.dispose()
        raise
    return engine


def connected(url: str) -> Engine:
    """Return an engine with this program's settings, whatever schema is there.

    Raises
    ------
    BadInput
        The address is none of a database that this installation can use.
    """
    try:
        engine = create_engine(url, pool_pre_ping=not url.startswith("sqlite"))
    except (ArgumentError, ImportError) as fault:
        raise BadInput(
            f"That is no address of a database ({str(fault).splitlines()[0]}).",
            remedy="Write it like postgresql+psycopg://shop@db/heavyspot; it asks for heavyspot[postgres].",
        ) from None
    event.listen(engine, "handle_error", _in_words)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _sqlite_settings)
    return engine


def version_of(engine: Engine) -> str | None:
    """Return the schema that is there; None for an empty database. Raises `LedgerAway` when it cannot be opened."""
    try:
        with engine.connect() as c:
            return schema_of(c)
    except LedgerAway as fault:
        raise LedgerAway(
            f"The ledger cannot be opened: {fault.message}",
            remedy="Check the data folder, its permissions and the disk, or the database's address.",
        ) from None


def refuse_newer(engine: Engine, version: str) -> None:
    """Raise `LedgerFault` for a ledger that a newer program has brought to its own schema."""
    if version <= HEAD:
        return
    program = ""
    with engine.connect() as c:
        known = inspect(c).get_columns("upgrades") if _has(c, "upgrades") else []
        if {"schema", "program"} <= {str(k.get("name")) for k in known}:
            newest = text("select program from upgrades where schema = :s order by at desc limit 1")
            program = str(c.execute(newest, {"s": version}).scalar() or "")
    needs = f"{program} or newer" if program else "in the newer version that brought it there"
    raise LedgerFault(
        f"The ledger has schema {version}; this program knows {HEAD}.",
        remedy=f"Use Heavyspot {needs}; or, to go back, the copy of the ledger that one made before.",
    )


@contextmanager
def all_or_nothing(url: str) -> Iterator[Connection]:
    """Give one transaction that holds changes of tables too: cut at any moment, all of it is there or nothing.

    SQLite's driver would else commit each change of a table by itself. Keys to other tables are compared at its
    end, as tables may have to be made anew meanwhile.

    Raises
    ------
    LedgerFault
        An entry names another that is not there.
    """
    engine = connected(url)
    light = engine.dialect.name == "sqlite"
    try:
        with engine.connect() as c:
            if light:
                c.execution_options(isolation_level="AUTOCOMMIT")
                c.exec_driver_sql("PRAGMA foreign_keys=OFF")
                c.commit()
            with c.begin():
                if light:
                    c.exec_driver_sql("BEGIN IMMEDIATE")
                yield c
                loose = c.exec_driver_sql("PRAGMA foreign_key_check").first() if light else None
                if loose is not None:
                    raise LedgerFault(
                        f"An entry of {loose[0]} names one of {loose[2]} that is not there; nothing was changed.",
                        remedy="heavyspot verify, with the program of before, names what is wrong.",
                    )
    finally:
        engine.dispose()


def light(c: Connection) -> bool:
    """Whether it is SQLite, where a transaction of `all_or_nothing` holds other writers off from its start."""
    return c.dialect.name == "sqlite"


def migrate(c: Connection, to: str = "head") -> None:
    """Bring the tables to a schema, within a transaction of `all_or_nothing`."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parents[1] / "migrations"))
    config.attributes["connection"] = c
    command.upgrade(config, to)


def _in_words(context: ExceptionContext) -> None:
    """Turn what the disk or the database refuses into words; a broken rule of the tables stays what it is."""
    fault = context.sqlalchemy_exception
    broken_rule = isinstance(fault, IntegrityError | ProgrammingError | DataError)
    if isinstance(fault, DBAPIError) and not broken_rule:
        if context.is_pre_ping:  # the pool tries a new connection by itself
            return
        at_commit = context.connection is not None and context.statement is None
        if at_commit and context.dialect.name != "sqlite":
            # the answer is lost, and whether it was written only the database knows
            raise LedgerAway(
                f"The database gave no answer ({str(fault.orig).strip()}): what was asked may be written, or not.",
                remedy="Look whether it is there before it is written again.",
            ) from None
        raise LedgerAway(
            f"The ledger cannot be read or written ({str(fault.orig).strip()}); nothing was changed.",
            remedy="Check the disk's free space, the data folder and the database, and try again.",
        ) from None


def _sqlite_settings(connection: Any, _: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=FULL")  # what was acknowledged survives a power cut
    cursor.execute(
        "PRAGMA fullfsync=ON"
    )  # macOS: down to the disk, not into the drive's own memory
    cursor.execute("PRAGMA checkpoint_fullfsync=ON")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute("PRAGMA busy_timeout=10000")
    cursor.close()


def schema_of(c: Connection) -> str | None:
    """Return the schema that is there, as a transaction sees it; None for an empty database."""
    if not _has(c, "alembic_version"):
        return None
    found = c.execute(text("select version_num from alembic_version")).scalar()
    return str(found) if found else None


def _has(c: Connection, table: str) -> bool:
    return inspect(c).has_table(table)
