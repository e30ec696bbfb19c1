"""A practice ledger beside a shop's own, so that what is practised is never in the shop's."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..model import add_model, find_model, model_kind
from ..rig.simulated import add_simulated_rigs, is_practice
from ..rotor.models import add_rotor_model, rotor_model
from ..shop import Workshop

FOLDER = "practice"


def practice_beside(folder: Path) -> Path:
    """Return the practice ledger beside a shop's own, with its models as they stand today.

    What is practised is kept there and nowhere else: no run, cut or sheet of it is ever in the shop's ledger.
    A ledger that is for practice already is its own.
    """
    beside = folder / FOLDER
    with Workshop(folder) as own:
        if is_practice(own):
            return folder
        with Workshop(beside) as practice:
            if not is_practice(practice):
                add_simulated_rigs(practice)
            _copy_models(own, practice)
    return beside


def _copy_models(own: Workshop, practice: Workshop) -> None:
    ways: tuple[tuple[str, Any, Any], ...] = (
        ("cartridge", find_model, add_model),
        ("rotor", rotor_model, add_rotor_model),
    )
    for kind, find, add in ways:
        for name in own.book.models.names(kind):
            model = find(own, name)
            if not model_kind(practice, name) or find(practice, name) != model:
                add(practice, model.model_dump(mode="json", exclude_unset=True))
