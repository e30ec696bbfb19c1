"""Archived recordings read anew: a sensor was wrong, a limit or the program changed. Results lie beside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from ..._version import __version__
from ...ledger.store.archive import Archive, digest_of
from ...ledger.store.entries import Row
from ...quantities.checks import iso_date, positive
from ...quantities.errors import BadInput, HeavyspotError
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ..cartridge.judging import judge_curves, ruled
from ..cartridge.model_file import parse_model
from ..cartridge.reading import read_recording
from ..cartridge.results import reason_of
from ..cartridge.run_findings import model_findings
from ..shop import Workshop
from .workers import gang

CHUNK = 16
"""Recordings a worker is given at a time: a lost worker costs as many readings."""

SAVED = 64
"""Results that are written at a time: what an interruption costs is read again."""


@dataclass(frozen=True)
class Settings:
    """What is different this time.

    Parameters
    ----------
    gain : float
        What the vibration has to be multiplied by: the sensitivity that was used over the true one.
    limit_g : float or None
        Another limit, over the whole range; None: as it was.
    rig, model, since, until : str
        Which runs: empty for all.
    """

    gain: float = 1.0
    limit_g: float | None = None
    rig: str = ""
    model: str = ""
    since: str = ""
    until: str = ""


@dataclass
class Reread:
    """How far a reread is.

    Attributes
    ----------
    id : str
        To go on with, or to look at.
    done, total : int
    unreadable : int
    stopped : bool
    """

    id: str
    done: int = 0
    total: int = 0
    unreadable: int = 0
    stopped: bool = False


def begin_reread(shop: Workshop, settings: Settings, *, by: str = "") -> str:
    """Write down what is to be read anew, and return its id.

    Raises
    ------
    BadInput
        A number or date is none, or no recording is selected.
    """
    if not 1e-3 <= positive("gain", settings.gain) <= 1e3:
        raise BadInput(f"A gain of {settings.gain:g} is no sensor's.", remedy="Near 1.")
    if settings.limit_g is not None:
        positive("limit", settings.limit_g)
    since, until = iso_date("since", settings.since), iso_date("until", settings.until)
    settings = replace(settings, since=since, until=until)
    if not shop.book.rereading.count(asdict(settings)):
        raise BadInput("No recording is selected.", remedy="Check rig, model and dates.")
    return shop.book.rereading.begin({**asdict(settings), "program": __version__}, by=by)


def go_on(
    shop: Workshop,
    reread_id: str,
    *,
    workers: int = 0,
    scheduler: str = "",
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Reread:
    """Read what a reread has no result of yet; stopped or cut off, it is called again.

    Parameters
    ----------
    workers, scheduler
        As `crew.gang`; a scheduler's workers need the archive's location and the same version.

    Raises
    ------
    BadInput
        There is no such reread.
    """
    row = shop.book.rereading.find(reread_id)
    if row is None:
        raise BadInput(
            f"There is no reread {reread_id}.", remedy="heavyspot reread list names them."
        )
    selection = row["content"]
    told = Reread(
        reread_id, shop.book.rereading.done(reread_id), shop.book.rereading.count(selection)
    )
    tasks: dict[str, str] = {}
    ended = False

    def chunks() -> Iterator[list[Row]]:
        after = ""
        while not ended:
            rows = shop.book.rereading.next(reread_id, selection, after=after, most=16 * CHUNK)
            if not rows:
                return
            after = rows[-1]["id"]
            for at in range(0, len(rows), CHUNK):
                part = [_task(shop, r, selection) for r in rows[at : at + CHUNK]]
                tasks.update((r["id"], r["piece_id"]) for r in rows[at : at + CHUNK])
                yield part

    ready: list[Row] = []

    def keep() -> None:
        shop.book.rereading.add(ready)
        told.done += len(ready)
        ready.clear()
        if progress:
            progress(told.done, told.total)

    for results in gang(read_chunk, chunks(), died, workers=workers, scheduler=scheduler):
        for result in results:
            told.unreadable += result["verdict"] == "unreadable"
            piece = tasks.pop(result["run_id"])
            ready.append({"reread_id": reread_id, "piece_id": piece, "by": row["by"], **result})
        if len(ready) >= SAVED:
            keep()
            if stop():
                ended, told.stopped = True, True
                break
    keep()
    return told


def _task(shop: Workshop, run: Row, selection: Row) -> Row:
    """Return all a worker needs to read one recording, wherever it runs."""
    return {
        "run_id": run["id"],
        "folder": str(shop.book.folder.resolve()),
        "url": shop.book.archive.url,
        "recording": run["recording"],
        "sha256": run["recording_sha256"],
        "model": run["conditions"]["model"],
        "gain": selection["gain"],
        "limit_g": selection["limit_g"],
    }


def read_chunk(tasks: list[Row]) -> list[Row]:
    """Read recordings; the result of each depends on nothing but its task."""
    return [_read(task) for task in tasks]


def died(task: Row) -> Row:
    """Return the result of a recording that kills every worker."""
    return _unreadable(task, "Every worker that read it died.")


def _unreadable(task: Row, why: str) -> Row:
    return {
        "run_id": task["run_id"], "verdict": "unreadable", "worst_ratio": None, "content": {"why": why},
    }  # fmt: skip


def _read(task: Row) -> Row:
    try:
        path = Archive(Path(task["folder"]), task["url"]).open(task["recording"])
        if digest_of(path) != task["sha256"]:
            return _unreadable(task, "The recording was changed after it was written.")
        model = parse_model(task["model"], name="the run's model")
        if task["limit_g"] is not None:
            model = model.model_copy(update={"limit": []})
            model = parse_model(
                model.model_dump(mode="json", exclude_unset=True)
                | {"limit": [{"limit_g": task["limit_g"]}]},
                name="the run's model",
            )
        source = _corrected(open_recording(path), float(task["gain"]))
        read = read_recording(source, limit_g=float(min(model.house_limit().limit_g)))
        findings = [*read.findings, *model_findings(source, read, model)]
        judgement = ruled(judge_curves(read.curves, model) if read.curves else None, findings)
    except HeavyspotError as fault:
        return _unreadable(task, fault.message)
    worst = judgement.worst if judgement else None
    content: dict[str, Any] = {
        "program": __version__,
        "reason": reason_of(judgement, findings),
    }
    if worst:
        content["worst"] = {
            "speed_rpm": worst.speed_rpm, "amplitude_g": worst.amplitude_g,
            "uncertainty_g": worst.uncertainty_g, "limit_g": worst.limit_g,
        }  # fmt: skip
    return {
        "run_id": task["run_id"],
        "verdict": judgement.verdict if judgement else "undecided",
        "worst_ratio": worst.ratio if worst else None,
        "content": content,
    }


def _corrected(source: Recording, gain: float) -> Recording:
    """Return a recording whose vibration channels count `gain` times as much."""
    if gain == 1.0:
        return source
    vibration = set(source.vibration_indices())
    channels = tuple(
        replace(c, full_scale=c.full_scale * gain) if i in vibration else c
        for i, c in enumerate(source.channels)
    )
    return replace(source, channels=channels)


def call_back(shop: Workshop, reread_id: str) -> list[Row]:
    """Return the pieces that left with a pass which no longer stands, with their newest sheet."""
    rows = shop.book.rereading.results(reread_id, changed=True)
    numbers = shop.book.rereading.sheets_of([r["piece_id"] for r in rows])
    return [r | {"sheet": numbers.get(r["piece_id"], "")} for r in rows]
