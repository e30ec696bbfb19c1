"""Questions of somebody's own: asked of a copy, in a process of their own (`asking.py`), two at a time at most."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path

from ...quantities import durable
from ...quantities.errors import BadInput, LedgerFault
from ...quantities.said import Said
from ..shop import Workshop
from .asking import MEMORY_MB, Cell
from .store import FILE, busy

MOST_ROWS = 10_000
LONGEST_S = 20.0
"""Rows of an answer, and how long a question may take."""

AT_ONCE = 2
"""Questions in the same moment; one more is sent away."""

COPY = "insight-asked"
"""Beginning of the name of the copy that questions are asked of: they never hold up who brings it up to date."""

_asked: Counter[Path] = Counter()
"""How many questions are being asked of each copy: it stays so long."""

_places = threading.BoundedSemaphore(AT_ONCE)


def ask(shop: Workshop, question: str) -> tuple[list[str], list[tuple[Cell, ...]]]:
    """Return columns and rows of a question of one's own: SQL over the views, read only, nothing else reached.

    Raises
    ------
    BadInput
        It is no question, reaches for files, takes too long or too much memory, or two others are being answered.
    LedgerFault
        There are no statistics yet.
    """
    if not _places.acquire(blocking=False):
        raise BadInput(
            Said("refusal.two_questions_are_being_answered"),
            remedy=Said("remedy.ask_again_in_a_moment"),
        )
    try:
        path = _copied(shop.book.folder)
        try:
            told = _apart({"path": str(path), "question": question, "most": MOST_ROWS})
        finally:
            with busy:
                _asked[path] -= 1
    finally:
        _places.release()
    fault = str(told.get("fault", ""))
    if fault:
        raise _refusal(fault, str(told.get("why", "")))
    names, rows = told.get("names"), told.get("rows")
    assert isinstance(names, list) and isinstance(rows, list)
    return [str(n) for n in names], [tuple(r) for r in rows]


def _copied(folder: Path) -> Path:
    """Return a copy of the statistics as they are, held for one question: made anew when they changed."""
    with busy:
        source = folder / FILE
        if not source.exists():
            raise LedgerFault(
                Said("refusal.there_are_no_statistics_yet"),
                remedy=Said("remedy.open_insight_first"),
            )
        stand = source.stat()
        path = folder / f"{COPY}-{stand.st_mtime_ns:x}-{stand.st_size:x}.duckdb"
        if not path.exists():
            part = path.with_suffix(".part")
            durable.remove(part)
            durable.make_private(part)
            shutil.copyfile(source, part)
            durable.replace(part, path)
            for old in folder.glob(f"{COPY}-*"):
                if old != path and _asked[old] <= 0:
                    _removed(old)
        _asked[path] += 1
        return path


def _removed(path: Path) -> None:
    try:
        durable.remove(path)
    except OSError:  # a question still reads it: the next one removes it
        return


def _apart(asked: dict[str, object]) -> dict[str, object]:
    words = [sys.executable, "-I", "-m", f"{__package__}.asking"]
    try:
        done = subprocess.run(
            words,
            input=json.dumps(asked),
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return {"fault": "time"}
    except OSError as fault:
        return {"fault": "away", "why": f"No process could be started ({fault.strerror})."}
    if done.returncode != 0:
        return {"fault": "memory"}  # killed, or out of memory where it could not say so
    told: dict[str, object] = json.loads(done.stdout)
    return told


def _refusal(fault: str, why: str) -> BadInput | LedgerFault:
    narrow = Said("remedy.narrow_it_down")
    if fault == "away":
        return LedgerFault(why, remedy=Said("remedy.open_insight_first"))
    if fault == "time":
        return BadInput(
            Said("refusal.the_question_took_more_than", {"longest_s": LONGEST_S}), remedy=narrow
        )
    if fault == "memory":
        return BadInput(
            Said("refusal.the_question_took_more_than_mb", {"memory_mb": MEMORY_MB}), remedy=narrow
        )
    if fault == "large":
        return BadInput(Said("refusal.the_answer_is_larger_than"), remedy=narrow)
    if fault == "kind":
        return BadInput(
            Said("refusal.that_is_not_one_select"),
            remedy=Said("remedy.ask_one_question_beginning_with"),
        )
    return BadInput(why, remedy=Said("remedy.docs_reference_insight_md_lists"))
