"""A PostgreSQL server of the tests' own: a folder, a socket, gone afterwards."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from conftest import needs, there
from sqlalchemy import create_engine, text


def programs() -> Path:
    """Return the folder of the server's programs."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    found = str(debian[-1]) if debian else shutil.which("initdb")
    needs(found, "postgresql")
    return Path(there(found)).parent


def control(folder, how):
    """Start or stop the server of a folder: ``start``, ``stop -m immediate``."""
    options = f"-c listen_addresses='' -c fsync=off -k {folder}"
    _run(f'{programs()}/pg_ctl -D {folder}/data -w -l {folder}/log -o "{options}" {how}')


def new_database(postgres, name):
    """Return the URL of an empty database on a server."""
    name = f"d{abs(hash(name))}"
    admin = create_engine(postgres, isolation_level="AUTOCOMMIT")
    with admin.connect() as c:
        c.execute(text(f"create database {name}"))
    admin.dispose()
    return postgres.replace("@/postgres?", f"@/{name}?")


def _run(command):
    words = ["su", "postgres", "-c", command] if os.geteuid() == 0 else ["sh", "-c", command]
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, cwd="/")


@contextlib.contextmanager
def server():
    """Yield the SQLAlchemy URL of an empty database on a new server."""
    # a short path: a socket's name is limited; not under a folder only root may enter
    folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
    root = os.geteuid() == 0
    if root:
        shutil.chown(folder, "postgres")

    try:
        _run(f"{programs()}/initdb -D {folder}/data -A trust -E UTF8 --no-sync")
        control(folder, "start")
        user = "postgres" if root else os.environ.get("USER", "postgres")
        yield f"postgresql+psycopg://{user}@/postgres?host={folder}"
    finally:
        with contextlib.suppress(subprocess.CalledProcessError):
            control(folder, "stop -m immediate")
        shutil.rmtree(folder, ignore_errors=True)
