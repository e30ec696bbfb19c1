"""The demo shop on an empty ledger: made once, a copy of it for every test."""

import shutil

import pytest

from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.shop import Workshop


@pytest.fixture(scope="session")
def furnished(tmp_path_factory):
    folder = tmp_path_factory.mktemp("furnished") / "data"
    made = Workshop(folder)
    furnish(made)
    made.close()
    return folder


@pytest.fixture
def shop(furnished, tmp_path):
    made = Workshop(shutil.copytree(furnished, tmp_path / "data"))
    yield made
    made.close()
