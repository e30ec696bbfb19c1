"""A PostgreSQL server of the tests' own: a folder, a socket, gone afterwards."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from conftest import needs, there


def programs() -> Path:
    """Return the folder of the server's programs."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    found = str(debian[-1]) if debian else shutil.which("initdb")
    needs(found, "postgresql")
    return Path(there(found)).parent


@contextlib.contextmanager
def server():
    """Yield the SQLAlchemy URL of an empty database on a new server."""
    bin_ = programs()
    # a short path: a socket's name is limited; not under a folder only root may enter
    folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
    root = os.geteuid() == 0
    if root:
        shutil.chown(folder, "postgres")

    def run(command):
        words = ["su", "postgres", "-c", command] if root else ["sh", "-c", command]
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL, cwd="/")

    try:
        run(f"{bin_}/initdb -D {folder}/data -A trust -E UTF8 --no-sync")
        options = f"-c listen_addresses='' -c fsync=off -k {folder}"
        run(f'{bin_}/pg_ctl -D {folder}/data -w -l {folder}/log -o "{options}" start')
        user = "postgres" if root else os.environ.get("USER", "postgres")
        yield f"postgresql+psycopg://{user}@/postgres?host={folder}"
    finally:
        with contextlib.suppress(subprocess.CalledProcessError):
            run(f"{bin_}/pg_ctl -D {folder}/data -m immediate stop")
        shutil.rmtree(folder, ignore_errors=True)
