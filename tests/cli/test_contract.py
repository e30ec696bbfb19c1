"""The command-line contract other programs rely on: documents, exit codes, smallest files."""

import contextlib
import io
import json
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest
import soundfile
from conftest import SMALL_MODEL, SMALL_SIDECAR

from heavyspot.cli.main import main
from heavyspot.quantities.said import Said, in_words
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings, spin
from heavyspot.sources.readers import open_recording

PROGRAM = Path(sys.executable).with_name("heavyspot")
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Done:
    stdout: str
    stderr: str


class Shell:
    """The program as a shell calls it, in a folder of its own."""

    def __init__(self, folder):
        self.folder = folder

    def words(self, words):
        return ["heavyspot", "--data", str(self.folder / "data"), *map(str, words)]

    def run(self, *words, code=0):
        """Call it in this process: its imports, as long as most commands, are then paid once."""
        out, err = io.StringIO(), io.StringIO()
        with (
            contextlib.chdir(self.folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            patch.object(sys, "argv", self.words(words)),
            pytest.raises(SystemExit) as ended,
        ):
            main()
        assert ended.value.code == code, out.getvalue() + err.getvalue()
        return Done(out.getvalue(), err.getvalue())

    def process(self, *words, code=0):
        """Call it as a process, which is what the contract is about."""
        done = subprocess.run(
            [str(PROGRAM), *self.words(words)[1:]], capture_output=True, text=True, cwd=self.folder
        )
        assert done.returncode == code, done.stdout + done.stderr
        assert "Traceback" not in done.stderr
        return Done(done.stdout, done.stderr)

    def json(self, *words, code=0):
        out = self.run(*words, "--json", code=code).stdout
        assert out.count("\n") == 1
        return json.loads(out)


def recording(folder, unit, seed, name):
    made = spin(unit, seed, SpinSettings(run_up_s=4.0, hold_s=0.4, coast_s=1.5))
    path = folder / f"{name}.wav"
    soundfile.write(path, made.samples, int(made.sample_rate_hz), subtype="PCM_24")
    path.with_suffix(".json").write_text(json.dumps(SMALL_SIDECAR))
    return path


@pytest.fixture
def shell(tmp_path):
    (tmp_path / "model.toml").write_text(SMALL_MODEL)
    return Shell(tmp_path)


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """A shop with a model and the piece K1, whichever tests run before."""
    folder = tmp_path_factory.mktemp("known")
    (folder / "model.toml").write_text(SMALL_MODEL)
    made = Shell(folder)
    made.run("model", "add", "model.toml")
    made.run("piece", "new", "--serial", "K1", "--model", "Larch 52")
    return made


def test_the_whole_job(shell):
    assert shell.json("model", "add", "model.toml")["planes"] == ["nut"]
    shell.run(
        "piece", "new", "--serial", "S1", "--model", "Larch 52", "--customer", "Fjord Haulage"
    )
    unit = make_cartridge("Larch 52", 4, peak_g=1.1)
    rng = np.random.default_rng(0)
    verdicts = []
    for run in range(6):
        r = shell.json("spin", "S1", recording(shell.folder, unit, run, f"r{run}"))
        verdicts.append(r["verdict"])
        assert {
            "run",
            "curve",
            "overall_g",
            "verdict",
            "margin",
            "worst",
            "findings",
            "advice",
        } <= set(r)
        said = Said(**r["reason_said"])
        assert said.code.startswith("verdict.") and r["reason"] == in_words(said)
        curve = r["curve"]
        n = len(curve["speed_rpm"])
        assert (
            n == len(curve["amplitude_g"]) == len(curve["angle_deg"]) == len(r["overall_g"]) > 100
        )
        assert all(0 <= a < 360 for a in curve["angle_deg"])
        assert {"action", "cuts", "predicted", "chance_of_pass", "why"} <= set(r["advice"])
        advice = r["advice"]
        if advice["action"] == "fix":  # the one cut that all rests on is looked at first
            advice = shell.json("looked", "S1")["runs"][-1]["advice"]
        if advice["action"] != "cut":
            break
        predicted = advice["predicted"]
        assert {"speed_rpm", "amplitude_g", "low_g", "high_g", "others"} == set(predicted)
        for c in advice["cuts"]:
            assert {"plane", "angle_deg", "clock", "mass_mg", "unbalance_gmm", "depth_mm"} == set(c)
            assert re.fullmatch(r"\d{1,2}:\d\d", c["clock"])
            shell.run("ground", "S1", "--plane", c["plane"], "--angle", c["angle_deg"],
                      "--unbalance-gmm", c["unbalance_gmm"])  # fmt: skip
            unit = unit.ground(
                c["plane"], c["angle_deg"], c["unbalance_gmm"] * (1 + 0.1 * rng.normal())
            )
    assert verdicts[0] == "fail" and verdicts[-1] == "pass"
    assert r["advice"]["action"] == "stop"
    shell.run("sheet", "S1", "-o", "s1.pdf")
    assert (shell.folder / "s1.pdf").read_bytes().startswith(b"%PDF")
    shown = shell.run("show", "S1").stdout
    assert "PASS" in shown and "cut" in shown
    assert shell.json("piece", "list")[0]["verdict"] == "pass"


def test_check_exits_with_1_when_not_passed(shell):
    shell.run("model", "add", "model.toml")
    shell.run("piece", "new", "--serial", "F1", "--model", "Larch 52")
    bad = recording(shell.folder, make_cartridge("Larch 52", 2, peak_g=2.0), 1, "bad")
    shell.run("spin", "F1", bad, "--check", code=1)
    good = recording(shell.folder, make_cartridge("Larch 52", 2, peak_g=0.3), 1, "good")
    shell.run("piece", "new", "--serial", "F2", "--model", "Larch 52")
    shell.run("spin", "F2", good, "--check", code=0)


def test_read_and_convert_without_a_ledger(shell):
    path = recording(shell.folder, make_cartridge("Larch 52", 2, peak_g=0.8), 1, "free")
    out = shell.json("read", path)
    assert max(out["curve"]["amplitude_g"]) == pytest.approx(0.8, rel=0.12)
    shell.run("convert", path, "free2.flac")
    assert open_recording(shell.folder / "free2.flac").n_samples == open_recording(path).n_samples
    again = shell.json("read", "free2.flac")
    assert again["curve"]["speed_rpm"] == out["curve"]["speed_rpm"]
    assert np.allclose(again["curve"]["amplitude_g"], out["curve"]["amplitude_g"], atol=1e-6)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("spin", "nobody", "x.wav"), 3),
        (("rig", "health", "nobody"), 3),
        (("spin", "K1"), 2),
        (("model", "add", "missing.toml"), 2),
        (("ground", "K1", "--plane", "nut", "--angle", "ten", "--depth", "1"), 2),
        (("ground", "K1", "--plane", "nut", "--angle", "10"), 2),
        (("read", "missing.wav", "--json"), 2),
        (("frobnicate",), 2),
        (("sheet", "nobody", "-o", "x.pdf"), 3),
        (("rig", "add", "r", "--due", "tomorrow"), 2),
    ],
)
def test_bad_use_has_its_exit_code_and_prints_nothing_to_stdout(known, words, code):
    done = known.process(*words, code=code)
    assert done.stdout == ""
    assert done.stderr.strip()
    assert known.run(*words, code=code) == done


def test_a_process_says_what_a_call_says(known):
    said = known.process("piece", "list", "--json")
    assert said.stderr == "" and said == known.run("piece", "list", "--json")
    assert [p["serial"] for p in json.loads(said.stdout)] == ["K1"]


def test_help_of_every_command_is_in_the_reference():
    text = (ROOT / "docs/reference/cli.md").read_text()
    from typer.main import get_command

    from heavyspot.cli.main import app

    def walk(command, path):
        for name, sub in getattr(command, "commands", {}).items():
            yield from walk(sub, [*path, name])
        if not getattr(command, "commands", None):
            yield path, command

    for path, command in walk(get_command(app), []):
        name = " ".join(path)
        assert command.help, name
        assert f"`heavyspot {name}" in text, name
        for option in command.params:
            for flag in option.opts:
                if flag.startswith("--") and flag != "--help":
                    assert flag in text, (name, flag)


def test_a_watched_folder_is_taken_without_a_server(known):
    unit = make_cartridge("Larch 52", 4, peak_g=1.1)
    folder = known.folder / "out"
    folder.mkdir()
    recording(folder, unit, 3, "K1")
    (folder / "K1.json").unlink()
    channels = "".join(
        f'[[channel]]\nname = "{c["name"]}"\nquantity = "{c["quantity"]}"\nfull_scale = 10.0\n'
        + ('sensitivity = {value = 100.0, unit = "mV/g"}\n' if c["quantity"] != "phase" else "")
        for c in SMALL_SIDECAR["channels"]
    )
    rig = f'name = "High 2"\nwatch = "out"\nsample_rate_hz = 51200\nrotation = "clockwise"\n{channels}'
    (known.folder / "high2.toml").write_text(rig)
    assert "taken: K1.wav: Run" in known.run("watch", "high2.toml", "--once").stdout
    assert known.json("show", "K1")["runs"][-1]["rig"] == "High 2"
    (known.folder / "bare.toml").write_text(rig.replace('watch = "out"\n', ""))
    assert "names no folder" in known.run("watch", "bare.toml", "--once", code=2).stderr
