"""Two houses that know each other, for the tests of stations."""

import pytest
from workshop.station.two_houses import TwoHouses

from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.station.station import exchange


@pytest.fixture
def houses(tmp_path):
    made = TwoHouses(tmp_path, furnish)
    exchange(made.east, made.line)
    yield made
    made.close()
