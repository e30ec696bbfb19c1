"""Two houses and a line between them that may be cut."""

import json

from fastapi.testclient import TestClient

from heavyspot.quantities.errors import SourceLost
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.recording import Recording
from heavyspot.sources.simulated import simulated_recording
from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.station.line import refused
from heavyspot.workshop.station.station import join

QUICK = SpinSettings(run_up_s=1.5, hold_s=0.2, coast_s=0.5, sample_rate_hz=12_800.0)
RECORDINGS: dict[int, Recording] = {}


def recording(seed):
    if seed not in RECORDINGS:
        RECORDINGS[seed] = simulated_recording(make_cartridge("Larch 52", seed), seed, QUICK)
    return RECORDINGS[seed]


def spun(shop, serial, seed=1, *, new=True, **about):
    if new:
        add_piece(shop, serial, "Larch 52", **about)
    return spin(shop, serial, recording(seed))


class CutLine:
    """A line that is cut where it is told to: before a request arrives, or before its answer does."""

    def __init__(self, app, key, cuts=()):
        self.client = TestClient(app, base_url="http://127.0.0.1", headers={"X-Station-Key": key})
        self.cuts, self.sent, self.log = cuts, 0, []
        self.change = lambda method, path, body: body

    def send(self, method, path, body=b"", kind="application/json"):
        cut = self.cuts(self.sent) if callable(self.cuts) else None
        self.sent += 1
        if cut == "before":
            raise SourceLost("The line is down.", remedy="")
        self.log.append((method, path))
        answer = self.client.request(
            method, path, content=self.change(method, path, body), headers={"Content-Type": kind}
        )
        if cut == "after":
            raise SourceLost("The line is down.", remedy="")
        if answer.status_code >= 400:
            raise refused(answer.status_code, answer.content)
        return json.loads(answer.content)


class TwoHouses:
    """A main house with its application, and a station."""

    def __init__(self, folder, furnish, main_url="", east_url=""):
        for name, url in (("main", main_url), ("east", east_url)):
            (folder / name).mkdir()
            if url:
                (folder / name / "shop.toml").write_text(f"ledger_url = {json.dumps(url)}\n")
        self.app = create_app(folder / "main")
        self.main = self.app.state.shop
        furnish(self.main)
        self.key = add_station(self.main, "East", by="Ida")
        self.line = CutLine(self.app, self.key)
        join(folder / "east", self.line, "http://main", self.key)
        self.folder = folder
        self.east = Workshop(folder / "east")

    def reopened(self):
        self.east.close()
        self.east = Workshop(self.folder / "east")
        return self.east

    def close(self):
        self.east.close()
        self.main.close()
