"""A log a program can read: one JSON value a line, each with its request's id, and no secret in it.

Written are method, the route (not what was asked with it), status, how long it took, and who. Never written are
headers, cookies, bodies, queries, or what a person typed.
"""

from __future__ import annotations

import json
import logging
import sys
from contextvars import ContextVar
from logging.handlers import RotatingFileHandler
from pathlib import Path

from ...quantities.clock import now, utc_text
from ...quantities.durable import make_private
from ...quantities.errors import BadInput

LARGEST, KEPT = 10_000_000, 5
"""Bytes of a log file, and how many are kept (ours)."""

REQUEST: ContextVar[str] = ContextVar("request", default="")
"""Id of the request that is being answered; empty outside one."""

log = logging.getLogger("heavyspot")

Field = str | int | float | None


def say(event: str, level: int = logging.INFO, **fields: Field) -> None:
    """Write a line: what happened, and its values."""
    log.log(level, event, extra={"fields": fields})


class AsJson(logging.Formatter):
    """One line of JSON a record."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        said: dict[str, object] = {
            "at": utc_text(now()),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        if request := REQUEST.get():
            said |= {"request": request}
        said |= {k: v for k, v in getattr(record, "fields", {}).items() if v is not None}
        if record.exc_info and record.exc_info[0] is not None:
            said |= {"fault": record.exc_info[0].__name__, "trace": _places(record)}
        return json.dumps(said, ensure_ascii=False)


def _places(record: logging.LogRecord) -> list[str]:
    """Return where it happened, without the fault's own words: they may quote what a person typed."""
    import traceback

    assert record.exc_info
    found = traceback.extract_tb(record.exc_info[2])
    return [f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in found[-12:]]


def log_to(place: str) -> None:
    """Write the log to a file, or to standard error for ``-``.

    Raises
    ------
    BadInput
        The file cannot be written.
    """
    handler: logging.Handler
    if place == "-":
        handler = logging.StreamHandler(sys.stderr)
    else:
        try:
            make_private(Path(place))
            handler = RotatingFileHandler(
                place, maxBytes=LARGEST, backupCount=KEPT, encoding="utf-8"
            )
        except OSError as fault:
            raise BadInput(
                f"The log {place} cannot be written ({fault.strerror}).",
                remedy="Name another file.",
            ) from None
    handler.setFormatter(AsJson())
    log.handlers[:] = [handler]
    log.setLevel(logging.INFO)
    log.propagate = False
    for name in (
        "uvicorn.error",
        "uvicorn",
    ):  # its own words may quote a request: only its warnings' places
        logging.getLogger(name).handlers[:] = []
