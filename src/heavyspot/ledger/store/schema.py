"""Opening the database: connection settings and schema upgrades."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, inspect, text
from sqlalchemy.engine import ExceptionContext
from sqlalchemy.exc import (
    DataError,
    DBAPIError,
    IntegrityError,
    ProgrammingError,
)

from ...quantities.errors import LedgerAway, LedgerFault

HEAD = "0012"
"""The schema this program works with."""


def open_engine(url: str) -> Engine:
    """Return an engine on an up-to-date schema.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.

    Raises
    ------
    LedgerFault
        The database cannot be opened, or was made by a newer program.
    """
    engine = create_engine(url, pool_pre_ping=not url.startswith("sqlite"))
    event.listen(engine, "handle_error", _in_words)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _sqlite_settings)
    try:
        version = _version(engine)
    except LedgerAway as fault:
        engine.dispose()
        raise LedgerAway(
            f"The ledger cannot be opened: {fault.message}",
            remedy="Check the data folder, its permissions and the disk, or the database's address.",
        ) from None
    if version == HEAD:
        return engine
    if version is not None and version > HEAD:
        raise LedgerFault(
            f"The ledger has schema {version}; this program knows {HEAD}.",
            remedy="Use the newer version of Heavyspot that wrote it.",
        )
    _upgrade(engine)
    return engine


def _in_words(context: ExceptionContext) -> None:
    """Turn what the disk or the database refuses into words; a broken rule of the tables stays what it is."""
    fault = context.sqlalchemy_exception
    broken_rule = isinstance(fault, IntegrityError | ProgrammingError | DataError)
    if isinstance(fault, DBAPIError) and not broken_rule:
        if context.is_pre_ping:  # the pool tries a new connection by itself
            return
        raise LedgerAway(
            f"The ledger cannot be read or written ({str(fault.orig).strip()}); nothing was changed.",
            remedy="Check the disk's free space, the data folder and the database, and try again.",
        ) from None


def _sqlite_settings(connection: Any, _: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=FULL")  # what was acknowledged survives a power cut
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute("PRAGMA busy_timeout=10000")
    cursor.close()


def _version(engine: Engine) -> str | None:
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.execute(text("select version_num from alembic_version")).scalar()


def _upgrade(engine: Engine) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parents[1] / "migrations"))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
