"""Response cards: what a shop's units of a model taught, for another shop to begin with.

A card holds how a model's units respond, plane by plane, as a mean and the shapes in which they differ; no piece,
no customer, no serial number. It is signed by the shop that made it. Angles are told as a sensor at the pickup
would see them: a rig that says at which hour its sensor sits can turn them to itself.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..._version import __version__
from ...balance.cut.population import Population, population_of
from ...quantities.angles import Rotation
from ...quantities.clock import now, utc_text
from ...quantities.errors import BadInput, NotThere
from ...sources.sidecar import first_fault
from ..shop import Workshop
from ..shop_file import load_shop_file
from ..shop_key import CERTIFICATE, certificate_digest, fits, make_certificate, sign_words
from .models import find_model

KIND = "card"
"""Kind of a ledger's model entry that is a card; its name is the model's with this before it."""

LEAST_UNITS = 8
"""Units a card is made of at least: of fewer, one could be read out of it."""

POINTS = 60
"""Speeds of a card."""

LARGEST_BYTES = 2_000_000

Number = Annotated[float, Field(ge=-1e5, le=1e5, allow_inf_nan=False)]
Pair = tuple[Number, Number]
Text = Annotated[str, Field(max_length=120)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class CardSensor(_Strict):
    """A sensor's part: mean, and shapes one after the other, (real, imaginary) in g per g·mm at each speed."""

    name: Text
    mean: Annotated[list[Pair], Field(min_length=5, max_length=400)]
    shapes: Annotated[list[list[Pair]], Field(max_length=12)]


class CardPlane(_Strict):
    """A plane's part."""

    name: Text
    units: Annotated[int, Field(ge=LEAST_UNITS, le=1_000_000)]
    share: Annotated[
        list[Annotated[float, Field(gt=0, le=1.3)]], Field(min_length=5, max_length=400)
    ]
    sensors: Annotated[list[CardSensor], Field(min_length=1, max_length=8)]

    def population(self) -> Population:
        """Return it as arrays; raises `BadInput` where its parts do not fit together."""
        share = np.array(self.share)
        rank = len(self.sensors[0].shapes)
        fit = all(
            len(s.mean) == share.size
            and len(s.shapes) == rank
            and all(len(one) == share.size for one in s.shapes)
            for s in self.sensors
        )
        if not fit or (np.diff(share) <= 0).any():
            raise BadInput(
                f"Plane {self.name} of the card does not fit together.", remedy="Ask for it anew."
            )
        mean = np.stack([_complex(s.mean) for s in self.sensors])
        shapes = np.zeros((len(self.sensors), share.size, rank), complex)
        for i, s in enumerate(self.sensors):
            for r, one in enumerate(s.shapes):
                shapes[i, :, r] = _complex(one)
        return Population(share, tuple(s.name for s in self.sensors), mean, shapes, self.units)


class ResponseCard(_Strict):
    """A card.

    Attributes
    ----------
    shop, certificate, signature : str
        Who made it, with which certificate (PEM), and its signature over all the rest.
    """

    format: Literal["heavyspot response card"] = "heavyspot response card"
    version: Literal[1] = 1
    model: Text
    rotation: Rotation
    test_speed_rpm: Annotated[float, Field(gt=0, le=1e6)]
    planes: Annotated[list[CardPlane], Field(min_length=1, max_length=8)]
    made_at: Text
    program: Text
    shop: Text = ""
    certificate: Annotated[str, Field(max_length=20_000)] = ""
    signature: Annotated[str, Field(max_length=400)] = ""

    def words(self) -> str:
        """Return what is signed."""
        return json.dumps(
            self.model_dump(mode="json", exclude={"signature"}),
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=True,
        )

    @property
    def units(self) -> int:
        """Units it was made of, in the plane of which most are known."""
        return max(p.units for p in self.planes)

    def fingerprint(self) -> str:
        """Return the SHA-256 of its maker's certificate, hexadecimal."""
        return certificate_digest(self.certificate)


@dataclass(frozen=True)
class UnitResponse:
    """One unit's response of a plane, as it goes into a card.

    Attributes
    ----------
    lags_deg : tuple of float
        Turn from pickup to each sensor.
    """

    plane: str
    spread: float
    share: NDArray[np.float64]
    responses: dict[str, NDArray[np.complex128]]
    lags_deg: tuple[float, ...]


def make_card(shop: Workshop, name: str, units: Sequence[UnitResponse]) -> ResponseCard:
    """Return the signed card of a model from its units' responses.

    Raises
    ------
    BadInput
        No plane has enough units that tell of the same sensors.
    """
    model = find_model(shop, name)
    by_plane = {p.name: [u for u in units if u.plane == p.name] for p in model.plane}
    planes = [part for p, of in by_plane.items() if (part := _plane(p, of)) is not None]
    if not planes:
        raise BadInput(
            f"A card is made of {LEAST_UNITS} units whose cuts taught something, on a rig that says at which hour "
            f"its sensors sit; of {name} there are {max((len(u) for u in by_plane.values()), default=0)}.",
            remedy="State the clock places in the rig file, and balance more units.",
        )
    owner = load_shop_file(shop.folder).name
    make_certificate(shop.folder, owner)
    card = ResponseCard(
        model=name,
        rotation=model.rotation,
        test_speed_rpm=model.test_speed_rpm,
        planes=planes,
        made_at=utc_text(now()),
        program=__version__,
        shop=owner[:120],
        certificate=(shop.folder / CERTIFICATE).read_text(encoding="ascii"),
    )
    signature = sign_words(card.words(), shop.folder, name=owner)
    return card.model_copy(update={"signature": signature})


def _plane(name: str, units: Sequence[UnitResponse]) -> CardPlane | None:
    if not units:
        return None
    sensors = max((tuple(u.responses) for u in units), key=len)
    units = [u for u in units if set(sensors) <= set(u.responses)]
    if len(units) < LEAST_UNITS:
        return None
    low = max(float(u.share[0]) for u in units)
    high = min(float(u.share[-1]) for u in units)
    share = np.round(np.linspace(low, high, POINTS), 5)
    rows = [
        np.concatenate(
            [
                np.interp(share, u.share, u.responses[s]) * np.exp(-1j * np.deg2rad(lag))
                for s, lag in zip(sensors, u.lags_deg, strict=True)
            ]
        )
        for u in units
    ]
    weights = 1.0 / (np.array([u.spread for u in units]) ** 2 + 0.02)
    found = population_of(share, sensors, np.stack(rows), weights)
    parts = [
        CardSensor(name=s, mean=_pairs(m), shapes=[_pairs(one) for one in shapes.T])
        for s, m, shapes in zip(sensors, found.mean, found.shapes, strict=True)
    ]
    return CardPlane(name=name, units=found.units, share=share.tolist(), sensors=parts)


def parse_card(text: str | bytes) -> ResponseCard:
    """Return a card from its file's text, its signature checked.

    Raises
    ------
    BadInput
        It is no card, of a later version, does not fit together, or was changed since it was signed.
    """
    if len(text) > LARGEST_BYTES:
        raise BadInput("That is too large for a response card.", remedy="Choose the card's file.")
    try:
        card = ResponseCard.model_validate_json(text)
    except ValidationError as fault:
        raise BadInput(
            f"That is no response card: {first_fault(fault)}", remedy="Choose the card's file."
        ) from None
    for plane in card.planes:
        plane.population()
    try:
        whole = fits(card.words(), card.signature, card.certificate.encode())
    except ValueError:
        whole = False
    if not whole:
        raise BadInput(
            "The card was changed since it was signed, or never was.",
            remedy="Ask the shop that made it for it again.",
        )
    return card


def take_card(
    shop: Workshop, text: str | bytes, *, as_model: str = "", by: str = ""
) -> ResponseCard:
    """Take a card as what a model's first units begin with; the same model's next one replaces it.

    Parameters
    ----------
    as_model : str
        The model here that it is for; its own name when empty.

    Raises
    ------
    BadInput
        As `parse_card`; or model and card do not fit: another rotation, no plane in common.
    NotThere
        There is no such model here.
    """
    card = parse_card(text)
    model = find_model(shop, as_model or card.model)
    if model.rotation != card.rotation:
        raise BadInput(
            f"The card's model turns {card.rotation}, {model.name} {model.rotation}.",
            remedy="A mirrored model needs a card of its own.",
        )
    planes = {p.name for p in model.plane}
    if not planes & {p.name for p in card.planes}:
        raise BadInput(
            f"{model.name} has none of the card's planes: {', '.join(p.name for p in card.planes)}.",
            remedy="Name the planes alike in the model file.",
        )
    shop.book.models.add(_entry(model.name), card.model_dump(mode="json"), kind=KIND, by=by)
    return card


def drop_card(shop: Workshop, model: str, *, by: str = "") -> None:
    """Lean on a model's card no more; raises `NotThere` when there is none."""
    if card_of(shop, model) is None:
        raise NotThere(f"{model} has no response card.", remedy="heavyspot card list")
    shop.book.models.add(_entry(model), {}, kind=KIND, by=by)


def card_of(shop: Workshop, model: str) -> ResponseCard | None:
    """Return the card a model's first units begin with, or None."""
    entry = shop.book.models.newest(_entry(model))
    if entry is None or not entry.content:
        return None
    return ResponseCard.model_validate(dict(entry.content))


def cards(shop: Workshop) -> dict[str, ResponseCard]:
    """Return the cards taken, by the model here."""
    names = [n.removeprefix(_entry("")) for n in shop.book.models.names(KIND)]
    return {n: c for n in names if (c := card_of(shop, n)) is not None}


def _entry(model: str) -> str:
    return f"card of {model[:110]}"


def _complex(pairs: list[Pair]) -> NDArray[np.complex128]:
    parts = np.array(pairs, float)
    return np.asarray(parts[:, 0] + 1j * parts[:, 1])


def _pairs(values: Any) -> list[Pair]:
    """Return complex numbers as pairs of five figures: what the curves behind them are good to."""
    return [(float(f"{v.real:.5g}"), float(f"{v.imag:.5g}")) for v in values]
