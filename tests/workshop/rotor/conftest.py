"""The demo shop with a wheel and a fan on a machine whose least reading is known."""

import pytest
from workshop.rotor.shelf import FAN, WHEEL

from heavyspot.sources.simulated import MACHINE
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.rotor.models import add_rotor, add_rotor_model


@pytest.fixture
def rotors(shop):
    add_rotor_model(shop, WHEEL, by="Ida")
    add_rotor_model(shop, FAN, by="Ida")
    add_rotor(shop, "W-1", "Larch 52 shaft and wheel", customer="Tidal Works", invoice="77")
    add_rig(
        shop, MACHINE, {"kind": "low-speed rotor machine", "reduction": 0.98, "least_gmm": 0.002}
    )
    return shop
