"""Many sheets in one go: what is done is written down as it is done, so that it can be gone on with."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ...ledger.store.identity import new_id
from ...quantities.durable import put, sync
from ...quantities.errors import HeavyspotError, NotThere
from ...quantities.said import Said
from ..shop import Workshop
from .issue import issue_sheet_of

DONE = "issued.jsonl"


@dataclass
class Reissued:
    """What was issued.

    Attributes
    ----------
    issued : int
        This time.
    before : int
        Had been issued into the folder already.
    refused : list of (str, str)
        Serial and why.
    folder : str
    stopped : bool
    """

    folder: str
    issued: int = 0
    before: int = 0
    refused: list[tuple[str, str]] = field(default_factory=list)
    stopped: bool = False

    @property
    def done(self) -> list[str]:
        """What was done, in lines."""
        lines = [f"{self.issued:,} sheets issued into {self.folder}"]
        if self.before:
            lines.append(f"{self.before:,} were there from before")
        return lines + [f"{serial}: {why}" for serial, why in self.refused[:20]]


def new_reissue(shop: Workshop) -> Path:
    """Return a folder for sheets issued in one go, not made yet."""
    return shop.folder / "reissued" / new_id()


def find_reissue(shop: Workshop, id_: str) -> Path:
    """Return the folder of sheets issued in one go; raises `NotThere` for a name that is none."""
    folder = shop.folder / "reissued" / id_
    if not re.fullmatch("[0-9a-f-]{36}", id_) or not folder.is_dir():
        raise NotThere(Said("refusal.there_is_no_work_of"), remedy=Said("remedy.issue_them_again"))
    return folder


def reissue(
    shop: Workshop,
    serials: Sequence[str],
    folder: Path,
    *,
    by: str = "",
    language: str = "",
    why: str = "",
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Reissued:
    """Issue a sheet of each piece into a folder; pieces whose sheet lies there are left.

    Parameters
    ----------
    why : str
        Why, for the pieces of which a sheet of the same run stands; without it those are refused.
    progress : callable, optional
        Told pieces done and pieces in all.
    stop : callable
        Asked after each sheet.
    """
    folder.mkdir(parents=True, exist_ok=True)
    told = Reissued(str(folder))
    there = _done(folder / DONE)
    with (folder / DONE).open("a", encoding="utf-8") as journal:
        for n, serial in enumerate(serials, start=1):
            if serial in there:
                told.before += 1
            else:
                _one(shop, serial, folder, journal.write, told, by, language, why)
                sync(journal)
            if progress:
                progress(n, len(serials))
            if stop():
                told.stopped = n < len(serials)
                break
    return told


def _one(
    shop: Workshop,
    serial: str,
    folder: Path,
    write: Callable[[str], int],
    told: Reissued,
    by: str,
    language: str,
    why: str,
) -> None:
    part = folder / "sheet.pdf"
    try:
        made = issue_sheet_of(shop, serial, part, by=by, language=language, why=why)
    except HeavyspotError as fault:
        told.refused.append((serial, fault.message))
        return
    put(part, folder / f"sheet-{made.number}.pdf")
    write(json.dumps({"serial": serial, "number": made.number}, ensure_ascii=False) + "\n")
    told.issued += 1


def _done(path: Path) -> set[str]:
    """Return the serials a journal names; a last line torn by a power cut counts for nothing."""
    found = set()
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                found.add(str(json.loads(line)["serial"]))
            except (ValueError, KeyError):
                continue
    return found
