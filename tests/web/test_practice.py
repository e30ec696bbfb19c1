"""Without a rig nothing is spun; a simulated one is said on every page and never over a shop's own ledger."""

import pytest
from fastapi.testclient import TestClient
from workshop.cartridge.test_spin import MODEL

from heavyspot.quantities.errors import BadInput
from heavyspot.sources.sound_card import RigFile
from heavyspot.web.app import create_app
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.shop import Workshop

BAND = "nothing here is a measurement"


@pytest.fixture
def folder(tmp_path):
    with Workshop(tmp_path / "data") as shop:
        add_model(shop, MODEL)
        add_piece(shop, "A-1", "Larch 52", customer="Fjord Haulage")
    return tmp_path / "data"


def client(folder, **how):
    return TestClient(create_app(folder, **how), base_url="http://127.0.0.1")


def test_without_a_rig_nothing_is_heard_or_spun(folder):
    with client(folder) as asked:
        assert BAND not in asked.get("/").text
        for verb in ("spin", "listen"):
            told = asked.post(f"/api/v1/bench/A-1/{verb}", json={})
            assert told.status_code == 404, verb
            assert "No rig is connected" in told.json()["detail"]
        assert {p.name for p in (folder / "capture").iterdir()} <= {"owner.lock"}
        assert asked.get("/bench/A-1").status_code == 200


def test_what_is_simulated_lies_beside_the_shop_s_own_and_every_page_says_so(folder):
    with client(folder, simulated=True, pace=200.0) as asked:
        assert asked.get("/bench/A-1").status_code == 404  # the shop's pieces are not practised on
        for place in ("/", "/jobs", "/models", "/rigs", "/insight", "/ledger", "/bench/A-1"):
            assert BAND in asked.get(place).text, place
    with client(folder) as asked:
        assert BAND not in asked.get("/").text
        assert "simulated rig" not in asked.get("/api/v1/rigs").text


def test_a_real_rig_never_measures_into_a_practice_ledger(folder, tmp_path):
    rig = RigFile.model_construct(name="rig")
    for demo in (False, True):
        with pytest.raises(BadInput, match=r"practice ledger|own"):
            create_app(folder, rig=rig, demo=demo, simulated=not demo)
    with client(tmp_path / "demo", demo=True) as asked:
        assert BAND in asked.get("/").text
    with pytest.raises(BadInput, match="practice ledger"):
        create_app(tmp_path / "demo", rig=rig)
    with client(tmp_path / "demo") as asked:  # the band stays without the flag, and nothing spins
        assert BAND in asked.get("/").text


def test_the_demo_shop_is_not_put_into_a_shop_s_own_ledger(folder):
    with pytest.raises(BadInput, match="own"):
        create_app(folder, demo=True)
