"""Where a check of a large ledger was stopped: a small file beside it, so that the next one goes on there.

The file proves nothing: who can change the ledger can write it too. So it is heeded for a few days, by the
program that wrote it, and for a list that is still the one it was made of; what was not read again is said.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from ..._version import __version__
from ...ledger.trail import Mark, Trail
from ...quantities import durable
from ...quantities.clock import now, time_of

__all__ = ["Mark", "Marks"]

NAME = "verify-mark.json"

HEEDED = timedelta(days=7)
"""What was read longer ago is read again (ours)."""


@dataclass(frozen=True)
class _Kept:
    """What the file holds: the program that wrote it, and mark by part."""

    program: str
    parts: dict[str, dict[str, Any]]


class Marks:
    """The marks of a check's parts.

    Parameters
    ----------
    folder : Path
        The data folder.
    anew : bool
        Heed no mark that is there.
    tell : callable
        Told part and mark where a part goes on from one; None for a mark that does not fit what is there now.

    Attributes
    ----------
    earlier : dict of str to Mark
        What was not read again, by part.
    """

    def __init__(
        self,
        folder: Path,
        *,
        anew: bool = False,
        tell: Callable[[str, Mark | None], None] = lambda part, mark: None,
    ) -> None:
        self._path, self._tell = folder / NAME, tell
        self._marks = {} if anew else _read(self._path)
        self.earlier: dict[str, Mark] = {}

    @contextlib.contextmanager
    def trail(self, part: str) -> Iterator[Trail]:
        """Give the trail of a part; however that part ends, its mark is kept."""
        mark = self._marks.get(part)
        trail = Trail(mark, lambda made: self._keep(part, made), lambda m: self._told(part, m))
        try:
            yield trail
        finally:
            trail.leave()

    def end(self, *parts: str) -> None:
        """Forget the marks of parts that came to their end: the next run reads them from the first on."""
        for part in parts:
            self._marks.pop(part, None)
        self._write()

    def _told(self, part: str, mark: Mark | None) -> None:
        if mark is not None:
            self.earlier[part] = mark
        self._tell(part, mark)

    def _keep(self, part: str, mark: Mark) -> None:
        self._marks[part] = mark
        self._write()

    def _write(self) -> None:
        told = asdict(_Kept(__version__, {part: asdict(m) for part, m in self._marks.items()}))
        # a folder one may only read takes none: then a run that was stopped begins anew
        with contextlib.suppress(OSError):
            if self._marks:
                durable.write_text(self._path, json.dumps(told), private=True)
            else:
                durable.remove(self._path)


def _read(path: Path) -> dict[str, Mark]:
    """Return the marks that may be heeded; a file that says anything else is none."""
    try:
        kept = _Kept(**json.loads(path.read_text(encoding="utf-8")))
        if kept.program != __version__:
            return {}
        marks = {str(part): Mark(**one) for part, one in kept.parts.items()}
        return {part: m for part, m in marks.items() if _is_heeded(m)}
    except (OSError, ValueError, TypeError, AttributeError, RecursionError):
        return {}


def _is_heeded(mark: Mark) -> bool:
    began, at = time_of(mark.began), time_of(mark.at)
    return began <= at <= now() < began + HEEDED and mark.number > 0
