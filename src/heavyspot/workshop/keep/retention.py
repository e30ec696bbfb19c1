"""Keeping what there is: recordings as they were written, and room on the disk for the next ones."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ...ledger.store.archive import beside_of
from ...ledger.trail import Trail
from ...quantities.clock import utc_text
from ...quantities.errors import BadInput
from ..shop import Workshop
from ..shop_file import load_shop_file

LEAST_FREE_MB = 2_000
"""Below this a word is said before each spin: room for about a hundred spins (ours)."""


@dataclass(frozen=True)
class DamagedFile:
    """A recording or document that is not as the ledger has it."""

    entry_id: str
    name: str
    fault: str
    kind: str = "recording"
    table: str = "runs"
    number: int = 0

    def words(self) -> str:
        """Return it in words."""
        if self.fault == "missing":
            return f"{self.name} is missing."
        if self.fault == "unreadable":
            return f"{self.name} cannot be read: its disk refuses."
        return f"{self.name} was changed after it was written."


def check_recordings(
    shop: Workshop,
    progress: Callable[[int, int], None] | None = None,
    trail: Trail | None = None,
) -> Iterator[DamagedFile]:
    """Yield every recording or document that is missing or changed, but of files behind a trail's mark."""
    trail = trail or Trail()
    gone = shop.book.retention.all_gone()
    gone |= {beside_of(name) for name in gone}
    rows = sorted(shop.book.events.files() + shop.book.events.beside())
    behind = trail.skip(map(" ".join, rows))
    for done, row in enumerate(rows[behind:], start=behind + 1):
        entry_id, name, digest = row
        fault = "" if name in gone else shop.book.archive.fault(name, digest)
        if fault:
            trail.failed()
            yield DamagedFile(entry_id, name, fault)
        else:
            trail.passed(" ".join(row))
        if progress:
            progress(done, len(rows))


@dataclass
class Retired:
    """What a shop's rule removed, or would remove.

    Attributes
    ----------
    recordings : int
    bytes : int
    before : str
        Recordings made earlier than this may go.
    """

    recordings: int = 0
    bytes: int = 0
    before: str = ""


def retire_recordings(
    shop: Workshop,
    *,
    days: int | None = None,
    by: str = "",
    dry_run: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Retired:
    """Remove raw recordings older than the shop's rule says; curves, verdicts and sheets stay for ever.

    Kept in any case: recordings of pieces that came back or have a claim and, unless the shop says otherwise, the
    last run of each piece.

    Parameters
    ----------
    days : int, optional
        Age; the shop's own rule when not given.

    Raises
    ------
    BadInput
        The shop keeps all recordings.
    """
    settings = load_shop_file(shop.book.folder)
    days = settings.keep_recordings_days if days is None else days
    if days <= 0:
        raise BadInput(
            "This shop keeps all recordings.", remedy="Set keep_recordings_days in shop.toml."
        )
    before = utc_text(datetime.now(UTC) - timedelta(days=days))
    told = Retired(before=before)
    rows = shop.book.retention.old(before, keep_last=settings.keep_last_recording)
    for done, r in enumerate(rows, start=1):
        told.recordings += 1
        if not dry_run:
            why = f"older than {days} days"
            shop.book.retention.retire(r.run_id, r.recording, by=by, why=why)
            told.bytes += shop.book.archive.remove(r.recording)
        if progress:
            progress(done, len(rows))
    return told


def little_room(folder: Path) -> str:
    """Return a word when the data folder's disk is nearly full; empty while there is room."""
    free = shutil.disk_usage(folder).free // 1_000_000
    if free >= LEAST_FREE_MB:
        return ""
    return (
        f"The disk is nearly full: {free:,} MB free. Make room, or move the data folder; "
        "a spin that runs is still kept."
    )


def waiting_recordings(shop: Workshop) -> list[str]:
    """Return the names of what waits here to be handed over; none where no location is set."""
    return list(shop.book.archive.waiting())


def hand_recordings_over(
    shop: Workshop, *, progress: Callable[[int, int], None] | None = None
) -> tuple[int, str]:
    """Hand recordings and documents over to the location in the shop file, read back.

    Returns
    -------
    int
        Files that went.
    str
        Where they went to; empty when no location is set.
    """
    archive = shop.book.archive
    return archive.hand_over(progress=progress), archive.url
