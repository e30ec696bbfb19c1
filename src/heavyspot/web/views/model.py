"""A model as its card shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import quote

from markupsafe import Markup

from ...quantities.said import Said, catalogue
from ...workshop.model.card import ResponseCard
from ...workshop.model.model_file import ModelFile, PlaneFile
from ..drawings.rotor_side import rotor_svg
from ..formats import as_code, dotted
from ..speaking import spoken, told


@dataclass(frozen=True)
class ModelCard:
    """A model in the list.

    Attributes
    ----------
    about : str
        Rotation, speeds, tip speeds and limit, in sentences.
    planes : tuple of (str, str)
        Name of each plane, and what may come off there.
    drawing : Markup
        The rotor with its planes, each of which leads to its fields in the form.
    card_units, card_from, card_signed : str
        Of the response card it begins with: units, whose and when, its certificate's first figures.
    """

    name: str
    about: str
    planes: tuple[tuple[str, str], ...]
    drawing: Markup
    card_units: str = ""
    card_from: str = ""
    card_signed: str = ""


def model_card(model: ModelFile, card: ResponseCard | None = None) -> ModelCard:
    """Return a model as the list shows it, with the response card it begins with."""
    speeds = {"test_rpm": model.test_speed_rpm, "rated_rpm": model.rated_speed_rpm}
    way = told(f"rotation.{model.rotation}")
    about = " ".join(
        (
            told("model_says.turns", way=way, **speeds),
            *(_tip(wheel, speed) for wheel, speed in model.tip_speeds_m_s().items()),
            told("model_says.limit", limit_g=min(model.house_limit().limit_g)),
        )
    )
    at = f"/models/edit?name={quote(model.name)}"
    drawing = rotor_svg([p.name for p in model.plane], at)
    found = ModelCard(model.name, about, tuple((p.name, _plane(p)) for p in model.plane), drawing)
    if card is None:
        return found
    return replace(
        found,
        card_units=": " + told("models.card_units", units=card.units),
        card_from=f"{card.shop}, {card.made_at[:10]}, {told('models.card_signed')}",
        card_signed=card.fingerprint()[:16],
    )


def _tip(wheel: str, speed_m_s: float) -> str:
    return told("model_says.tip", wheel=told(f"seen_from.{wheel}"), speed_m_s=speed_m_s)


def _plane(plane: PlaneFile) -> str:
    made = plane.as_plane()
    words = told(
        "model_says.plane",
        cutter=told(f"cutter.{plane.cutter}"),
        radius_mm=plane.radius_mm,
        deepest_mm=made.max_depth_mm,
        budget_mg=made.budget_mg,
    )
    stated = plane.max_depth_mm and plane.budget_mg
    return words if stated else f"{words} {told('model_says.by_default')}"


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
    typed_here = {
        k: typed.get(f"plane-{i}-{k}", "")
        for k in ("name", "radius_mm", "material", "cutter", "max_depth_mm")
    }
    deepest = typed_here.get("max_depth_mm")
    about = dotted(
        _known(Said("material." + as_code(typed_here["material"])), typed_here["material"]),
        _known(Said("cutter." + as_code(typed_here["cutter"])), typed_here["cutter"]),
        told("model_says.deepest", deepest=deepest)
        if deepest
        else told("model_says.deepest_unsaid"),
    )
    wrong = any(f.startswith(f"plane-{i}-") and f != "plane-0-radius_mm" for f in faults)
    stated = bool(typed_here.get("name") or typed_here.get("radius_mm"))
    return Fold(
        typed_here.get("name") or told("model_says.of_plane", number=i + 1),
        about if stated or not i else "",
        wrong or (stated and i > 0),
    )


def _known(said: Said, name: str) -> str:
    """Return what a choice of the form is called; one that is not on it as it is."""
    return spoken(said) if said.code in catalogue("en") else name


def limits_fold(typed: Mapping[str, str], faults: Mapping[str, str]) -> Fold:
    """Return the fold of limits and wheels."""
    house, good = typed.get("limit-house"), typed.get("limit-good")
    about = dotted(
        told("model_says.house", limit=house) if house else told("model_says.house_unsaid"),
        told("model_says.good", limit=good) if good else "",
    )
    return Fold(told("model_says.limits"), about, any(f in faults for f in LIMIT_FIELDS))
