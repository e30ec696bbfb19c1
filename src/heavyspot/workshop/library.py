"""What other units teach: their responses, weighed by how near they are to this model on this rig."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..balance.prior import ResponsePrior, library_prior
from ..ledger.book import Book
from ..ledger.packing import unpack
from ..quantities.arrays import Array
from .model_file import ModelFile

OTHER_RIG = 0.25
"""Weight of a unit measured on another rig, or on this one before it was serviced."""


@dataclass(frozen=True)
class Lesson:
    """The response of one plane of one other unit.

    Attributes
    ----------
    spread : float
        Its relative uncertainty.
    share : ndarray, shape (k,)
        Speeds as shares of test speed.
    response : ndarray, shape (k,), complex
        g per g·mm.
    at : str
        When it was learnt, UTC, ISO 8601.
    """

    plane: str
    rig: str
    piece: str
    spread: float
    share: Array
    response: Array
    at: str = ""


def lessons_of(book: Book, model: ModelFile, *, not_piece: str) -> list[Lesson]:
    """Return what the ledger knows of a model from all other pieces."""
    out = []
    for plane in model.plane:
        for row in book.responses(model.name, plane.name, not_piece=not_piece):
            stored = unpack(row["vector"])
            out.append(
                Lesson(
                    plane.name,
                    row["rig"],
                    row["piece_id"],
                    row["spread"],
                    stored["share"],
                    stored["response"],
                    row["at"],
                )
            )
    return out


def priors_of(
    lessons: Sequence[Lesson],
    model: ModelFile,
    speed_rpm: Array,
    *,
    rig: str,
    serviced_at: str = "",
) -> dict[str, ResponsePrior]:
    """Return a prior for each plane of which other units tell something.

    Parameters
    ----------
    serviced_at : str
        Day on which the rig became another one (new mount, fixture or sensor); what it measured
        before counts as another rig's.
    """
    shares = speed_rpm / model.test_speed_rpm
    found = {}
    for plane in model.plane:
        known = [x for x in lessons if x.plane == plane.name]
        if not known:
            continue
        vectors = [np.interp(shares, x.share, x.response) for x in known]
        near = np.array([1.0 if x.rig == rig and x.at >= serviced_at else OTHER_RIG for x in known])
        weights = near / (np.array([x.spread for x in known]) ** 2 + 0.02)
        scatter = model.as_scatter()
        found[plane.name] = library_prior(
            np.stack(vectors),
            weights=weights,
            cut_error=(scatter.cut_share, float(np.deg2rad(scatter.cut_angle_deg))),
        )
    return found
