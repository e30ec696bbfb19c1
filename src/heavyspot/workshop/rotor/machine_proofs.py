"""Proofs of a low-speed machine, on its record with a due date; and which parts to put together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from ...balance.rotor.machine_proof import (
    USUAL_REDUCTION,
    Proof,
    compensator_test,
    passed,
    reduction_test,
    residual_test,
)
from ...balance.rotor.matching import match_parts
from ...quantities.angles import angle_of, phasor
from ...quantities.checks import iso_date
from ...quantities.errors import BadInput
from ...quantities.said import Said
from ..shop import Workshop
from .proposal import Assembly, Matched, Proposal

VALID_DAYS = 365
"""How long a proof holds when the shop says nothing else (common practice, no source)."""

Pair = tuple[float, float]


@dataclass(frozen=True)
class Proved:
    """A proof of a machine as it was judged and kept.

    Attributes
    ----------
    rig, kind : str
    passed : bool
        Every plane did.
    due : str
        ISO date until which it holds.
    planes : mapping of plane -> Proof
    """

    rig: str
    kind: str
    passed: bool
    due: str
    planes: Mapping[str, Proof]
    given: Mapping[str, Any]

    def content(self) -> dict[str, Any]:
        """Return what the ledger keeps of it."""
        return {
            "passed": self.passed,
            "due": self.due,
            "given": dict(self.given),
            "planes": {name: _judged(p) for name, p in self.planes.items()},
        }

    def as_json(self) -> dict[str, Any]:
        """Return it as one JSON-ready value."""
        return {"rig": self.rig, "kind": self.kind, **self.content()}


def prove_residual(
    shop: Workshop,
    rig: str,
    planes: Mapping[str, Sequence[float]],
    *,
    least_gmm: float | None = None,
    due: str = "",
    by: str = "",
) -> Proved:
    """Judge and keep a residual test: amounts read with the mass at each of twelve positions.

    Parameters
    ----------
    planes : dict of plane -> 12 amounts
    least_gmm : float, optional
        The claim that the mass was made for; the rig's when not given.
    """
    proofs = {name: residual_test(read) for name, read in planes.items()}
    given = {"planes": {k: list(v) for k, v in planes.items()}, "least_gmm": least_gmm}
    return _keep(shop, rig, "residual", proofs, given, due, by)


def prove_reduction(
    shop: Workshop,
    rig: str,
    planes: Mapping[str, Sequence[Pair]],
    *,
    stationary: Pair,
    travelling_gmm: float,
    positions_deg: Sequence[float],
    least_gmm: float,
    claimed: float = USUAL_REDUCTION,
    due: str = "",
    by: str = "",
) -> Proved:
    """Judge and keep a reduction test: vectors (amount, angle) read with the travelling mass at each position."""
    moved = phasor(travelling_gmm, positions_deg)
    still = complex(phasor(*stationary))
    proofs = {
        name: reduction_test(_vectors(read), still, moved, least_gmm=least_gmm, claimed=claimed)
        for name, read in planes.items()
    }
    given = {
        "planes": {k: [list(p) for p in v] for k, v in planes.items()},
        "stationary": list(stationary),
        "travelling_gmm": travelling_gmm,
        "positions_deg": list(positions_deg),
        "least_gmm": least_gmm,
        "claimed": claimed,
    }
    return _keep(shop, rig, "reduction", proofs, given, due, by)


def prove_compensator(
    shop: Workshop,
    rig: str,
    planes: Mapping[str, Sequence[Pair]],
    *,
    compensated_gmm: float,
    least_gmm: float,
    due: str = "",
    by: str = "",
) -> Proved:
    """Judge and keep a compensator test: vectors read at 0, 180, 0, 180 ... degrees of index."""
    proofs = {
        name: compensator_test(_vectors(read), compensated_gmm=compensated_gmm, least_gmm=least_gmm)
        for name, read in planes.items()
    }
    given = {
        "planes": {k: [list(p) for p in v] for k, v in planes.items()},
        "compensated_gmm": compensated_gmm,
        "least_gmm": least_gmm,
    }
    return _keep(shop, rig, "compensator", proofs, given, due, by)


def _vectors(read: Sequence[Pair]) -> Any:
    pairs = np.array(read, float).reshape(-1, 2)
    return phasor(pairs[:, 0], pairs[:, 1])


def _keep(
    shop: Workshop,
    rig: str,
    kind: str,
    proofs: dict[str, Proof],
    given: dict[str, Any],
    due: str,
    by: str,
) -> Proved:
    if not rig.strip():
        raise BadInput(Said("refusal.the_machine_has_no_name"), remedy=Said("remedy.name_the_rig"))
    if not proofs:
        raise BadInput(
            Said("refusal.no_plane_was_read"), remedy=Said("remedy.give_the_readings_of_at")
        )
    until = iso_date("due", due) or (date.today() + timedelta(days=VALID_DAYS)).isoformat()
    done = Proved(rig.strip(), kind, passed(list(proofs.values())), until, proofs, given)
    shop.book.rotors.add_proof(done.rig, kind, done.content(), by=by)
    return done


def _judged(proof: Proof) -> dict[str, Any]:
    points = [asdict(p) | {"inside": p.inside} for p in proof.points]
    return {"passed": proof.passed, "text": proof.text, "points": points}


def match(
    shop: Workshop | None,
    kinds: Mapping[str, Sequence[tuple[str, float, float]]],
    *,
    steps_deg: dict[str, float] | None = None,
    by: str = "",
) -> Matched:
    """Propose which parts to put together and how turned; kept when a shop is given.

    Parameters
    ----------
    kinds : dict of kind -> sequence of (name, amount in g·mm, angle in degrees)
        Two or three kinds, as many of each; the first stays as it is.
    steps_deg : dict of kind -> float
        Steps a kind may be turned by; any angle when not given.
    """
    names = list(kinds)
    u = [np.array([complex(phasor(p[1], p[2])) for p in kinds[k]]) for k in names]
    steps = [(steps_deg or {}).get(k, 0.0) for k in names]
    found = match_parts(u, steps_deg=steps)
    proposal = Proposal(
        kinds=tuple(names),
        steps_deg=dict(zip(names, steps, strict=True)),
        total_gmm=found.total,
        bound_gmm=found.bound,
        as_they_come_gmm=float(np.abs(sum(u)).sum()),
        assemblies=tuple(
            Assembly(
                parts={k: kinds[k][i][0] for k, i in zip(names, m.members, strict=True)},
                turned_deg=dict(zip(names, m.turned_deg, strict=True)),
                residual_gmm=abs(m.residual),
                angle_deg=float(angle_of(m.residual)),
            )
            for m in found.matches
        ),
    )
    if shop is None:
        return Matched(proposal)
    return Matched(proposal, shop.book.rotors.add_matching(asdict(proposal), by=by))
