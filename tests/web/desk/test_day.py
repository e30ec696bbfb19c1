"""Today: the page of a shop at work, and the way to the first spin of an empty one."""

from fastapi.testclient import TestClient
from workshop.cartridge.test_spin import MODEL

from heavyspot.web.app import create_app
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.editing import Member, add_job
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.shop import Workshop


def asked(folder, **how):
    return TestClient(create_app(folder, **how), base_url="http://127.0.0.1")


def test_an_empty_shop_is_led_to_its_first_spin(tmp_path):
    with asked(tmp_path / "data") as client:
        said = client.get("/").text
        assert "Three steps to the first spin" in said and "No rig is connected" in said
        assert "When there is a model" in said
    with Workshop(tmp_path / "data") as shop:
        add_model(shop, MODEL)
    with asked(tmp_path / "data") as client:
        assert "First piece" in client.get("/").text
        assert client.get("/bench", follow_redirects=False).headers["location"] == "/"


def test_the_day_says_what_waits_and_what_needs_a_person(tmp_path):
    with Workshop(tmp_path / "data") as shop:
        add_model(shop, MODEL)
        add_job(
            shop, [Member("A-1", "Larch 52"), Member("A-2", "Larch 52")], customer="<Fjord> Haulage"
        )
        tell(shop, "A-1", "claim", "whistle & more")
    with asked(tmp_path / "data") as client:
        said = client.get("/").text
        assert "&lt;Fjord&gt; Haulage" in said and "0 of 2" in said
        assert "Claim: whistle &amp; more" in said and "Look at it" in said
        assert "Nothing has passed yet today" in said
        assert "A-2" in client.get("/book").text
