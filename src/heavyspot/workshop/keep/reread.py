"""Archived recordings read anew: a sensor was wrong, a limit or the program changed. Results lie beside."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from ..._version import __version__
from ...ledger.records import Reread as Asked
from ...ledger.records import Rereading, RereadResult, RunToReread
from ...ledger.store.archive import Archive
from ...quantities.checks import iso_date, positive
from ...quantities.errors import BadInput, HeavyspotError, NotThere
from ...quantities.said import said_json
from ...sources.curve_table import ENDING
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ..model import parse_model
from ..reading import judge_curves, model_findings, read_recording, reason_of, ruled
from ..rig import Measuring
from ..shop import Workshop
from ..stored import stored
from .workers import gang

CHUNK = 16
"""Recordings a worker is given at a time: a lost worker costs as many readings."""

WRITTEN_S, WRITTEN = 2.0, 4096
"""Results are written down after so long, or when there are so many: what an interruption costs is read again.

Each writing waits for the disk once; with many workers a short one would be all that this process does.
"""


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

    def words(self) -> str:
        """Return what is asked for, in words; only what was said."""
        asked = asdict(self)
        return ", ".join(f"{k.removesuffix('_g')} {v}" for k, v in asked.items() if v)


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
    if not shop.book.rereads.count(asdict(settings)):
        raise BadInput("No recording is selected.", remedy="Check rig, model and dates.")
    return shop.book.rereads.begin({**asdict(settings), "program": __version__}, by=by)


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
        As `workers.gang`; a scheduler's workers need the archive's location and the same version.

    Raises
    ------
    NotThere
        There is no such reread.
    """
    asked = _asked(shop, reread_id)
    selection = stored(Settings, asked.content, what="The reread")
    told = Reread(
        reread_id, shop.book.rereads.done(reread_id), shop.book.rereads.count(asked.content)
    )
    tasks: dict[str, str] = {}
    folder = str(shop.folder.resolve())
    ended = False

    def chunks() -> Iterator[list[Task]]:
        after = ""
        while not ended:
            rows = shop.book.rereads.next(reread_id, asked.content, after=after, most=16 * CHUNK)
            if not rows:
                return
            after = rows[-1].id
            for at in range(0, len(rows), CHUNK):
                part = [_task(shop, folder, r, selection) for r in rows[at : at + CHUNK]]
                tasks.update((r.id, r.piece_id) for r in rows[at : at + CHUNK])
                yield part

    ready: list[Rereading] = []
    since = time.monotonic()

    def keep() -> None:
        nonlocal since
        shop.book.rereads.add(ready)
        told.done += len(ready)
        ready.clear()
        since = time.monotonic()
        if progress:
            progress(told.done, told.total)

    for results in gang(read_chunk, chunks(), died, workers=workers, scheduler=scheduler):
        for result in results:
            told.unreadable += result.verdict == "unreadable"
            ready.append(
                Rereading(
                    reread_id=reread_id,
                    piece_id=tasks.pop(result.run_id),
                    by=asked.by,
                    run_id=result.run_id,
                    verdict=result.verdict,
                    worst_ratio=result.worst_ratio,
                    content=result.content,
                )
            )
        if len(ready) >= WRITTEN or time.monotonic() - since >= WRITTEN_S:
            keep()
            if stop():
                ended, told.stopped = True, True
                break
    keep()
    return told


@dataclass(frozen=True)
class Task:
    """All a worker needs to read one recording, wherever it runs.

    Attributes
    ----------
    folder, url : str
        The data folder, and where recordings were handed over to.
    conditions : str
        JSON, as the run keeps it, read by the worker: keys of the model file as they were, and how the rig measured
        then where that was kept.
    """

    run_id: str
    folder: str
    url: str
    recording: str
    sha256: str
    beside_sha256: str | None
    conditions: str
    gain: float
    limit_g: float | None
    first: bool


@dataclass(frozen=True)
class Result:
    """What one recording says, read anew."""

    run_id: str
    verdict: str
    worst_ratio: float | None
    content: dict[str, Any]


def _task(shop: Workshop, folder: str, run: RunToReread, selection: Settings) -> Task:
    return Task(
        run_id=run.id,
        folder=folder,
        url=shop.book.archive.url,
        recording=run.recording,
        sha256=run.recording_sha256,
        beside_sha256=run.beside_sha256,
        conditions=run.conditions,
        gain=selection.gain,
        limit_g=selection.limit_g,
        first=run.number == 1,
    )


def read_chunk(tasks: list[Task]) -> list[Result]:
    """Read recordings; the result of each depends on nothing but its task."""
    return [_read(task) for task in tasks]


def died(task: Task) -> Result:
    """Return the result of a recording that kills every worker."""
    return _unreadable(task, "Every worker that read it died.")


def _unreadable(task: Task, why: str) -> Result:
    return Result(task.run_id, "unreadable", None, {"why": why})


def _read(task: Task) -> Result:
    if task.recording.endswith(ENDING):
        return _unreadable(task, "This run is a table: there are no samples to read anew.")
    try:
        archive = Archive(Path(task.folder), task.url)
        path = archive.as_written(task.recording, task.sha256, task.beside_sha256)
        conditions = json.loads(task.conditions)
        model = parse_model(conditions["model"], name="the run's model")
        if task.limit_g is not None:
            keys = model.model_dump(mode="json", exclude_unset=True)
            keys["limit"] = [{"limit_g": task.limit_g}]
            model = parse_model(keys, name="the run's model")
        source = _corrected(open_recording(path), task.gain)
        measured = conditions.get("measuring")
        then = stored(Measuring, measured, what="The rig's") if measured else None
        limit_g = float(min(model.house_limit().limit_g))
        read = read_recording(source, limit_g=limit_g, measuring=then)
        findings = [*read.findings, *model_findings(source, read, model)]
        judgement = ruled(
            judge_curves(
                read.curves, model, read.channels, then.shares if then else None, first=task.first
            )
            if read.curves
            else None,
            findings,
        )
    except HeavyspotError as fault:
        return _unreadable(task, fault.message)
    content: dict[str, Any] = {"program": __version__}
    content |= said_json("reason", reason_of(judgement, findings))
    if judgement is None:
        return Result(task.run_id, "undecided", None, content)
    worst = asdict(judgement.worst)
    ratio = worst.pop("ratio")
    content["worst"] = worst
    return Result(task.run_id, judgement.verdict, ratio, content)


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


@dataclass(frozen=True)
class CallBack:
    """A piece that left with a pass which no longer stands, and its newest sheet."""

    result: RereadResult
    sheet: str

    def as_json(self) -> dict[str, Any]:
        """Return it as one JSON-ready row."""
        return asdict(self.result) | {"sheet": self.sheet}


def call_back(shop: Workshop, reread_id: str) -> list[CallBack]:
    """Return the pieces that left with a pass which no longer stands, with their newest sheet."""
    rows = shop.book.rereads.results(reread_id, changed=True)
    numbers = shop.book.rereads.sheets_of([r.piece_id for r in rows])
    return [CallBack(r, numbers.get(r.piece_id, "")) for r in rows]


@dataclass(frozen=True)
class RereadState:
    """A reread as it stands."""

    id: str
    at: str
    by: str
    settings: Settings
    program: str
    done: int
    total: int

    def as_json(self) -> dict[str, Any]:
        """Return it as one JSON-ready value."""
        about = {"id": self.id, "at": self.at, "by": self.by, "done": self.done}
        return {**about, **asdict(self.settings), "program": self.program}


def find_reread(shop: Workshop, reread_id: str) -> RereadState:
    """Return a reread as it stands; raises `NotThere` when there is none."""
    return _state(shop, _asked(shop, reread_id))


def _asked(shop: Workshop, reread_id: str) -> Asked:
    asked = shop.book.rereads.find(reread_id)
    if asked is None:
        raise NotThere(
            f"There is no reread {reread_id}.", remedy="heavyspot reread list names them."
        )
    return asked


def newest_rereads(shop: Workshop, most: int = 20) -> list[RereadState]:
    """Return the newest rereads as they stand, newest first."""
    return [_state(shop, asked) for asked in shop.book.rereads.all(most)]


def _state(shop: Workshop, asked: Asked) -> RereadState:
    settings = stored(Settings, asked.content, what="The reread")
    book = shop.book.rereads
    program = str(asked.content.get("program", ""))
    done, total = book.done(asked.id), book.count(asked.content)
    return RereadState(asked.id, asked.at, asked.by, settings, program, done, total)
