"""The commands of the low-speed machines and of proof: one JSON document, exit codes, plain words."""

import json

import pytest
from cli.test_contract import ROOT, Shell


@pytest.fixture(scope="module")
def shell(tmp_path_factory):
    made = Shell(tmp_path_factory.mktemp("rotor cli"))
    made.run("rotor", "model", ROOT / "docs/examples/larch52-wheel.toml")
    made.run("rotor", "new", "--serial", "W-1", "--rotor", "Larch 52 shaft and wheel")
    return made


def test_a_rotor_from_reading_to_verified_sheet(shell):
    first = shell.json(
        "rotor", "measure", "W-1", "--reading", "0.9@40", "--reading", "0.5@200", "--rig", "north"
    )
    assert first["verdict"] == "fail" and first["advice"]["corrections"]
    assert len(shell.json("rotor", "corrected", "W-1")) == len(first["advice"]["corrections"])
    shell.json("rotor", "corrected", "W-1", "--plane", "hub", "--made", "0.01@10")
    last = shell.json("rotor", "measure", "W-1", "--reading", "0.02@310", "--reading", "0.01@120")
    assert last["verdict"] == "pass"
    assert "PASS" in shell.run("rotor", "show", "W-1").stdout
    sheet = shell.folder / "w.pdf"
    assert shell.json("rotor", "sheet", "W-1", "--out", sheet)["verdict"] == "pass"
    told = shell.json("verify", sheet)
    assert told["answer"] == "genuine" and told["sheet"]["serial"] == "W-1"
    sheet.write_bytes(sheet.read_bytes().replace(b"sheet.json", b"sheet.jsox"))
    assert shell.json("verify", sheet, code=1)["answer"] == "altered"
    assert shell.json("verify")["good"] is True
    assert shell.json("verify", "--recordings")["broken"] == []


def test_machines(shell):
    readings = " ".join(["10"] * 12)
    told = shell.json(
        "machine", "residual-test", "north", "--plane", f"left={readings}", "--due", "2031-01-01"
    )
    assert told["passed"] and told["due"] == "2031-01-01"
    moved = " ".join(str(30 * k) for k in range(11))
    read = " ".join(f"150@{30 * k}" for k in range(11))
    shell.json(
        "machine", "reduction-test", "north", "--plane", f"left={read}", "--stationary", "0@0",
        "--travelling", "150", "--positions", moved, "--least", "1",
    )  # fmt: skip
    shell.json(
        "machine", "compensator-test", "north", "--plane", "left=5@0 5@0 5@0 5@0", "--compensated",
        "50", "--least", "1",
    )  # fmt: skip
    assert len(shell.json("machine", "proofs", "north")["proofs"]) == 3
    table = shell.folder / "trials.csv"
    table.write_text(
        "run,plane1,plane2,A,B\na,0,0,1@40,1@200\nb,2@0,0,3@10,1.1@200\nc,0,2@0,1@60,4@150\n"
    )
    kind = "Larch 52 shaft and wheel"
    told = shell.json(
        "machine", "calibrate", "north", kind, table, "--speed", "2400", "--unit", "um"
    )
    assert len(told["response"]) == 2 and told["units"] == ["µm"]
    shell.run("rotor", "new", "--serial", "W-V", "--rotor", kind)
    typed = ("rotor", "measure", "W-V", "--vibration", "1@40", "--vibration", "1@200")
    told = shell.json(*typed, "--speed", "2400", "--rig", "north", "--unit", "µm")
    assert told["way"] == "influence" and told["evidence"]["typed"]
    assert "calibrated" in shell.run(*typed, "--speed", "2400", "--rig", "north").stdout
    assert "speed" in shell.run(*typed, "--rig", "north", code=2).stderr
    assert "either" in shell.run(*typed, "--reading", "1@2", code=2).stderr
    told = shell.json(
        "machine", "arbor", "north", kind, "--plane", "hub=6@0 4@0", "--plane", "shoulder=1@0 1@0"
    )
    assert told["fixture"][0] == pytest.approx([1.0, 0.0])


def test_sums_need_no_ledger(shell):
    told = shell.json("rotor", "tolerance", "--mass", "3600", "--speed", "3000", "--grade", "2.5")
    assert told["specific_um"] == pytest.approx(7.958, rel=1e-3)
    assert len(shell.json("rotor", "split", "10@50", "--places", "5")["places"]) == 2
    assert shell.json("rotor", "index", "6@0", "4@0")["rotor"]["amount"] == pytest.approx(5)
    assert shell.json("rotor", "transfer", "3@0", "1@0", "--planes", "0 100", "--to", "0 50")[
        "plane 2"
    ]["amount"] == pytest.approx(2)
    assert shell.json("rotor", "parts", "3@0", "1@0", "--planes", "0 100", "--centre", "50")[
        "kind"
    ] == ("quasi-static")
    assert (
        shell.json("rotor", "budget", "--runout", "a=1,0.01", "--other", "b=12")["likely_gmm"] == 13
    )
    parts = shell.folder / "parts.csv"
    parts.write_text("kind;name;amount_gmm;angle_deg\nwheel;C1;0,5;10\nnut;N1;0,2;30\n")
    assert shell.json("rotor", "match", parts)["total_gmm"] == pytest.approx(0.3)
    assert "id" in shell.json("rotor", "match", parts, "--keep")


@pytest.mark.parametrize(
    "words",
    [
        ["rotor", "measure", "W-1"],
        ["rotor", "measure", "W-1", "--reading", "much@0", "--reading", "1@0"],
        ["rotor", "measure", "nobody", "--reading", "1@0", "--reading", "1@0"],
        ["rotor", "corrected", "W-1", "--plane", "hub"],
        ["rotor", "split", "10@50", "--places", "1"],
        ["rotor", "match", "no-such-file.csv"],
        ["machine", "residual-test", "north", "--plane", "left=1 2 3"],
        ["verify", "no-such-file.pdf"],
    ],
)
def test_bad_use_is_one_plain_error(shell, words):
    done = shell.run(*words, code=3 if "nobody" in words else 2)
    assert done.stdout == "" and done.stderr.count("\n") <= 3


def test_json_holds_nothing_else(shell):
    assert json.loads(shell.run("rotor", "show", "W-1", "--json").stdout)["serial"] == "W-1"
