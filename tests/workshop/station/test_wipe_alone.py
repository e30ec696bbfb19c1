"""A store that anything has open is not emptied: what writes on would write into files that are gone."""

import subprocess
import sys

import pytest
from conftest import there
from workshop.station.two_houses import spun

from heavyspot.quantities.errors import LedgerFault
from heavyspot.web.app import create_app
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.station import exchange, wipe

OPEN = """
import sys
from heavyspot.workshop.shop import Workshop
shop = Workshop(sys.argv[1])
print("open", flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def houses(houses):
    spun(houses.east, "E-0", 1)
    exchange(houses.east, houses.line)
    return houses


def test_not_while_a_server_or_a_command_has_it_open(houses, tmp_path):
    east = tmp_path / "east"
    before = len(houses.line.log)
    with pytest.raises(LedgerFault, match="east open"):
        wipe(east, houses.line)
    assert len(houses.line.log) == before  # said before the line is used
    houses.east.close()
    app = create_app(east)
    with pytest.raises(LedgerFault, match="east open"):
        wipe(east, houses.line)
    add_piece(app.state.shop, "E-1", "Larch 52")  # it works on, in a file that is there
    app.state.shop.close()
    child = subprocess.Popen(
        [sys.executable, "-c", OPEN, str(east)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    there(child.stdout).readline()
    with pytest.raises(LedgerFault, match="east open"):
        wipe(east, houses.line)
    child.kill()
    child.communicate()
    kept = wipe(east, houses.line)  # nobody has it any more
    assert kept.exists()
    houses.east = Workshop(east)
    assert houses.east.book.jobs.piece("E-1") is not None  # back from the main house


def test_one_that_opens_it_meanwhile_is_told_so(houses, tmp_path, monkeypatch):
    houses.east.close()
    told = []

    def opens(path, text):
        with pytest.raises(LedgerFault, match="emptied") as fault:
            Workshop(tmp_path / "east")
        told.append(fault.value)

    monkeypatch.setattr("heavyspot.workshop.station.station.write_text", opens)
    with pytest.MonkeyPatch.context() as m:
        m.setattr("heavyspot.workshop.station.station._write", lambda *_: None)
        wipe(tmp_path / "east", houses.line)
    assert told
    houses.east = Workshop(tmp_path / "east")
