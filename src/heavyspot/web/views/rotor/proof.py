"""A machine's proof as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ....balance.rotor.machine_proof import ProofPoint
from ....sheet.plots import ON_PAGE
from ....sheet.proof_plot import proof_svg
from ....workshop.rotor.machines import ProofKept


@dataclass(frozen=True)
class ProofView:
    """The newest proof of a kind: each plane as it was judged, and drawn."""

    kind: str
    at: str
    by: str
    passed: bool
    due: str
    planes: Mapping[str, Mapping[str, object]]
    drawings: tuple[tuple[str, str], ...]


def proof_view(proof: ProofKept) -> ProofView:
    """Return a proof as the page shows it."""
    drawn = tuple(
        (plane, proof_svg(plane, [_point(**p) for p in judged.get("points", ())], look=ON_PAGE))
        for plane, judged in proof.planes.items()
    )
    return ProofView(proof.kind, proof.at, proof.by, proof.passed, proof.due, proof.planes, drawn)


def _point(at_deg: float, value: float, low: float, high: float, **_: bool) -> ProofPoint:
    return ProofPoint(at_deg, value, low, high)  # whether it lies inside follows from these
