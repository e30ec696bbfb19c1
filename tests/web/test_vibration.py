"""Vibration at the supports over HTTP and on the rotor's page."""

import numpy as np
import pytest

from heavyspot.sources.simulated import MACHINE
from heavyspot.workshop.rotor.machine_calibration import calibrate_machine

KIND = "Blower 900"
HOME = "/api/v1/rotors/V-R1/readings"


@pytest.fixture(scope="module")
def calibrated(client):
    client.post("/api/v1/rotors", json={"serial": "V-R1", "rotor": KIND})
    planes = len(client.get(f"/api/v1/rotor-kinds/{KIND}").json()["plane"])
    added = np.vstack([np.zeros(planes), 1000 * np.eye(planes)]).astype(complex)
    H = 0.001 * (np.eye(planes) + 0.2j)
    calibrate_machine(
        client.app.state.shop, MACHINE, KIND, added, 0.5 + added @ H.T,
        speed_rpm=900, units=["mm/s"], names=("drive", "free")[:planes],
    )  # fmt: skip
    there = H @ np.full(planes, 2000.0)
    return {
        "at": "supports",
        "amounts": [abs(v) for v in there],
        "angles_deg": [float(np.rad2deg(np.angle(v))) for v in there],
        "rig": MACHINE,
        "speed_rpm": 900,
    }


def test_over_http(client, calibrated):
    made = client.post(HOME, json=calibrated)
    assert made.status_code == 201 and made.json()["way"] == "influence"
    assert [p["amount_gmm"] for p in made.json()["planes"]] == pytest.approx([2000.0, 2000.0])
    inches = {**calibrated, "amounts": [a / 25.4 for a in calibrated["amounts"]], "unit": "in/s"}
    again = client.post(HOME, json=inches).json()
    assert [p["amount_gmm"] for p in again["planes"]] == pytest.approx([2000.0, 2000.0])
    for wrong in ({"speed_rpm": None}, {"unit": "mil"}, {"rig": ""}, {"light_spot": True}):
        refused = client.post(HOME, json={**calibrated, **wrong})
        assert refused.status_code == 422 and refused.json()["code"] == "bad-input"
    assert client.post(HOME, json={**calibrated, "at": "planes", "unit": ""}).status_code == 201


def test_on_the_page(client, calibrated):
    client.post("/api/v1/rotors", json={"serial": "V-R2", "rotor": KIND})
    page = client.get("/rotor/V-R2").text
    assert f"Vibration read off: {MACHINE}" in page and "calibrated at 900" in page
    assert "drive, amount" in page and "free, amount" in page
    typed = {"vibration-rig": MACHINE, "vibration-speed": "900", "vibration-unit": "mm/s"}
    for i, (a, at) in enumerate(zip(calibrated["amounts"], calibrated["angles_deg"], strict=True)):
        typed |= {f"sensor-{i}": f"{a:.6f}", f"sensor-angle-{i}": f"{at:.4f}"}
    bad = client.post("/rotor/V-R2/vibration", data={**typed, "vibration-speed": "fast"})
    assert bad.status_code == 422 and typed["sensor-0"] in bad.text  # what was typed stays
    done = client.post("/rotor/V-R2/vibration", data=typed, follow_redirects=True)
    assert done.status_code == 200
    (read,) = client.get("/api/v1/rotors/V-R2").json()["runs"]
    assert [p["amount_gmm"] for p in read["planes"]] == pytest.approx([2000.0] * 2, rel=1e-4)
