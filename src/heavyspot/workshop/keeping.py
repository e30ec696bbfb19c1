"""Keeping what there is: are the recordings as they were written?"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ..ledger.archive import digest_of
from .shop import Workshop


def check_recordings(
    shop: Workshop, progress: Callable[[int, int], None] | None = None
) -> Iterator[tuple[str, str]]:
    """Yield (run, what is wrong) for every recording that is missing or not as it was written."""
    rows = shop.book.recordings()
    for done, (run_id, name, digest) in enumerate(rows, start=1):
        path = shop.book.folder / name
        if not path.exists():
            yield run_id, f"Recording {name} is missing."
        elif digest_of(path) != digest:
            yield run_id, f"Recording {name} was changed after it was written."
        if progress:
            progress(done, len(rows))
