"""Keeping what there is: recordings as they were written, and room on the disk for the next ones."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

from ..ledger.archive import digest_of
from .shop import Workshop

LEAST_FREE_MB = 2_000
"""Below this a word is said before each spin: room for about a hundred spins (ours)."""


def check_recordings(
    shop: Workshop, progress: Callable[[int, int], None] | None = None
) -> Iterator[tuple[str, str]]:
    """Yield (entry, what is wrong) for every recording or document that is missing or changed."""
    rows = shop.book.files()
    for done, (run_id, name, digest) in enumerate(rows, start=1):
        path = shop.book.folder / name
        if not path.exists():
            yield run_id, f"{name} is missing."
        elif digest_of(path) != digest:
            yield run_id, f"{name} was changed after it was written."
        if progress:
            progress(done, len(rows))


def little_room(folder: Path) -> str:
    """Return a word when the data folder's disk is nearly full; empty while there is room."""
    free = shutil.disk_usage(folder).free // 1_000_000
    if free >= LEAST_FREE_MB:
        return ""
    return (
        f"The disk is nearly full: {free:,} MB free. Make room, or move the data folder; "
        "a spin that runs is still kept."
    )
