"""A station's sheet is genuine at the main house too: it holds a link of the station's chain, not of this one."""

import shutil

from workshop.station.two_houses import spun

from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.sheets.verify import verify_sheet
from heavyspot.workshop.shop_key import CERTIFICATE, KEY
from heavyspot.workshop.station.station import exchange


def test_it_is_not_called_altered(houses, tmp_path):  # the fixture
    for name in (KEY, CERTIFICATE):  # one shop, one key in both buildings
        shutil.copy(houses.main.folder / name, houses.east.folder / name)
    spun(houses.east, "E-0", 1)
    issue_sheet(houses.east, "E-0", tmp_path / "e.pdf")
    exchange(houses.east, houses.line)
    pdf = (tmp_path / "e.pdf").read_bytes()
    assert verify_sheet(pdf, shop=houses.east).answer == "genuine"
    assert verify_sheet(pdf, shop=houses.main).answer == "genuine"
