"""The day's pages and the post, asked for over HTTP."""

import pytest
from fastapi.testclient import TestClient
from workshop.cartridge.test_spin import QUICK

from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import RIG, simulated_recording
from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.post import letters as letters_module
from heavyspot.workshop.sheets.issue import issue_sheet


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("post") / "data", demo=True)
    client = TestClient(app, base_url="http://127.0.0.1")  # no lifespan: no errand sends anything
    client.post("/api/v1/pieces", json={"serial": "P/1", "model": "Larch 52", "customer": "Fjord"})
    made = simulated_recording(make_cartridge("Larch 52", 3, peak_g=0.2), 5, QUICK)
    spin(app.state.shop, "P/1", made, operator="Ines", rig=RIG)
    issue_sheet(app.state.shop, "P/1", by="Ines")
    yield client
    app.state.shop.close()


def test_the_day_s_pages_are_a_file_and_no_day_is_told(client):
    paper = client.get("/book/day.pdf")
    assert paper.headers["content-type"] == "application/pdf" and paper.content.startswith(b"%PDF")
    assert "log-" in paper.headers["content-disposition"]
    refused = client.get("/book/day.pdf?day=yesterday")
    assert refused.status_code == 422 and "no day" in refused.text
    assert 'action="/book/day.pdf"' in client.get("/book").text


def test_a_letter_waits_on_the_story_and_can_be_taken_back(client, monkeypatch):
    shop = client.app.state.shop
    number = shop.book.sheets.of_piece(shop.book.jobs.piece("P/1").id)[-1].number
    assert "/mail" not in client.get("/story/P/1").text  # no server is named
    with (shop.folder / "shop.toml").open("a") as file:
        file.write(
            'mail_host = "127.0.0.1"\nmail_port = 1\nmail_security = "none"\nmail_from = "o@s.example"\n'
        )
    page = client.get("/story/P/1").text
    assert f'action="/sheets/{number}/mail"' in page
    refused = client.post(f"/sheets/{number}/mail", data={"serial": "P/1", "to": "nobody"})
    assert (
        refused.status_code == 422
        and "no address" in refused.text
        and 'value="nobody"' in refused.text
    )
    practice = client.post(f"/sheets/{number}/mail", data={"serial": "P/1", "to": "a@b.example"})
    assert practice.status_code == 422 and "practice" in practice.text
    monkeypatch.setattr(letters_module, "is_practice", lambda _: False)
    asked = client.post(f"/sheets/{number}/mail", data={"serial": "P/1", "to": "a@b.example"})
    assert asked.status_code == 200 and "to a@b.example waits" in asked.text
    (letter,) = letters_module.waiting_letters(shop)
    gone = client.post(f"/post/{letter.id}", data={"serial": "P/1", "do": "drop"})
    assert gone.status_code == 200 and "a@b.example" not in gone.text
    twice = client.post(f"/post/{letter.id}", data={"serial": "P/1", "do": "again"})
    assert twice.status_code == 422 and "does not wait" in twice.text
