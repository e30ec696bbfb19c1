"""The page a sheet's QR code leads to."""

import pytest
from fastapi.testclient import TestClient

from heavyspot.web.app import create_app
from heavyspot.workshop.shop import find_piece


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("verify page") / "data", demo=True)
    with TestClient(app, base_url="http://127.0.0.1") as made:
        made.post("/api/v1/rotors", json={"serial": "V-1", "rotor": "Blower 900"})
        reading = {"amounts": [100, 100], "angles_deg": [1, 2]}
        made.post("/api/v1/rotors/V-1/readings", json=reading)
        made.post("/api/v1/rotors/V-1/sheets", json={})
        yield made


def digest(client, number):
    return client.app.state.shop.book.sheets.find(number).digest


def test_only_who_holds_the_sheet_is_told(client):
    shop = client.app.state.shop
    number = shop.book.sheets.newest(find_piece(shop, "V-1").id, "run").number
    told = client.get(f"/verify/{number}?d={digest(client, number)}")
    assert told.status_code == 200 and "Issued here" in told.text
    for path in (f"/verify/{number}", f"/verify/{number}?d=00", "/verify/1999-1?d=00"):
        unknown = client.get(path)
        assert unknown.status_code == 404 and "Not known" in unknown.text
        assert "V-1" not in unknown.text
    client.post("/api/v1/rotors/V-1/sheets", json={"why": "the customer moved"})
    assert "Superseded" in client.get(f"/verify/{number}?d={digest(client, number)}").text
