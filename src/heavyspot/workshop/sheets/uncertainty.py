"""What a sheet says of its uncertainty: the budget, the rule of a pass, and the risk that is left."""

from __future__ import annotations

from ...balance.risk import LEAST_PIECES, over_though_passed, population
from ...balance.uncertainty import COVERAGE_K
from ...quantities.said import Said
from ..model import ModelFile
from ..reading import KeptResult, budget_table
from ..shop import Workshop

PIECES = 500
"""Newest pieces from which the shop's own distribution is taken."""

SMALL = 0.0005
"""Below this chance it is said to be under 0.1 %."""


def coverage_of(result: KeptResult) -> float:
    """Return the factor of a run's expanded uncertainty (GUM G.4)."""
    table = budget_table(result)
    return COVERAGE_K if table is None else table.k


def uncertainty_said(
    shop: Workshop, result: KeptResult, piece_id: str, model: ModelFile
) -> tuple[Said, ...]:
    """Return the budget of a run's highest value, the rule of a pass, and the risk that is left after one."""
    if not result.budget:  # from before it was kept
        shares = {
            "repeat_share": model.scatter.run_share,
            "calibration_share": model.scatter.calibration_share,
        }
        return (Said("uncertainty.run", {**shares}),)
    said = [_budget(result), Said("uncertainty.rule")]
    if result.verdict == "pass":
        said += _risk(shop, result, piece_id)
    return tuple(said)


def _budget(result: KeptResult) -> Said:
    parts = {p.source: p for p in result.budget}
    studied = "repeat_study" in parts
    repeat = parts["repeat_study" if studied else "repeat_assumed"]
    values: dict[str, float | str] = {
        "noise_g": parts["noise"].standard_g,
        "repeat_share": repeat.share or 0.0,
        "calibration_share": parts["calibration"].share or 0.0,
        "k": coverage_of(result),
    }
    if studied:
        values["degrees"] = repeat.degrees or 0.0
    return Said("uncertainty.run_studied" if studied else "uncertainty.run_assumed", values)


def _risk(shop: Workshop, result: KeptResult, piece_id: str) -> list[Said]:
    """Return the chance that a piece is over its limit though it passed; nothing while pieces are few.

    The last runs of all pieces count, whatever their verdict: those that passed alone would promise too much.
    """
    assert result.worst is not None  # it passed
    newest = shop.book.jobs.pieces(kind="cartridge", most=PIECES)
    left = [p.worst_ratio for p in newest if p.worst_ratio and p.id != piece_id]
    if len(left) < LEAST_PIECES:
        return []
    u_share = result.worst.uncertainty_g / result.worst.amplitude_g
    chance = over_though_passed(population(left, u_share), result.worst.ratio, u_share)
    if chance < SMALL:
        return [Said("uncertainty.risk_small", {"pieces": float(len(left))})]
    return [Said("uncertainty.risk", {"pieces": float(len(left)), "chance": chance})]
