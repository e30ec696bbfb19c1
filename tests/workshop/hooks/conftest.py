"""A shop, two spins and a receiver, for each test of hooks."""

from __future__ import annotations

import pytest
from workshop.hooks.receiver import receiver
from workshop.hooks.telling import QUICK

import heavyspot


@pytest.fixture(scope="module")
def spins():
    return [heavyspot.simulate(unit=u, **QUICK) for u in (1, 2)]


@pytest.fixture
def shop(tmp_path):
    with heavyspot.Workshop(tmp_path / "data") as opened:
        heavyspot.add_model(opened, "docs/examples/larch52.toml")
        heavyspot.add_piece(opened, "H-1", "Larch 52", customer="Fjord Haulage")
        yield opened


@pytest.fixture
def told():
    with receiver() as made:
        yield made
