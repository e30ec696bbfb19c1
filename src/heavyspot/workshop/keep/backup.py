"""Backups that are known to be good: taken while the shop works, proved by reading them back.

A backup is a folder: the ledger as one file, the recordings beside it, the shop's settings and its key. The ledger
comes through SQLite's own online backup, so that it is one consistent moment however busy the shop is; a
recording never changes, so only new ones are copied. A recording that is not as the ledger has it costs itself
alone: it is named, and all the others are kept.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from ...ledger.book import Book
from ...ledger.exchange.upgrade import upgrade_ledger
from ...ledger.store.archive import beside_of, fault_of, is_name
from ...ledger.store.entries import now_utc
from ...quantities import durable
from ...quantities.errors import LedgerFault
from ..heads import FILE as HEADS
from ..heads import add_to_file, check_heads, new_head, read_heads
from ..shop import Workshop
from ..shop_file import load_shop_file
from .retention import DamagedFile

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
        There and whole, and copied this time.
    damaged : tuple of DamagedFile
        What the ledger names and is whole neither where it came from nor where it went to.
    branch : str
        Name under which a restored ledger goes on; it stands in its sheets' numbers.
    notes : tuple of str
        What else has to be said.
    """

    folder: str
    entries: int
    head: str
    recordings: int
    copied: int
    damaged: tuple[DamagedFile, ...] = ()
    branch: str = ""
    notes: tuple[str, ...] = ()

    def as_json(self) -> dict[str, object]:
        """Return it as one JSON-ready value."""
        damaged = [{"name": d.name, "fault": d.fault} for d in self.damaged]
        return {**asdict(self), "damaged": damaged}


@dataclass
class _Copied:
    """Recordings, papers and what stands beside them, as they came over."""

    whole: int = 0
    copied: int = 0
    damaged: list[DamagedFile] = field(default_factory=list)


def back_up(shop: Workshop, to: str | Path, *, progress: Progress | None = None) -> BackupTold:
    """Back a shop up into a folder, and prove it by reading it back; an older backup there is renewed.

    The old ledger in the folder stays until the new one is proved. Interrupted, it goes on where it was. Files that
    are not whole are named, not copied; one that the folder still has whole stays there.

    Raises
    ------
    LedgerFault
        The folder cannot be written, lies in the data folder, or what was written does not read back; or the backup
        that is there shows that the ledger's end was cut off since, or that it is another shop's.
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
    _refuse_what_was_cut(shop, target)
    try:
        durable.make_folder(target)
        part = durable.aside(target / LEDGER)
        _copy_ledger(source / LEDGER, part)
        came = _copy_files(*_files(part, source, target), source, target, progress)
        entries, head = _proved(part, progress)
        signed, gone = new_head(shop, entries)
        _copy_settings(source, target)
        durable.put(part, target / LEDGER)
        add_to_file(target / HEADS, signed)
        told = BackupTold(
            str(target), entries, head, came.whole, came.copied, tuple(came.damaged),
            notes=(gone,) if gone else (),
        )  # fmt: skip
        manifest = {"at": now_utc(), **{k: v for k, v in told.as_json().items() if k != "folder"}}
        durable.write_text(target / MANIFEST, json.dumps(manifest, indent=1) + "\n")
    except (OSError, sqlite3.Error) as fault:
        raise LedgerFault(
            f"The backup was not finished ({fault}); the one before it is still there.",
            remedy="Check the folder and its disk, then start it again.",
        ) from None
    return told


def _refuse_what_was_cut(shop: Workshop, target: Path) -> None:
    """Raise `LedgerFault` where the backup that is there holds more, or other, than the ledger."""
    if not (target / HEADS).exists():
        return
    faults = [f for f in check_heads(shop, read_heads(target)) if f.kind != "other key"]
    if faults:
        raise LedgerFault(
            f"{faults[-1].words()} The backup in {target} was not touched.",
            remedy="Restore that backup into an empty folder and compare; to keep both, name another folder.",
        )


def restore(source: str | Path, to: str | Path, *, progress: Progress | None = None) -> BackupTold:
    """Make a data folder from a backup; every link and every digest is compared.

    Files the backup does not have whole are named; all the others come back.

    Raises
    ------
    LedgerFault
        There is no backup, the folder holds a ledger already, or the ledger in the backup is damaged.
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
        durable.make_folder(data, private=True)
        part = durable.aside(data / LEDGER)
        _copy_ledger(backup / LEDGER, part)
        upgrade_ledger(
            f"sqlite:///{part}", None, progress=progress
        )  # the backup itself stays as it is
        came = _copy_files(*_files(part, backup, data), backup, data, progress)
        entries, head = _proved(part, progress)
        _refuse_another_end(part, backup)
        _copy_settings(backup, data)
        durable.put(part, data / LEDGER)
        book = Book(data)
        book.exchange.take_new_id()  # it may be behind what it handed on, and what sheets it issued
        branch = book.exchange.branches()[-1].name
        book.close()
    except (OSError, sqlite3.Error) as fault:
        raise LedgerFault(
            f"The restore was not finished ({fault}).", remedy="Start it again: it goes on."
        ) from None
    damaged = tuple(came.damaged)
    return BackupTold(str(data), entries, head, came.whole, came.copied, damaged, branch)


def _refuse_another_end(ledger: Path, backup: Path) -> None:
    """Raise `LedgerFault` when a backup's ledger is not what the newest head beside it says."""
    heads = read_heads(backup) if (backup / HEADS).exists() else []
    book = _opened(ledger)
    try:
        for head in heads[-1:]:
            if not head.signed_well() or book.exchange.link(head.number) != head.link:
                raise LedgerFault(
                    f"The backup's ledger is not what was signed on {head.at[:10]}: {head.number:,} entries "
                    f"up to link {head.link}.",
                    remedy="Take another backup; to restore this one all the same, move heads.jsonl away.",
                )
    finally:
        book.close()


def _copy_ledger(source: Path, to: Path) -> None:
    """Copy one consistent moment of a ledger, through SQLite."""
    durable.remove(to)
    durable.make_private(to)  # names, customers, hashed passwords: its owner's alone
    with sqlite3.connect(f"file:{source}?mode=ro", uri=True) as old, sqlite3.connect(to) as new:
        old.backup(new, pages=2000)
        new.execute("pragma journal_mode=delete")
    old.close()
    new.close()
    durable.sync_file(to)


def _files(
    ledger: Path, source: Path, to: Path
) -> tuple[list[tuple[str, str, str]], dict[str, str]]:
    """Return entry, name and digest of the files a backup holds, and the digests of what stands beside them.

    Not those that the shop's rule removed; and where recordings lie at a location of their own, only those that
    still wait here: the location has its own backup.
    """
    book = _opened(ledger)
    gone = book.retention.all_gone()
    rows = [r for r in book.events.files() if r[1] not in gone]
    beside = {name: digest for _, name, digest in book.events.beside()}
    book.close()
    if load_shop_file(source).recordings_url:
        rows = [r for r in rows if any((f / r[1]).exists() for f in (source, to))]
    return rows, beside


def _opened(ledger: Path) -> Book:
    return Book(ledger.parent, f"sqlite:///{ledger}")


def _copy_files(
    files: list[tuple[str, str, str]],
    beside: dict[str, str],
    source: Path,
    to: Path,
    progress: Progress | None,
) -> _Copied:
    """Copy what the ledger names and the target has not whole; each is read back from its disk."""
    came = _Copied()
    for done, (entry_id, name, digest) in enumerate(files, start=1):
        if not is_name(name):  # a forged entry: nothing is read or written outside the archive
            came.damaged.append(DamagedFile(entry_id, name, "missing"))
            continue
        if not _fault(to / name, digest):
            came.whole += 1
        elif fault := _fault(source / name, digest):
            came.damaged.append(DamagedFile(entry_id, name, fault))
        else:
            _copy(source / name, to / name)
            if _fault(to / name, digest):
                raise OSError(f"{name} does not read back")
            came.whole += 1
            came.copied += 1
        if progress:
            progress("recordings", done, len(files))
    _copy_beside(files, beside, source, to, came)
    return came


def _copy_beside(
    files: list[tuple[str, str, str]], beside: dict[str, str], source: Path, to: Path, came: _Copied
) -> None:
    """Copy what says the channels of the recordings; where a digest is known, only what fits it."""
    for entry_id, recording, _ in files:
        name = beside_of(recording)
        digest = beside.get(name, "")
        if not is_name(name) or (_has_bytes(to / name) and not digest):
            continue
        if not digest:
            if (source / name).exists():
                _copy(source / name, to / name)
        elif _fault(to / name, digest):
            if fault := _fault(source / name, digest):
                came.damaged.append(DamagedFile(entry_id, name, fault))
            else:
                _copy(source / name, to / name)


def _copy(source: Path, to: Path) -> None:
    durable.make_folder(to.parent)
    durable.copy(source, to)


def _has_bytes(path: Path) -> bool:
    return path.exists() and path.stat().st_size > 0


def _fault(path: Path, digest: str) -> str:
    """Return what is wrong with a file as its disk has it, not as the system remembers it."""
    if path.is_file():
        durable.forget(path)
    return fault_of(path, digest)


def _copy_settings(source: Path, to: Path) -> None:
    for name in SETTINGS:
        if (source / name).exists():
            durable.copy(source / name, to / name, private=name.endswith("key.pem"))


def _proved(ledger: Path, progress: Progress | None) -> tuple[int, str]:
    """Read a copied ledger back: its whole chain; on its disk when this returns."""
    book = _opened(ledger)
    try:

        def show(done: int, total: int) -> None:
            if progress:
                progress("reading back", done, total)

        broken = next(book.check_chain(show), None)
        if broken is not None:
            raise LedgerFault(broken.words(), remedy="heavyspot verify names all of them.")
        return book.head()
    finally:
        book.close()
        for suffix in ("-wal", "-shm"):
            durable.remove(ledger.with_name(ledger.name + suffix))
        durable.sync_file(ledger)


def last_backup(folder: Path) -> dict[str, Any]:
    """Return a backup folder's manifest; empty when there is none."""
    path = folder / MANIFEST
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return found
