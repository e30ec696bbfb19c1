"""Response cards over HTTP and in the browser: taken, shown, refused in view, dropped."""

import pytest
from workshop.model.test_card import MODEL, units

from heavyspot import add_model, cards
from heavyspot.workshop.model.card import make_card


@pytest.fixture
def card(client):
    shop = client.app.state.shop
    add_model(shop, MODEL)
    return make_card(shop, "Rowan 40", units()).model_dump_json()


def test_a_card_is_taken_and_dropped_over_http(client, card):
    made = client.post("/api/v1/models/Rowan 40/card", json={"text": card})
    assert made.status_code == 201 and made.json()["units"] == 12
    assert "12 units" in client.get("/models").text
    assert client.delete("/api/v1/models/Rowan 40/card").status_code == 204
    assert client.delete("/api/v1/models/Rowan 40/card").status_code == 404
    refused = client.post(
        "/api/v1/models/Rowan 40/card", json={"text": card.replace("12", "13", 1)}
    )
    assert refused.status_code == 422 and "changed since it was signed" in refused.json()["detail"]
    few = client.get("/api/v1/models/Rowan 40/card")
    assert few.status_code == 422 and "8 units" in few.json()["detail"]


def test_the_pages_form_does_the_same_and_says_what_is_wrong(client, card):
    file = {"file": ("card.json", card.encode(), "application/json")}
    client.post("/models/card", data={"name": "Rowan 40"}, files=file)
    assert cards(client.app.state.shop)["Rowan 40"].units == 12
    bad = client.post(
        "/models/card",
        data={"name": "Rowan 40"},
        files={"file": ("x.json", b"{}", "application/json")},
    )
    assert bad.status_code == 422 and "no response card" in bad.text
    assert client.get("/models/card?name=Rowan%2040").status_code == 422
    client.post("/models/card/drop", data={"name": "Rowan 40"})
    assert not cards(client.app.state.shop)
