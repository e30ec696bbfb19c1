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
from ...quantities.said import Said
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
            Said(
                "refusal.a_card_is_made_of",
                {
                    "least_units": LEAST_UNITS,
                    "name": name,
                    "value": max((len(u) for u in by_plane.values()), default=0),
                },
            ),
            remedy=Said("remedy.state_the_clock_places_in"),
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
        raise BadInput(
            Said("refusal.that_is_too_large_for"), remedy=Said("remedy.choose_the_card_file")
        )
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
            Said("refusal.the_card_was_changed_since"),
            remedy=Said("remedy.ask_the_shop_that_made"),
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
            Said(
                "refusal.the_card_model_turns",
                {"rotation": card.rotation, "name": model.name, "rotation_2": model.rotation},
            ),
            remedy=Said("remedy.a_mirrored_model_needs_a"),
        )
    planes = {p.name for p in model.plane}
    if not planes & {p.name for p in card.planes}:
        raise BadInput(
            Said(
                "refusal.has_none_of_the_card",
                {"name": model.name, "known": ", ".join(p.name for p in card.planes)},
            ),
            remedy=Said("remedy.name_the_planes_alike_in"),
        )
    shop.book.models.add(_entry(model.name), card.model_dump(mode="json"), kind=KIND, by=by)
    return card


def drop_card(shop: Workshop, model: str, *, by: str = "") -> None:
    """Lean on a model's card no more; raises `NotThere` when there is none."""
    if card_of(shop, model) is None:
        raise NotThere(
            Said("refusal.has_no_response_card", {"model": model}),
            remedy=Said("remedy.heavyspot_card_list"),
        )
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
