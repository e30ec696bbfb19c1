"""A model as its card shows it."""

from __future__ import annotations

from dataclasses import dataclass

from ...workshop.model.model_file import ModelFile, PlaneFile
from ..formats import fixed, grouped, spaced, whole


@dataclass(frozen=True)
class ModelCard:
    """A model in the list.

    Attributes
    ----------
    about : str
        Rotation, speeds, tip speeds and limit, in sentences.
    planes : tuple of (str, str)
        Name of each plane, and what may come off there.
    """

    name: str
    about: str
    planes: tuple[tuple[str, str], ...]


def model_card(model: ModelFile) -> ModelCard:
    """Return a model as the list shows it."""
    tips = "".join(
        f" Tip of the {wheel} wheel {whole(speed)} m/s at test speed."
        for wheel, speed in model.tip_speeds_m_s().items()
    )
    speeds = (
        f"Test {grouped(model.test_speed_rpm)} rpm, rated {grouped(model.rated_speed_rpm)} rpm."
    )
    limit = f"Limit {min(model.house_limit().limit_g)} g."
    about = f"Turns {model.rotation}. {speeds}{tips} {limit}"
    return ModelCard(model.name, about, tuple((p.name, _plane(p)) for p in model.plane))


def _plane(plane: PlaneFile) -> str:
    made = plane.as_plane()
    stated = "" if plane.max_depth_mm and plane.budget_mg else " (defaults: state the maker’s)"
    return (
        f"{spaced(plane.cutter)}, radius {plane.radius_mm} mm, deepest {fixed(made.max_depth_mm)} mm, "
        f"{whole(made.budget_mg)} mg in all{stated}"
    )
