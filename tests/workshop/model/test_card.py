"""Response cards: what goes in, what comes out, and what is refused."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot import Workshop, add_model
from heavyspot.quantities.errors import BadInput, NotThere
from heavyspot.workshop.cartridge.card_units import response_card
from heavyspot.workshop.model.card import (
    UnitResponse,
    card_of,
    cards,
    drop_card,
    make_card,
    parse_card,
    take_card,
)
from heavyspot.workshop.model.card_here import CardHere
from heavyspot.workshop.model.model_file import parse_model

SHARE = np.linspace(0.15, 1.0, 86)
MODEL = {
    "name": "Rowan 40", "rotation": "clockwise", "rated_speed_rpm": 200_000, "test_speed_rpm": 180_000,
    "plane": [{"name": "nut", "radius_mm": 5}, {"name": "turbine hub", "radius_mm": 7}],
}  # fmt: skip


def response(gain=1.0, at=0.6):
    r = SHARE / at
    return gain * 3.0 * SHARE**2 * (0.3 + 1 / (1 - r**2 - 0.25j * r))


def units(count=12, *, plane="nut", lag_deg=90.0, seed=1):
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        gain = 1 + 0.1 * (rng.standard_normal() + 1j * rng.standard_normal())
        seen = response(gain, 0.6 + 0.01 * rng.standard_normal()) * np.exp(1j * np.deg2rad(lag_deg))
        out.append(UnitResponse(plane, 0.1, SHARE, {"housing": seen}, (lag_deg,)))
    return out


@pytest.fixture
def shop(tmp_path):
    with Workshop(tmp_path / "shop") as made:
        add_model(made, MODEL)
        yield made


@pytest.fixture
def text(shop):
    return make_card(shop, "Rowan 40", units()).model_dump_json()


def test_what_comes_out_is_what_went_in_turned_to_the_pickup(text):
    (plane,) = parse_card(text).planes
    found = plane.population()
    wanted = np.interp(found.share, SHARE, response())
    assert plane.units == 12 and found.sensors == ("housing",)
    off = np.abs(found.mean[0] - wanted).max() / np.abs(wanted).max()
    assert off < 0.1  # twelve units that scatter by 10 %


def test_on_a_rig_whose_sensor_sits_elsewhere_it_is_turned(text):
    card = parse_card(text)
    there = {p.name: p.population() for p in card.planes}
    model, speed = parse_model(MODEL, name="Rowan 40"), np.linspace(0.3, 0.95, 30) * 180_000
    found = [
        CardHere(there, 180_000.0, ("compressor end",), (lag,)).prior("nut", model, speed)
        for lag in (0.0, 70.0)
    ]
    one, two = (p.mean for p in found if p is not None)
    turned = np.rad2deg(np.angle(two / one))
    np.testing.assert_allclose(turned, 70.0, atol=1e-6)


def test_it_names_no_piece_and_no_customer(text):
    assert set(json.loads(text)) == {
        "format", "version", "model", "rotation", "test_speed_rpm", "planes", "made_at", "program", "shop",
        "certificate", "signature",
    }  # fmt: skip


def test_of_few_units_none_is_made(shop):
    with pytest.raises(BadInput, match="8 units"):
        make_card(shop, "Rowan 40", units(7))
    with pytest.raises(BadInput, match="8 units"):
        response_card(shop, "Rowan 40")


@given(st.data())
def test_a_changed_card_is_refused(data):
    """Any number or word changed after it was signed."""
    card = json.loads(CARD[0])
    where = data.draw(st.sampled_from(["share", "mean", "units", "model", "shop", "speed"]))
    plane = card["planes"][0]
    match where:
        case "share":
            plane["share"][3] += 1e-4
        case "mean":
            i = data.draw(st.integers(0, len(plane["sensors"][0]["mean"]) - 1))
            plane["sensors"][0]["mean"][i][0] *= -1.01
            plane["sensors"][0]["mean"][i][0] += 0.5
        case "units":
            plane["units"] += 1
        case "model" | "shop":
            card[where] += "x"
        case "speed":
            card["test_speed_rpm"] += 1
    with pytest.raises(BadInput):
        parse_card(json.dumps(card))


@pytest.mark.parametrize(
    "text",
    [
        b"", b"{}", b"[]", b"\x00\xff", b'{"format": "heavyspot response card", "version": 2}',
        b"x" * 3_000_000,
    ],
)  # fmt: skip
def test_what_is_no_card_is_refused(text):
    with pytest.raises(BadInput):
        parse_card(text)


def test_numbers_that_are_none_are_refused(text):
    for bad in ("NaN", "Infinity", "1e300"):
        card = text.replace('"mean":[[', f'"mean":[[{bad},0],[', 1)
        with pytest.raises(BadInput):
            parse_card(card)


def test_it_is_taken_replaced_and_dropped(shop, text):
    take_card(shop, text, by="Ida")
    assert cards(shop)["Rowan 40"].units == 12
    take_card(shop, make_card(shop, "Rowan 40", units(20)).model_dump_json())
    assert cards(shop)["Rowan 40"].units == 20
    drop_card(shop, "Rowan 40")
    assert card_of(shop, "Rowan 40") is None and not cards(shop)
    with pytest.raises(NotThere):
        drop_card(shop, "Rowan 40")


def test_it_must_fit_the_model(shop, text):
    add_model(shop, {**MODEL, "name": "Mirror", "rotation": "counterclockwise"})
    add_model(shop, {**MODEL, "name": "Other", "plane": [{"name": "hub", "radius_mm": 5}]})
    with pytest.raises(BadInput, match="turns clockwise"):
        take_card(shop, text, as_model="Mirror")
    with pytest.raises(BadInput, match="none of the card's planes"):
        take_card(shop, text, as_model="Other")
    with pytest.raises(NotThere):
        take_card(shop, text, as_model="Nobody's")


CARD: list[str] = []


@pytest.fixture(scope="module", autouse=True)
def _a_card(tmp_path_factory):
    with Workshop(tmp_path_factory.mktemp("cards") / "shop") as made:
        add_model(made, MODEL)
        CARD[:] = [make_card(made, "Rowan 40", units()).model_dump_json()]
