"""An assembly beside its prediction: what the parts were to leave, and what the first spin says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...balance.influence import solve_least_squares
from ...quantities.angles import angle_of, difference_deg
from ...quantities.errors import LedgerFault, NotThere
from ...quantities.said import Said
from ..cartridge import SensedCurve, cartridge_story, history_of, past_runs
from ..model import known_of
from ..shop import Workshop
from .proposal import kept_proposal

LEAST_UNITS = 3
"""Units of a model that must be known before a spin can be read as unbalance."""


@dataclass(frozen=True)
class AssemblyCompared:
    """Promise and first spin, side by side.

    Attributes
    ----------
    explained : float
        Share of the spin that unbalance in the plane explains.
    units : int
        Other units of the model behind the responses.
    """

    serial: str
    parts: dict[str, str]
    promised_gmm: float
    promised_deg: float
    plane: str
    seen_gmm: float
    seen_deg: float
    turned_deg: float
    explained: float
    units: int


def compare_assembly(shop: Workshop, matching: str, assembly: int, serial: str) -> AssemblyCompared:
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
    _, proposal = kept_proposal(shop, matching)
    assemblies = proposal.assemblies
    if not 1 <= assembly <= len(assemblies):
        raise NotThere(
            Said("refusal.there_is_no_assembly_in", {"assembly": assembly}),
            remedy=Said("remedy.look_it_up_under_matching"),
        )
    promised = assemblies[assembly - 1]
    story = cartridge_story(shop, serial)
    model = story.model
    first = next((r for r in past_runs(shop, story) if r.curves), None)
    if first is None:
        raise LedgerFault(
            Said("refusal.has_not_been_spun", {"serial": serial}),
            remedy=Said("remedy.spin_it_first"),
        )
    one = SensedCurve(first.number, first.curves[0], first.sensors[:1])
    history = history_of([one], [], model)
    speed = history.grid_rpm if history else None
    priors, _ = known_of(
        shop,
        model,
        speed,
        rig=first.run.entry.rig,
        serviced_at="",
        not_piece=story.piece.id,
    )
    plane = model.plane[0].name
    if history is None or plane not in priors or priors[plane].units < LEAST_UNITS:
        raise LedgerFault(
            Said("refusal.too_few_units_of_are", {"name": model.name}),
            remedy=Said("remedy.compare_again_when_a_few"),
        )
    response = priors[plane].mean
    found = solve_least_squares(response[:, None], history.vectors[0])
    u = complex(found.unbalance[0])
    left = np.abs(found.residual)
    explained = 1 - float((left**2).sum() / (np.abs(history.vectors[0]) ** 2).sum())
    seen_deg = float(angle_of(u))
    return AssemblyCompared(
        serial=serial,
        parts=promised.parts,
        promised_gmm=promised.residual_gmm,
        promised_deg=promised.angle_deg,
        plane=plane,
        seen_gmm=abs(u),
        seen_deg=seen_deg,
        turned_deg=difference_deg(seen_deg, promised.angle_deg),
        explained=explained,
        units=priors[plane].units,
    )
