"""The simulated rigs, and what they make of a ledger: one for practice, where nothing is measured."""

from __future__ import annotations

from ...quantities.errors import BadInput
from ...sources.simulated import MACHINE, RIG
from ..shop import Workshop
from .record import add_rig, rig_names

CERTIFICATES = {"calibrated_at": "2026-05-04", "due": "2027-05-04"}


def is_practice(shop: Workshop) -> bool:
    """Whether a ledger is one for practice: the simulated rig stands in it, which is chained like all else."""
    return RIG in rig_names(shop)


def is_simulated(shop: Workshop, rig: str) -> bool:
    """Whether what a rig of that name tells is no measurement: it is simulated, or the whole ledger is."""
    return rig in (RIG, MACHINE) or is_practice(shop)


def add_simulated_rigs(shop: Workshop) -> None:
    """Put the simulated rig and low-speed machine into a ledger; it is one for practice from then on.

    Raises
    ------
    BadInput
        The ledger is a shop's own: it holds pieces, models or rigs.
    """
    book = shop.book
    if (
        book.models.names()
        or book.models.names("rotor")
        or rig_names(shop)
        or book.jobs.pieces(most=1)
    ):
        raise BadInput(
            "This ledger is a shop's own: simulated curves do not belong in it.",
            remedy="Practise beside it with --simulate, or give the demo shop a folder: --data DIR.",
        )
    add_rig(shop, RIG, CERTIFICATES | {"certificate": "SIM-0001"})
    machine = {"kind": "low-speed rotor machine", "building": "north"}
    add_rig(
        shop,
        MACHINE,
        CERTIFICATES | machine | {"certificate": "SIM-0002", "reduction": 0.98, "least_gmm": 0.003},
    )
