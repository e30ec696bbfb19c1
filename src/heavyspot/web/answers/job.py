"""Jobs, pieces and what happened to them."""

from __future__ import annotations

from pydantic import Field

from .common import SaidTold, Told


class JobTold(Told):
    """A job as it stands."""

    id: str
    at: str
    by: str
    customer: str
    invoice: str
    due: str
    note: str


class PieceLine(Told):
    """A piece with its last run's number and verdict; null before the first."""

    serial: str
    model: str
    customer: str
    invoice: str
    position: str
    number: int | None
    verdict: str | None
    id: str
    kind: str
    job_id: str
    at: str


class FoundPiece(PieceLine):
    """A piece that was found."""

    by: str
    worst_ratio: float | None
    day: str


class FoundTold(Told):
    """Pieces found; not exact where they only are alike."""

    rows: list[FoundPiece]
    exact: bool


class AmendmentTold(Told):
    """Changed fields with their new values, who and why."""

    id: str
    at: str
    by: str
    why: str
    content: dict[str, object]


class WholeJob(JobTold):
    """A job with its pieces and amendments."""

    pieces: list[FoundPiece]
    amendments: list[AmendmentTold]


class JobPage(Told):
    """Some jobs; `next` is the cursor of those that follow, null at the end; `since` of what comes later."""

    items: list[JobTold]
    next: str | None
    since: str


class PiecePage(Told):
    """Some pieces; `next` is the cursor of those that follow, null at the end; `since` of what comes later."""

    items: list[PieceLine]
    next: str | None
    since: str


class JobMade(Told):
    """Identifier of a job."""

    job: str


class PieceMade(Told):
    """Identifier of a piece."""

    piece: str


class SerialTold(Told):
    """The serial as it stands."""

    serial: str


class HappeningTold(Told):
    """One thing that happened to a piece."""

    at: str
    by: str
    kind: str
    text: str
    number: int
    verdict: str
    well: bool
    said: list[SaidTold]


class HappeningMade(Told):
    """What was written down."""

    kind: str


class BuildTold(Told):
    """Where a build record stands, and why."""

    state: str = Field(examples=["within", "out", "signed"])
    why: str = ""


class DocumentTold(Told):
    """A photo or document that is kept."""

    file: str
    kept_as: str
    sha256: str
    bytes: int
    text: str


class PaperTold(DocumentTold):
    """A photo or document of a piece."""

    id: str
    at: str
    by: str


class PartsMade(Told):
    """How many parts were written down."""

    parts: int
