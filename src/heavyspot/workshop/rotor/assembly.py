"""An assembly beside its prediction: what the parts were to leave, and what the first spin says."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...balance.influence import solve_least_squares
from ...quantities.angles import angle_of, difference_deg
from ...quantities.errors import LedgerFault
from ..cartridge.other_units import known_of
from ..cartridge.past import history_of, past_runs
from ..shop import Workshop

LEAST_UNITS = 3
"""Units of a model that must be known before a spin can be read as unbalance."""


def compare_assembly(shop: Workshop, matching: str, assembly: int, serial: str) -> dict[str, Any]:
    """Return what a proposal promised of an assembly beside what the cartridge's first spin shows.

    The first spin is read as unbalance in the model's first plane, through the responses that other units
    of the model have taught; both count from the mark.

    Parameters
    ----------
    matching : str
        Identifier of the proposal.
    assembly : int
        1 for its first assembly.

    Raises
    ------
    LedgerFault
        No such proposal or assembly, no spin yet, or too few units of the model are known.
    """
    row = shop.book.rotors.matching(matching)
    assemblies = row["content"]["assemblies"] if row else []
    if not 1 <= assembly <= len(assemblies):
        raise LedgerFault(
            f"There is no assembly {assembly} in that proposal.",
            remedy="Look it up under Matching.",
        )
    promised = assemblies[assembly - 1]
    piece = shop.piece(serial)
    model = shop.model(piece["model"])
    first = next((r for r in past_runs(shop.book, piece["id"]) if r.curves), None)
    if first is None:
        raise LedgerFault(f"{serial} has not been spun.", remedy="Spin it first.")
    history = history_of([(first.number, first.curves[0])], [], model)
    speed = history.speed_rpm if history else None
    priors, _ = known_of(
        shop.book,
        model,
        speed,
        rig=first.row["rig"],
        serviced_at="",
        not_piece=piece["id"],
        find=shop.model,
    )
    plane = model.plane[0].name
    if history is None or plane not in priors or priors[plane].units < LEAST_UNITS:
        raise LedgerFault(
            f"Too few units of {model.name} are known to read a spin as unbalance.",
            remedy="Compare again when a few more have been balanced.",
        )
    response = priors[plane].mean
    found = solve_least_squares(response[:, None], history.vectors[0])
    u = complex(found.unbalance[0])
    left = np.abs(found.residual)
    explained = 1 - float((left**2).sum() / (np.abs(history.vectors[0]) ** 2).sum())
    return {
        "serial": serial,
        "parts": promised["parts"],
        "promised_gmm": promised["residual_gmm"],
        "promised_deg": promised["angle_deg"],
        "plane": plane,
        "seen_gmm": abs(u),
        "seen_deg": float(angle_of(u)),
        "turned_deg": difference_deg(float(angle_of(u)), promised["angle_deg"]),
        "explained": explained,
        "units": priors[plane].units,
    }
