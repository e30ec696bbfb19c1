"""PostgreSQL dies, or the line to it, at a statement: the tests' own server, struck and started again."""

import contextlib
import json
import os
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

from ledger.postgres import control
from psycopg import OperationalError
from sqlalchemy import event, text

from heavyspot.ledger.store.schema import connected


def on_database(folder, url):
    """Let a data folder's ledger be there."""
    (folder / "shop.toml").write_text(f"ledger_url = {json.dumps(url)}\n")


def cut_line(postgres, connection):
    """End the server's side of a connection."""
    pid = connection.connection.dbapi_connection.info.backend_pid
    engine = connected(postgres)
    with engine.connect() as c:
        c.execute(text("select pg_terminate_backend(:p, 5000)"), {"p": pid})
    engine.dispose()


def kill_server(postgres, connection):
    """Kill the server as the system does when memory ends, and start it again."""
    home = postgres.partition("host=")[2]
    pid = Path(home, "data/postmaster.pid").read_text().split()[0]
    os.kill(int(pid), signal.SIGKILL)
    for _ in range(40):  # its own processes end a moment after it
        with contextlib.suppress(subprocess.CalledProcessError):
            control(home, "start")
            return
        time.sleep(0.25)
    raise AssertionError("PostgreSQL did not start again")


def lose_answer(_, connection):
    """Let the commit that comes next be written and its answer be lost: nobody here can know that it was."""
    engine = connection.engine
    really = engine.dialect.do_commit

    def commit(raw):
        engine.dialect.do_commit = really
        really(raw)
        raise OperationalError("server closed the connection unexpectedly")

    engine.dialect.do_commit = commit


@contextlib.contextmanager
def striking(postgres, shop, how, at) -> Iterator[list[int]]:
    """Strike before a statement of a shop's, or before a commit; gives a list of one: how many there were."""
    count, engine = [0], shop.book._engine

    def strike(connection, *_):
        count[0] += 1
        if count[0] == at:
            how(postgres, connection)

    for moment in ("before_cursor_execute", "commit"):
        event.listen(engine, moment, strike)
    try:
        yield count
    finally:
        for moment in ("before_cursor_execute", "commit"):
            event.remove(engine, moment, strike)
