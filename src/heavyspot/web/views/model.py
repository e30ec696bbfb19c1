"""A model as its card shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from ...workshop.model.card import ResponseCard
from ...workshop.model.model_file import ModelFile, PlaneFile
from ..formats import dotted, fixed, grouped, spaced, whole
from ..speaking import told


@dataclass(frozen=True)
class ModelCard:
    """A model in the list.

    Attributes
    ----------
    about : str
        Rotation, speeds, tip speeds and limit, in sentences.
    planes : tuple of (str, str)
        Name of each plane, and what may come off there.
    card_units, card_from, card_signed : str
        Of the response card it begins with: units, whose and when, its certificate's first figures.
    """

    name: str
    about: str
    planes: tuple[tuple[str, str], ...]
    card_units: str = ""
    card_from: str = ""
    card_signed: str = ""


def model_card(model: ModelFile, card: ResponseCard | None = None) -> ModelCard:
    """Return a model as the list shows it, with the response card it begins with."""
    tips = "".join(
        f" Tip of the {wheel} wheel {whole(speed)} m/s at test speed."
        for wheel, speed in model.tip_speeds_m_s().items()
    )
    speeds = (
        f"Test {grouped(model.test_speed_rpm)} rpm, rated {grouped(model.rated_speed_rpm)} rpm."
    )
    limit = f"Limit {min(model.house_limit().limit_g)} g."
    about = f"Turns {model.rotation}. {speeds}{tips} {limit}"
    found = ModelCard(model.name, about, tuple((p.name, _plane(p)) for p in model.plane))
    if card is None:
        return found
    return replace(
        found,
        card_units=": " + told("models.card_units", units=card.units),
        card_from=f"{card.shop}, {card.made_at[:10]}, {told('models.card_signed')}",
        card_signed=card.fingerprint()[:16],
    )


def _plane(plane: PlaneFile) -> str:
    made = plane.as_plane()
    stated = "" if plane.max_depth_mm and plane.budget_mg else " (defaults: state the maker’s)"
    return (
        f"{spaced(plane.cutter)}, radius {plane.radius_mm} mm, deepest {fixed(made.max_depth_mm)} mm, "
        f"{whole(made.budget_mg)} mg in all{stated}"
    )


@dataclass(frozen=True)
class Fold:
    """Fields that are folded away: what they are called, what they say now, whether they are open."""

    name: str
    about: str
    open: bool


LIMIT_FIELDS = (
    "from_speed_rpm", "limit-house", "limit-good", "most_cuts", "compressor_wheel_mm", "turbine_wheel_mm",
    "table_gap_share", "note",
)  # fmt: skip


def plane_folds(typed: Mapping[str, str], faults: Mapping[str, str], rows: int) -> list[Fold]:
    """Return a fold for each plane of the form; what is wrong or stated in one opens it."""
    return [_plane_fold(typed, faults, i) for i in range(rows)]


def _plane_fold(typed: Mapping[str, str], faults: Mapping[str, str], i: int) -> Fold:
    told = {
        k: typed.get(f"plane-{i}-{k}", "")
        for k in ("name", "radius_mm", "material", "cutter", "max_depth_mm")
    }
    deepest = told.get("max_depth_mm")
    about = dotted(
        told.get("material"),
        spaced(told.get("cutter") or ""),
        f"deepest {deepest} mm" if deepest else "deepest 15 % of the radius, until it is said",
    )
    wrong = any(f.startswith(f"plane-{i}-") and f != "plane-0-radius_mm" for f in faults)
    stated = bool(told.get("name") or told.get("radius_mm"))
    return Fold(
        told.get("name") or f"Plane {i + 1}",
        about if stated or not i else "",
        wrong or (stated and i > 0),
    )


def limits_fold(typed: Mapping[str, str], faults: Mapping[str, str]) -> Fold:
    """Return the fold of limits and wheels."""
    house, good = typed.get("limit-house"), typed.get("limit-good")
    about = dotted(
        f"house limit {house} g" if house else "house limit 0.5 g, until it is said",
        f"very good under {good} g" if good else "",
    )
    return Fold("Limits and wheels", about, any(f in faults for f in LIMIT_FIELDS))
