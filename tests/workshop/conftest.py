"""The demo shop on an empty ledger."""

import pytest

from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.shop import Workshop


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    furnish(made)
    yield made
    made.close()
