"""Everything known of a piece at the moment of advising: its runs, other units, the shop's own record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ...balance.cut.prior import Guess, ResponsePrior
from ...balance.cut.response import History
from ...balance.limits import Judgement
from ...ledger.book import Book
from ...ledger.store.entries import Row
from ...quantities.finding import Finding
from ...sources.recording import Recording
from .cut_scatter import Craft, craft_of
from .judging import judge_curves, ruled
from .model_file import ModelFile
from .oil_findings import oil_findings
from .other_units import known_of
from .past import PastRun, history_of, trusted_vectors
from .reading import ReadResult, read_recording
from .run_findings import (
    change_findings,
    level_findings,
    model_findings,
    shape_findings,
    usual_whirl,
)


@dataclass(frozen=True)
class Evidence:
    """Everything known of a piece at the moment of advising.

    Attributes
    ----------
    priors : dict of plane -> ResponsePrior
        What other units tell.
    guesses : dict of plane -> Guess
        What like models let expect.
    craft : Craft
        How cuts turn out here, and how chances are kept.
    history : History or None
        None when the run gave no curve over the model's range.
    judgement : Judgement or None
    findings : list of Finding
    """

    book: Book
    piece_id: str
    model: ModelFile
    history: History | None
    judgement: Judgement | None
    findings: list[Finding]
    read: ReadResult
    priors: dict[str, ResponsePrior]
    guesses: dict[str, Guess]
    craft: Craft


def gather(
    book: Book,
    piece_id: str,
    model: ModelFile,
    source: Recording,
    past: list[PastRun],
    made: list[Row],
    *,
    rig: str,
    serviced_at: str,
    operator: str,
    find: Callable[[str], ModelFile],
) -> Evidence:
    """Read a recording, judge it, and put it beside the piece's earlier runs and what others teach.

    Parameters
    ----------
    past, made : list
        The piece's runs and cuts so far.
    find : callable
        Returns a model by its name.
    """
    limit_g = float(min(model.house_limit().limit_g))
    read = read_recording(source, limit_g=limit_g)
    floors, own, whirls = _heard_before(book, piece_id, model.name, rig, serviced_at)
    findings = usual_whirl([*read.findings, *model_findings(source, read, model)], whirls, limit_g)
    findings += level_findings(read, floors, own)
    findings += oil_findings(source, model, past[-1].row if past else None)
    history = None
    if read.curve is not None:
        curves = [(p.number, p.curves[0]) for p in past if p.curves and trusted_vectors(p.row)]
        history = history_of([*curves, (len(past) + 1, read.curve)], made, model)
    speed = history.speed_rpm if history is not None else None
    priors, guesses = known_of(
        book, model, speed, rig=rig, serviced_at=serviced_at, not_piece=piece_id, find=find
    )
    if history is not None:
        findings += change_findings(history, model.as_scatter())
        findings += shape_findings(history, priors, model.as_scatter())
    return Evidence(
        book=book,
        piece_id=piece_id,
        model=model,
        history=history,
        judgement=ruled(judge_curves(read.curves, model) if read.curves else None, findings),
        findings=findings,
        read=read,
        priors=priors,
        guesses=guesses,
        craft=craft_of(book, model, operator),
    )


def _heard_before(
    book: Book, piece_id: str, model: str, rig: str, serviced_at: str
) -> tuple[list[float], list[float], list[float]]:
    """Return floors of other pieces and of this one, and the others' lines below the turning frequency."""
    rows = [r for r in book.rigs.heard(model, rig, since=serviced_at) if r["heard"]]
    others = {r["piece_id"]: r["heard"] for r in reversed(rows) if r["piece_id"] != piece_id}
    own = [r["heard"]["floor_g_rt_hz"] for r in reversed(rows) if r["piece_id"] == piece_id]
    floors = [h["floor_g_rt_hz"] for h in others.values()]
    return floors, own, [h["whirl_g"] for h in others.values()]
