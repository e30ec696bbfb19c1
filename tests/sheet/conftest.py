"""A cartridge balanced to its end, and a rotor with a correction, for their sheets."""

import numpy as np
import pytest
from loop.loop import model_of
from workshop.cartridge.test_spin import MODEL, balance

from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import RIG
from heavyspot.workshop.demo.rigs import DEMO_ROTORS
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.rotor.measuring import (
    corrected_as_advised,
    measure_typed,
)
from heavyspot.workshop.rotor.models import add_rotor, add_rotor_model
from heavyspot.workshop.shop import Workshop


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    shop = Workshop(tmp_path_factory.mktemp("shop") / "data")
    add_model(shop, {**MODEL, "limit": [{"limit_g": 0.5}, {"name": "very good", "limit_g": 0.25}]})
    add_rig(shop, RIG, {"calibrated_at": "2025-01-01", "certificate": "C-1", "due": "2026-01-01"})
    add_piece(
        shop, "S-1", "Larch 52", customer="Fjord Haulage & Søn", invoice="26-7", position="left"
    )
    balance(shop, "S-1", make_cartridge("Larch 52", 5, peak_g=1.2), np.random.default_rng(0))
    yield shop
    shop.close()


@pytest.fixture(scope="module")
def rotors(tmp_path_factory):
    shop = Workshop(tmp_path_factory.mktemp("rotor sheet"))
    add_model(shop, model_of("Larch 52", 150_000.0, 52.0).model_dump(exclude_unset=True))
    add_rig(shop, "old", {"kind": "low-speed rotor machine", "due": "2020-01-01"})
    add_rotor_model(shop, DEMO_ROTORS[0])
    add_rotor(shop, "W-1", DEMO_ROTORS[0]["name"], customer="Tidal Works", invoice="77")
    measure_typed(shop, "W-1", [0.9, 0.5], [40, 200], rig="old", by="Ida")
    corrected_as_advised(shop, "W-1")
    measure_typed(shop, "W-1", [0.02, 0.01], [310, 120], rig="old", by="Ida")
    yield shop
    shop.close()
