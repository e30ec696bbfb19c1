"""The check of a rig's angles on its page: looked at, kept, refused; and what the rig shows is then read by it."""

import io
import re
from html import unescape

import numpy as np
import pytest
from web.over_http import add

PLACE = "/rig-angles/stand%201"
STATED = {"unit": "g", "measure": "peak", "way": "moved", "moved": "90"}
BEFORE = "60000 0.12 35\n75000 0.20 50\n90000 0.31 80\n"
WITH = "60000 0.12 126\n75000 0.20 139\n90000 0.31 170\n"
"""The same, after the mark was moved by 90 degrees, at a rig that counts with rotation."""

AGAINST = "60000 0.12 305\n75000 0.20 320\n90000 0.31 350\n"


@pytest.fixture(autouse=True)
def stand(client):
    """The rig, whose record says nothing of its angles."""
    body = {"name": "stand 1", "content": {"note": "of 1998", "pickup_delay_us": 3.0}}
    assert client.post("/api/v1/rigs", json=body).status_code == 201


def record(client):
    return client.get("/api/v1/rigs/stand 1").json()


def send(client, after, do="look", **more):
    data = STATED | {"table_1": BEFORE, "table_2": after, "do": do} | more
    return client.post(PLACE, data=data, follow_redirects=False)


@pytest.mark.parametrize(("after", "sense"), [(WITH, "with"), (AGAINST, "against")])
def test_it_is_seen_first_and_kept_when_asked(client, after, sense):
    assert "No check has told" in client.get(PLACE).text
    seen = send(client, after)
    assert seen.status_code == 200 and f"count {sense} rotation." in seen.text
    assert record(client)["angles"] is None  # looking writes nothing
    kept = send(client, after, "keep", seen=sense, zero_deg="70", sensor_lag_deg="")
    assert kept.status_code == 303 and kept.headers["location"] == PLACE
    now = record(client)
    assert (now["angles"]["sense"], now["angles"]["zero_deg"]) == (sense, 70.0)
    assert now["angles"]["how"] == "moved mark" and now["angles"]["sensor_lag_deg"] is None
    assert (now["note"], now["pickup_delay_us"]) == ("of 1998", 3.0)
    page = client.get(PLACE).text
    assert f"count {sense} rotation" in page and "Its zero is at 70°" in page


def test_with_rotation_is_the_other_way(client):
    assert "count against rotation." in send(client, WITH, forward="with").text


def test_what_was_seen_is_what_is_kept(client):
    refused = send(client, AGAINST, "keep", seen="with")
    assert refused.status_code == 422 and "something else than what was seen" in refused.text
    assert "count against rotation." in refused.text  # and what it tells now is there to be seen
    assert send(client, WITH, "keep").status_code == 422  # nothing was seen
    assert record(client)["angles"] is None


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"table_2": BEFORE}, "turned by 0 degrees"),  # the mark was not moved
        ({"table_2": ""}, "Table 2 has no row"),
        ({"table_2": "60000 0.12\n75000 0.2\n"}, "Table 2 has no angles"),
        ({"table_2": "60000 0.9 126\n75000 0.02 250\n90000 0.1 3\n"}, "something else changed"),
        ({"moved": "5"}, "do not tell one way"),
        ({"moved": "180"}, "do not tell one way"),
        ({"moved": "a lot"}, "angle of the mark"),
        ({"unit": ""}, "unit"),
        ({"seen": "with", "do": "keep", "zero_deg": "north"}, "zero"),
    ],
)
def test_what_does_not_tell_is_refused_and_stays_typed(client, more, says):
    answer = send(client, **({"after": WITH} | more))
    assert answer.status_code == 422 and says in answer.text
    assert BEFORE.splitlines()[0] in answer.text
    assert record(client)["angles"] is None


def after_cuts(*, with_rotation):
    """Return what a rig shows as found and after cuts of 2 g·mm at 30° and 130°, by its own angles."""
    found, response = 0.9 * np.exp(0.4j), np.array([0.08, 0.11, 0.15]) * np.exp([0.2j, 0.9j, 2.0j])
    off = np.cumsum([0, 2 * np.exp(1j * np.deg2rad(30)), 2 * np.exp(1j * np.deg2rad(130))])
    shown = [found - response * c for c in off]
    shown = [np.conj(v) for v in shown] if with_rotation else shown
    degrees = [np.rad2deg(np.angle(v)) % 360 for v in shown]
    return [
        "".join(
            f"{rpm} {abs(a):.3f} {deg:.0f}\n"
            for rpm, a, deg in zip((60_000, 75_000, 90_000), v, d, strict=True)
        )
        for v, d in zip(shown, degrees, strict=True)
    ]


@pytest.mark.parametrize("with_rotation", [False, True])
def test_two_cuts_tell_it_and_a_file_stays_for_the_keeping(client, with_rotation):
    tables = after_cuts(with_rotation=with_rotation)
    cuts = {"cut_1": "2", "at_1": "30", "cut_2": "2", "at_2": "130"}
    data = {"way": "cuts", "unit": "g", "measure": "peak"} | cuts
    files = {"file_2": ("one.csv", io.BytesIO(tables[1].encode()))}
    sent = data | {"table_1": tables[0], "table_3": tables[2]}
    seen = client.post(PLACE, data=sent, files=files)
    sense = "with" if with_rotation else "against"
    assert seen.status_code == 200 and f"count {sense} rotation." in seen.text
    boxes = re.findall(r'<textarea name="table_\d"[^>]*>(.*?)</textarea>', seen.text, re.DOTALL)
    typed = {f"table_{i}": unescape(b) for i, b in enumerate(boxes, start=1)}
    kept = client.post(
        PLACE, data=data | typed | {"do": "keep", "seen": sense}, follow_redirects=False
    )
    assert kept.status_code == 303 and record(client)["angles"]["how"] == "two cuts"
    none = client.post(PLACE, data=data | typed | {"cut_2": "0"})
    assert none.status_code == 422 and "took nothing off" in none.text


def test_a_piece_of_the_rig_is_then_read_by_it(client):
    add(client, "RA-1")
    rows = {
        "speed_rpm": [60_000, 90_000, 120_000],
        "sensors": [{"amplitude": [0.2, 0.9, 0.4], "angle_deg": [35, 80, 120]}],
    }
    body = {**rows, "unit": "g", "measure": "peak", "rig": "stand 1"}

    def findings(**more):
        run = client.post("/api/v1/pieces/RA-1/curves", json=body | more).json()
        return {f["code"] for f in run["findings"]}, run["curve"]["angle_deg"]

    codes, angles = findings()
    assert "table.sense_unknown" in codes and angles == [None, None, None]
    assert send(client, WITH, "keep", seen="with", zero_deg="10").status_code == 303
    codes, angles = findings(recorded_at="2026-11-27 09:30")
    assert "table.sense_unknown" not in codes
    late = 3e-6 * 360 * np.array([1000, 1500, 2000])  # the pickup's, in degrees at each speed
    assert angles == pytest.approx(np.array([335, 290, 250]) + late)


def test_a_rig_that_is_not_there_has_no_page(client):
    assert client.get("/rig-angles/nobody").status_code == 404
    assert client.post("/rig-angles/nobody", data=STATED).status_code == 404
    assert "/rig-angles/stand%201" in client.get("/rigs").text
