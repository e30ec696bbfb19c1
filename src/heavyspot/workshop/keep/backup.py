"""Backups that are known to be good: taken while the shop works, proved by reading them back.

A backup is a folder: the ledger as one file, the recordings beside it, the shop's settings and its key. The ledger
comes through SQLite's own online backup, so that it is one consistent moment however busy the shop is; a
recording never changes, so only new ones are copied.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...ledger.book import Book
from ...ledger.store.archive import digest_of
from ...ledger.store.entries import now_utc
from ...quantities import durable
from ...quantities.errors import LedgerFault
from ..shop import Workshop
from ..shop_file import load_shop_file

LEDGER, MANIFEST = "ledger.sqlite", "backup.json"
SETTINGS = ("shop.toml", "shop-key.pem", "shop-certificate.pem", "station.json")

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class BackupTold:
    """What a backup, or a restore, did.

    Attributes
    ----------
    folder : str
    entries : int
        Of the ledger's chain.
    head : str
        Its newest link.
    recordings, copied : int
        There in all, and copied this time.
    """

    folder: str
    entries: int
    head: str
    recordings: int
    copied: int


def back_up(shop: Workshop, to: str | Path, *, progress: Progress | None = None) -> BackupTold:
    """Back a shop up into a folder, and prove it by reading it back; an older backup there is renewed.

    The old ledger in the folder stays until the new one is proved. Interrupted, it goes on where it was.

    Raises
    ------
    LedgerFault
        The folder cannot be written, lies in the data folder, or what was written does not read back.
    """
    target = Path(to).resolve()
    source = shop.book.folder.resolve()
    if not (source / LEDGER).exists():
        raise LedgerFault(
            "The ledger is not SQLite in the data folder.",
            remedy="Use the database's own backup, or heavyspot move it into a folder first.",
        )
    if target == source or source in target.parents:
        raise LedgerFault(
            "The backup would lie in the data folder itself.",
            remedy="Name a folder on another disk.",
        )
    try:
        target.mkdir(parents=True, exist_ok=True)
        part = durable.aside(target / LEDGER)
        _copy_ledger(source / LEDGER, part)
        files = _files(part, source, target)
        copied = _copy_files(files, source, target, progress)
        entries, head = _proved(part, target, files, progress)
        for name in SETTINGS:
            if (source / name).exists():
                shutil.copy2(source / name, target / name)
        durable.put(part, target / LEDGER)
        told = BackupTold(str(target), entries, head, len(files), copied)
        manifest = {"at": now_utc(), **{k: v for k, v in told.__dict__.items() if k != "folder"}}
        durable.write_text(target / MANIFEST, json.dumps(manifest, indent=1) + "\n")
    except (OSError, sqlite3.Error) as fault:
        raise LedgerFault(
            f"The backup was not finished ({fault}); the one before it is still there.",
            remedy="Check the folder and its disk, then start it again.",
        ) from None
    return told


def restore(source: str | Path, to: str | Path, *, progress: Progress | None = None) -> BackupTold:
    """Make a data folder from a backup; every link and every digest is compared.

    Raises
    ------
    LedgerFault
        There is no backup, the folder holds a ledger already, or the backup is damaged.
    """
    backup, data = Path(source).resolve(), Path(to).resolve()
    if not (backup / LEDGER).exists():
        raise LedgerFault(f"{backup} holds no backup.", remedy="Name the folder backup wrote to.")
    if (data / LEDGER).exists():
        raise LedgerFault(
            f"{data} holds a ledger already; nothing was touched.",
            remedy="Restore into an empty folder, look at it, then put it in place.",
        )
    try:
        data.mkdir(parents=True, exist_ok=True)
        part = durable.aside(data / LEDGER)
        _copy_ledger(backup / LEDGER, part)
        files = _files(part, backup, data)
        copied = _copy_files(files, backup, data, progress)
        entries, head = _proved(part, data, files, progress, every=True)
        for name in SETTINGS:
            if (backup / name).exists():
                shutil.copy2(backup / name, data / name)
        durable.put(part, data / LEDGER)
        book = Book(data)
        book.exchange.take_new_id()  # it may be behind what it handed on, or what others got from it
        book.close()
    except (OSError, sqlite3.Error) as fault:
        raise LedgerFault(
            f"The restore was not finished ({fault}).", remedy="Start it again: it goes on."
        ) from None
    return BackupTold(str(data), entries, head, len(files), copied)


def _copy_ledger(source: Path, to: Path) -> None:
    """Copy one consistent moment of a ledger, through SQLite."""
    to.unlink(missing_ok=True)
    with sqlite3.connect(f"file:{source}?mode=ro", uri=True) as old, sqlite3.connect(to) as new:
        old.backup(new, pages=2000)
        new.execute("pragma journal_mode=delete")
    old.close()
    new.close()
    durable.sync_file(to)


def _files(ledger: Path, source: Path, to: Path) -> list[tuple[str, str]]:
    """Return name and digest of the files a backup holds.

    Not those that the shop's rule removed; and where recordings lie at a location of their own, only those that
    still wait here: the location has its own backup.
    """
    book = _opened(ledger)
    gone = book.retention.all_gone()
    rows = [(name, digest) for _, name, digest in book.events.files() if name not in gone]
    book.close()
    if load_shop_file(source).recordings_url:
        rows = [r for r in rows if (source / r[0]).exists() or (to / r[0]).exists()]
    return rows


def _opened(ledger: Path) -> Book:
    return Book(ledger.parent, f"sqlite:///{ledger}")


def _copy_files(
    files: list[tuple[str, str]], source: Path, to: Path, progress: Progress | None
) -> int:
    """Copy what the ledger names and the target lacks; returns how many were copied."""
    copied = 0
    for done, (name, digest) in enumerate(files, start=1):
        for file in (Path(name), Path(name).with_suffix(".json")):
            old, new = source / file, to / file
            if new.exists() or not old.exists():
                continue
            new.parent.mkdir(parents=True, exist_ok=True)
            part = durable.aside(new)
            shutil.copyfile(old, part)
            if str(file) == name and digest_of(part) != digest:
                part.unlink()
                raise LedgerFault(
                    f"{name} is not as the ledger has it.",
                    remedy="heavyspot verify --recordings names every such file.",
                )
            durable.sync_file(part)
            durable.put(part, new)
            copied += str(file) == name
        if progress:
            progress("recordings", done, len(files))
    return copied


def _proved(
    ledger: Path,
    folder: Path,
    files: list[tuple[str, str]],
    progress: Progress | None,
    *,
    every: bool = False,
) -> tuple[int, str]:
    """Read a copied ledger back: its chain, and that each file is there (with `every`, its digest)."""
    book = _opened(ledger)
    try:

        def show(done: int, total: int) -> None:
            if progress:
                progress("reading back", done, total)

        broken = next(book.check_chain(show), None)
        if broken is not None:
            raise LedgerFault(broken.words(), remedy="heavyspot verify names all of them.")
        for name, digest in files:
            path = folder / name
            if not path.exists():
                raise LedgerFault(
                    f"{name} is missing.", remedy="heavyspot verify --recordings names all."
                )
            if every and digest_of(path) != digest:
                raise LedgerFault(f"{name} is damaged.", remedy="Take it from an older backup.")
        return book.head()
    finally:
        book.close()
        for suffix in ("-wal", "-shm"):
            ledger.with_name(ledger.name + suffix).unlink(missing_ok=True)


def last_backup(folder: Path) -> dict[str, Any]:
    """Return a backup folder's manifest; empty when there is none."""
    path = folder / MANIFEST
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return found
