"""With accounts on, whoever is logged in did it; another name that was typed stands beside it, never instead."""

import pytest
from fastapi.testclient import TestClient
from web.over_http import wait

from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.people import LOCAL, Person
from heavyspot.workshop.rotor.kept import rotor_story
from heavyspot.workshop.rotor.models import add_rotor
from heavyspot.workshop.shop import find_piece

BOTH = "Mallory (says: Ida)"


@pytest.fixture
def mallory(tmp_path):
    """A technician who types another one's name wherever one can be typed."""
    app = create_app(tmp_path / "data", demo=True, pace=40.0)
    people = app.state.people
    people.set_user("Mallory", "technician", "a sentence to remember")
    people.set_user("Ida", "owner", "a sentence to remember")
    app.state.accounts_needed = True
    token = people.log_in("Mallory", "a sentence to remember")
    headers = {"X-CSRF-Token": people.who(token).csrf}
    with TestClient(app, base_url="http://127.0.0.1", headers=headers) as client:
        client.cookies.set("heavyspot", token)
        yield client


def test_runs_cuts_pieces_and_readings(mallory):
    shop = mallory.app.state.shop
    body = {"serial": "W-1", "model": "Larch 52", "by": "Ida"}
    assert mallory.post("/api/v1/pieces", json=body).status_code == 201
    assert find_piece(shop, "W-1").by == BOTH
    for what in ("guard", "oil"):
        assert mallory.post("/bench/W-1/yes", data={"what": what}).status_code == 200
    for send in (
        lambda: mallory.post("/bench/W-1/spin", data={"operator": " Ida "}),
        lambda: mallory.post("/api/v1/bench/W-1/spin", json={"operator": "Ida"}),
    ):
        assert send().status_code in (200, 202)
        wait(mallory, "W-1")
    cut = {"plane": "nut", "angle_deg": 30.0, "mass_mg": 5.0, "by": "Ida"}
    assert mallory.post("/api/v1/pieces/W-1/cuts", json=cut).status_code == 201
    story = cartridge_story(shop, "W-1")
    assert [r.entry.by for r in story.runs] == [BOTH, BOTH] and {c.by for c in story.made} == {BOTH}
    add_rotor(shop, "W-2", "Blower 900")
    typed = {"amount-0": "1", "angle-0": "1", "amount-1": "1", "angle-1": "2", "operator": "Ida"}
    assert mallory.post("/rotor/W-2/measure", data=typed).status_code == 200
    assert rotor_story(shop, "W-2").readings[0].entry.by == BOTH


def test_the_own_name_and_no_name_are_the_person(mallory):
    assert Person("Ida", "owner").signs("Ida") == Person("Ida", "owner").signs("") == "Ida"
    assert (
        LOCAL.signs(" Jon ") == "Jon" and LOCAL.signs() == ""
    )  # nobody has to log in: what is typed counts
    long = Person("Ida", "owner").signs("x" * 500)
    assert long.startswith("Ida (says: x") and len(long) == 120
    sneaky = Person("Mallory", "technician").signs("Ida\n\nIda")
    assert sneaky == "Mallory (says: Ida Ida)"
