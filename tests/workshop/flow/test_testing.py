"""Flow tests of pieces: from readings to verdict, stop and sheet, by every way in."""

import json

import fluids
import numpy as np
import pikepdf
import pytest
from fastapi.testclient import TestClient
from sheet.pdf_text import text_of
from typer.testing import CliRunner

from heavyspot.cli.main import app as cli
from heavyspot.flow.air import Air
from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.sources.live import Description, LiveBlock
from heavyspot.sources.recording import Channel
from heavyspot.web.app import create_app
from heavyspot.workshop.flow.bench import compute, parse_bench, parse_read, set_bench
from heavyspot.workshop.flow.kept import flow_tests_of
from heavyspot.workshop.flow.live import read_live
from heavyspot.workshop.flow.testing import (
    add_to_table,
    keep_flow_test,
    readings_of_table,
)
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.sheets.flow import stop_words
from heavyspot.workshop.sheets.issue import issue_flow_sheet, issue_sheet_of
from heavyspot.workshop.sheets.verify import verify_sheet

NOZZLE = {"element": "isa 1932 nozzle", "pipe_mm": 80.0, "bore_mm": 40.0, "certificate": "N-1"}
WINDOWS = {
    "flow": [{"name": "closed", "position": 0.0, "low_kg_s": 0.038, "high_kg_s": 0.042},
             {"name": "open", "position": 10.0, "low_kg_s": 0.10, "high_kg_s": 0.12}],
    "stop": {"wanted_kg_s": 0.05, "per_turn": 1.5},
}  # fmt: skip


@pytest.fixture
def flow(shop):
    content = shop.book.models.newest("Larch 52").content
    add_model(shop, content | {"name": "Larch 52 V"} | WINDOWS)
    set_bench(shop, "Flow 1", NOZZLE, by="Ida")
    add_piece(shop, "F-1", "Larch 52 V", customer="Tidal Works")
    return shop


def drop_for(flow_kg_s, upstream=100.0, temperature=22.0):
    """The drop a nozzle shows at a corrected flow, by the independent `fluids` library."""
    air = Air(upstream, temperature)
    flow = flow_kg_s / np.sqrt((temperature + 273.15) / 298.15) * (upstream / 100.0)
    outlet = fluids.differential_pressure_meter_solver(
        D=0.08, D2=0.04, P1=1e3 * upstream, P2=None, rho=air.density_kg_m3, mu=air.viscosity_pa_s, k=1.4, m=flow,
        meter_type="ISA 1932 nozzle",
    )  # fmt: skip
    return upstream - outlet / 1e3


def readings(truth, noise=0.0, seed=0):
    rng = np.random.default_rng(seed)
    return [
        {
            "position": x, "way": way, "upstream_kpa": 100.0, "temperature_c": 22.0,
            "drop_kpa": drop_for(truth(x) + rng.normal(0, noise)),
        }
        for x in (0.0, 2.5, 5.0, 7.5, 10.0) for way in ("opening", "closing")
    ]  # fmt: skip


def line(x):
    return 0.04 + 0.007 * x


def test_readings_come_out_as_the_flow_that_made_them(flow):
    told = keep_flow_test(
        flow, "F-1", "Flow 1", readings(line), housings="the factory's", stop_at=1.0, by="Ida"
    )
    for r in told.flow.readings:
        assert r.corrected == pytest.approx(line(r.position), rel=1e-5)
        assert 0.001 < r.corrected_u / r.corrected < 0.02
    assert [w.verdict for w in told.flow.windows] == [
        "pass",
        "pass",
    ] and told.entry.verdict == "pass"
    stop = told.flow.stop
    assert stop is not None
    assert stop.position == pytest.approx((0.05 - 0.04) / 0.007, rel=1e-3) and stop.way == "in"
    assert stop.turns == pytest.approx((10 / 7 - 1) / 1.5, rel=0.01)
    assert "Turn the stop in 0.29" in stop_words(stop)
    events = [e for e in whole_story(flow, "F-1") if e.kind == "flow"]
    assert "the factory's" in events[0].text and events[0].verdict == "pass"
    assert list(flow.book.check_chain()) == []


def test_windows_missed_open_and_not_measured(flow):
    low = keep_flow_test(flow, "F-1", "Flow 1", readings(lambda x: 0.8 * line(x)))
    assert [w.verdict for w in low.flow.windows] == ["fail", "fail"] and low.entry.verdict == "fail"
    edge = keep_flow_test(
        flow, "F-1", "Flow 1", readings(lambda x: line(x) * (0.042 / 0.04 if x == 0 else 1))
    )
    assert edge.flow.windows[0].verdict == "undecided" and edge.entry.verdict == "undecided"
    some = keep_flow_test(flow, "F-1", "Flow 1", readings(line)[2:8])
    assert [w.corrected for w in some.flow.windows] == [
        None,
        None,
    ] and some.entry.verdict == "undecided"
    between = keep_flow_test(
        flow, "F-1", "Flow 1", [r for r in readings(line) if r["position"] != 5.0]
    )
    assert between.entry.verdict == "pass"
    assert [t.number for t in flow_tests_of(flow, "F-1")] == [1, 2, 3, 4]


def test_a_leak_ratio_and_efficiency(flow):
    reading = readings(line)[0] | {"in_kpa": 100.0, "in_c": 20.0, "out_kpa": 200.0, "out_c": 110.0}
    leak = {
        "volume_l": 10.0,
        "from_kpa": 201.0,
        "to_kpa": 200.0,
        "seconds": 60.0,
        "temperature_c": 20.0,
    }
    told = keep_flow_test(flow, "F-1", "Flow 1", [reading], leak=leak)
    (r,) = told.flow.readings
    assert r.ratio == 2.0 and r.efficiency == pytest.approx(
        293.15 * (2 ** (0.4 / 1.4) - 1) / 90, rel=1e-9
    )
    assert told.flow.leak_kg_s == pytest.approx(0.1188e-3 / 60, rel=1e-3)
    assert r.efficiency_u and told.flow.leak_u_kg_s
    with pytest.raises(BadInput, match="a pipe of 50 to"):
        set_bench(flow, "Flow 4", {"element": "orifice", "pipe_mm": 40, "bore_mm": 20})


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"readings": []}, "0 readings"), ({"rig": "none"}, "no flow element"),
        ({"readings": [{"upstream_kpa": 100, "drop_kpa": 60}]}, "outside the standard"),
        ({"readings": [{"upstream_kpa": 100}]}, "is missing"), ({"readings": [{"drop": 3}]}, "reading"),
        ({"readings": [{"drop_kpa": 3, "humidity": 40}]}, "reading"),
        ({"readings": [{"drop_kpa": 3, "upstream_kpa": -1}]}, "reading"),
        ({"readings": [{"drop_kpa": 3, "out_kpa": 1e300}]}, "reading"),
    ],
)  # fmt: skip
def test_what_cannot_be(flow, wrong, why):
    given = {"rig": "Flow 1", "readings": readings(line)} | wrong
    with pytest.raises((BadInput, LedgerFault), match=why):
        keep_flow_test(flow, "F-1", given["rig"], given["readings"])
    assert not flow_tests_of(flow, "F-1")


def test_benches_that_cannot_be():
    for wrong in (
        {}, {"element": "pump"}, {"element": "orifice"}, {"element": "orifice", "pipe_mm": 50, "bore_mm": 49},
        {"element": "laminar"}, {"element": "meter", "pipe": 3}, {"element": "meter", "coefficient_u": 0.9},
    ):  # fmt: skip
        with pytest.raises(BadInput):
            parse_bench(wrong)
    meter = parse_bench({"element": "meter", "coefficient_u": 0.01})
    with pytest.raises(BadInput, match="meter's reading"):
        compute(meter, parse_read({"drop_kpa": 1}))
    found = compute(
        meter, parse_read({"flow_kg_s": 0.05, "upstream_kpa": 100, "temperature_c": 25})
    )
    assert found.corrected == pytest.approx(0.05) and found.flow_u == pytest.approx(0.0005)


def test_tables_as_people_have_them():
    semicolons = readings_of_table("position;way;drop_kpa\n0;opening;1,25\n5;closing;2,5\n")
    assert semicolons == [
        {"position": 0, "way": "opening", "drop_kpa": 1.25},
        {"position": 5, "way": "closing", "drop_kpa": 2.5},
    ]
    assert readings_of_table("position,drop_kpa\n0,1.25\n") == [{"position": 0, "drop_kpa": 1.25}]
    for wrong, why in (
        ("", "no readings"),
        ("x,drop_kpa\n1,2\n", "not known"),
        ("drop_kpa\nabc\n", "no number"),
    ):
        with pytest.raises(BadInput, match=why):
            readings_of_table(wrong)


def test_a_flow_sheet_is_its_own_kind(flow, tmp_path):
    keep_flow_test(flow, "F-1", "Flow 1", readings(line, 1e-4), stop_at=1.0, by="Ida")
    one = issue_flow_sheet(flow, "F-1", tmp_path / "f.pdf", by="Ines")
    pdf = (tmp_path / "f.pdf").read_bytes()
    told = text_of(pdf, tmp_path)
    for words in (
        "Flow sheet",
        "Passed",
        "ISA 1932 nozzle, certificate N-1",
        "25 °C and 100 kPa",
        "Turn the stop in",
        "Ines",
    ):
        assert words in told
    with pikepdf.open(tmp_path / "f.pdf") as opened:
        assert len(opened.pages) == 1
    assert verify_sheet(pdf, shop=flow).answer == "genuine"
    two = issue_flow_sheet(flow, "F-1", tmp_path / "g.pdf", language="de", why="in German")
    german = text_of((tmp_path / "g.pdf").read_bytes(), tmp_path)
    assert "Durchflussprotokoll" in german and f"ersetzt {one.number}" in german
    assert verify_sheet(pdf, shop=flow).answer == "superseded" and two.number != one.number
    with pytest.raises(LedgerFault):
        issue_sheet_of(flow, "F-1", tmp_path / "h.pdf")  # no run to make a balancing sheet of


def test_efficiency_and_leak_stand_on_the_sheet_with_their_uncertainty(flow, tmp_path):
    machine = {"in_kpa": 100.0, "in_c": 20.0, "out_kpa": 200.0, "out_c": 110.0}
    leak = {"volume_l": 10, "from_kpa": 201, "to_kpa": 200, "seconds": 60, "temperature_c": 20}
    told = keep_flow_test(flow, "F-1", "Flow 1", [readings(line)[0] | machine], leak=leak).flow
    issue_flow_sheet(flow, "F-1", tmp_path / "f.pdf")
    text = text_of((tmp_path / "f.pdf").read_bytes(), tmp_path)
    (r,) = told.readings
    assert r.efficiency_u and told.leak_kg_s and told.leak_u_kg_s
    assert f"{r.efficiency:.3f} ± {2 * r.efficiency_u:.3f}" in text
    assert f"{1e3 * told.leak_kg_s:.5f} ± {2e3 * told.leak_u_kg_s:.5f} g/s" in text


def test_over_http_and_on_the_command_line(flow, tmp_path):
    folder = flow.book.folder
    client = TestClient(create_app(folder), base_url="http://127.0.0.1")
    body = {"rig": "Flow 1", "readings": readings(line), "stop_at": 1.0}
    assert client.post("/api/v1/pieces/F-1/flow", json=body).status_code == 201
    assert client.get("/api/v1/pieces/F-1/flow").json()[0]["verdict"] == "pass"
    wrong = client.post("/api/v1/pieces/F-1/flow", json=body | {"readings": [{"drop": 1}]})
    assert wrong.status_code == 422 and "reading" in wrong.json()["detail"]
    made = client.post("/api/v1/flow-benches/Flow 2", json={"content": {"element": "meter"}})
    assert made.status_code == 201
    page = client.get("/flow/F-1").text
    assert "passed" in page and "Turn the stop in" in page and "<svg" in page
    form = {
        "rig": "Flow 1",
        "drop_kpa-0": "1,25",
        "position-0": "0",
        "upstream_kpa-0": "100",
        "temperature_c-0": "x",
    }
    refused = client.post("/flow/F-1", data=form)
    assert refused.status_code == 422 and 'value="1,25"' in refused.text
    assert client.post("/flow/F-1/sheet").content.startswith(b"%PDF")
    assert client.get("/flow/F-1/sheet.pdf").content.startswith(b"%PDF")

    def run(*words):
        return CliRunner().invoke(cli, ["--data", str(folder), "flow", *words])

    table = tmp_path / "t.csv"
    names = ("position", "way", "drop_kpa", "upstream_kpa", "temperature_c")
    rows = [";".join(str(r[n]) for n in names) for r in readings(line)]
    table.write_text(";".join(names) + "\n" + "\n".join(rows).replace(".", ","))
    told = run("test", "F-1", "--rig", "Flow 1", "--table", str(table), "--stop-at", "1")
    assert told.exit_code == 0 and "PASS, corrected to 25 °C and 100 kPa." in told.output
    assert "isa 1932 nozzle" in run("bench", "Flow 1").output
    assert (
        json.loads(
            run("bench", "Flow 3", "element=orifice", "pipe_mm=80", "bore_mm=40", "--json").output
        )["taps"]
        == "corner"
    )
    assert run("sheet", "F-1", "--out", str(tmp_path / "s.pdf")).exit_code == 0


class StillBench:
    """A bench's interface: a pressure and a temperature, a little noisy, at 100 samples a second."""

    def describe(self):
        channels = (
            Channel("drop_kpa", "pressure", "kPa", 10.0), Channel("temperature_c", "temperature", "°C", 100.0),
            Channel("spare", "other", "V", 1.0),
        )  # fmt: skip
        return Description(channels, 100.0, None, "Flow 1")

    def open(self):
        self.rng = np.random.default_rng(3)

    def blocks(self):
        for n in range(1000):
            noise = 1e-3 * self.rng.normal(size=(20, 3))
            yield LiveBlock(20 * n, (np.array([0.125, 0.22, 0.5]) + noise).astype(np.float32), 0.0)

    def close(self):
        pass


class NamelessBench(StillBench):
    """One whose only channel has no name that a reading knows."""

    def describe(self):
        return Description((Channel("x"),), 100.0, None, "")


def test_a_live_bench_is_read_and_added_to_the_table(flow, tmp_path):
    got = read_live(StillBench(), 4.0, {"drop_kpa": 0.02})
    assert got.seconds == pytest.approx(4.0) and set(got.values) == {"drop_kpa", "temperature_c"}
    assert got.values["drop_kpa"] == pytest.approx(1.23, abs=2e-3)
    assert got.spread["drop_kpa"] == pytest.approx(0.01, rel=0.2)
    table = tmp_path / "r.csv"
    for position in (0.0, 5.0):
        add_to_table(table, got.values | {"position": position, "way": "opening"})
    rows = readings_of_table(table.read_text())
    assert [r["position"] for r in rows] == [0.0, 5.0] and rows[0]["way"] == "opening"
    told = keep_flow_test(flow, "F-1", "Flow 1", rows)
    for r in told.flow.readings:
        assert drop_for(r.corrected) == pytest.approx(1.23, rel=5e-3)
    # closed, 0.067 kg/s is far more than 0.042; nothing was read at the open end
    assert [w.verdict for w in told.flow.windows] == ["fail", "undecided"]
    assert told.entry.verdict == "fail"
    with pytest.raises(BadInput, match="other columns"):
        add_to_table(table, {"drop_kpa": 1.0})
    with pytest.raises(BadInput, match="named like a reading"):
        read_live(NamelessBench())
