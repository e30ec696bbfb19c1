"""The clock and the language a page speaks by."""

import io

import pytest
from fastapi.testclient import TestClient

from heavyspot.quantities.dates import day_short, moment_short
from heavyspot.quantities.errors import UnreadableFile
from heavyspot.web.app import create_app
from heavyspot.web.speaking import best_of


def test_times_are_on_the_shop_s_clock_and_exports_in_utc(tmp_path):
    """Kiritimati is 14 hours before UTC the whole year (IANA time zone data): its day is another one."""
    data = tmp_path / "data"
    data.mkdir()
    (data / "shop.toml").write_text('timezone = "Pacific/Kiritimati"\n')
    with TestClient(create_app(data, demo=True), base_url="http://127.0.0.1") as client:
        client.post("/api/v1/pieces", json={"serial": "Z-1", "model": "Larch 52"})
        at = client.get("/api/v1/pieces/Z-1").json()["at"]
        story = client.get("/story/Z-1").text
    assert at.endswith("Z")
    assert moment_short(at, "Pacific/Kiritimati") in story
    assert moment_short(at, "UTC") not in story


def test_a_zone_there_is_not_is_refused_by_name(tmp_path):
    (tmp_path / "shop.toml").write_text('timezone = "Europe/Nowhere"\n')
    with pytest.raises(UnreadableFile, match="Europe/Nowhere"):
        create_app(tmp_path)


def test_a_day_without_a_time_is_no_other_day_anywhere():
    for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):
        assert day_short("2001-03-01", zone) == "1 Mar 2001"


def test_the_browser_s_wish_is_weighed():
    """RFC 9110, 12.4.2: without a weight it is 1, and 0 means not acceptable."""
    assert best_of("fr;q=0.7, de;q=0.8, *;q=0.1") == "de"
    assert best_of("de-CH, fr;q=0.9") == "de"
    assert best_of("de;q=0, es;q=0.1") == "es"
    assert best_of("garbage;;;q=x") == ""


OLD = b"date;serial;model;peak g;verdict\n2020-03-01;OLD-77;Willow 9;0.4;pass\n"


def test_an_old_piece_whose_model_nobody_described_can_be_opened(client):
    sent = client.post("/old-book", files={"file": ("b.csv", io.BytesIO(OLD), "text/csv")})
    columns = {"serial": "serial", "date": "date", "model": "model", "last_g": "peak g"}
    told = {"do": "take"} | {f"column-{k}": v for k, v in columns.items()}
    progress = str(client.post(str(sent.url), data=told).url)
    for _ in range(200):
        if client.get("/story/OLD-77").status_code == 200:
            break
    assert progress
    opened = client.get("/bench/OLD-77")
    assert opened.status_code == 200 and str(opened.url).endswith("/story/OLD-77")
    assert (
        "Willow 9" in opened.text and "/models/edit?like=Willow%209&amp;back=OLD-77" in opened.text
    )
    form = client.get("/models/edit?like=Willow%209&back=OLD-77").text
    assert 'value="Willow 9"' in form and 'name="back" value="OLD-77"' in form
