"""Real capture without a sound card: a null sink of PulseAudio, its monitor, PortAudio between."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import textwrap
import time
from ctypes.util import find_library

import numpy as np
import pytest
import soundfile
from conftest import needs, there

from heavyspot import SourceLost, UnreadableFile, open_recording, read_recording
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings, spin
from heavyspot.sources.sound_card import SecondClock, load_rig_file

RIG = """
name = "test rig"
device = "pulse"
sample_rate_hz = {rate}
rotation = "clockwise"
[[channel]]
name = "housing"
quantity = "acceleration"
unit = "V"
full_scale = 10.0
sensitivity = {{value = 100.0, unit = "mV/g"}}
[[channel]]
name = "pickup"
quantity = "phase"
unit = "V"
full_scale = 10.0
"""

CHILD = textwrap.dedent(
    """
    import json, sys, threading, time
    from pathlib import Path
    from heavyspot.sources.sound_card import SoundCardLive, load_rig_file
    from heavyspot.workshop.bench.capture import Capture
    from heavyspot.workshop.taking.disk_first import About
    rig, folder, seconds, stall = Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]), float(sys.argv[4])
    source = SoundCardLive(load_rig_file(rig))
    if stall:  # hold up the driver's callback once, as an overloaded computer does
        take, calls = source._take, []
        def slow(*a):
            calls.append(1)
            if len(calls) == 40:
                time.sleep(stall)
            take(*a)
        source._take = slow
    capture = Capture(source, folder, About("x"))
    capture.start()
    print("started", flush=True)
    time.sleep(seconds)
    capture.stop()
    print(json.dumps({"path": str(capture.path), "error": capture.error,
                      "lost": capture.snapshot.lost_samples, "shots": capture.snapshot.number}))
    """
)


@pytest.fixture(scope="module")
def pulse(tmp_path_factory):
    """A PulseAudio of our own, one null sink for each rate; yields the environment to use."""
    needs(shutil.which("pulseaudio"), "pulseaudio")
    needs(find_library("portaudio"), "libportaudio2")
    home = tmp_path_factory.mktemp("pulse")
    runtime = home / "run"
    runtime.mkdir(mode=0o700)
    env = {
        **os.environ,
        "HOME": str(home),
        "XDG_RUNTIME_DIR": str(runtime),
        "PULSE_RUNTIME_PATH": str(runtime),
        "PULSE_SERVER": f"unix:{runtime}/native",
    }
    (home / ".asoundrc").write_text("pcm.pulse { type pulse }\nctl.pulse { type pulse }\n")
    server = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no",
         "--disallow-exit", "--log-level=error", "-L", f"module-native-protocol-unix socket={runtime}/native"],
        env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    for _ in range(100):
        done = subprocess.run(["pactl", "info"], env=env, capture_output=True)
        if done.returncode == 0:
            break
        time.sleep(0.1)
    else:
        server.kill()
        pytest.fail("pulseaudio did not start")
    yield env
    server.terminate()
    server.wait(10)


def sink(env, rate):
    name = f"null{rate}"
    for words in (
        [
            "load-module",
            "module-null-sink",
            f"sink_name={name}",
            f"rate={rate}",
            "channels=2",
            "format=float32le",
        ],
        ["set-default-source", f"{name}.monitor"],
        ["set-default-sink", name],
    ):
        subprocess.run(["pactl", *words], env=env, check=True, capture_output=True)
    return name


def capture(env, tmp_path, rate, seconds, *, play=None, stall=0.0):
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG.format(rate=rate))
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(rig), str(tmp_path / "cap"), str(seconds), str(stall)],
        env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert there(child.stdout).readline().strip() == "started"
    time.sleep(0.5)
    if play is not None:
        subprocess.run(["paplay", str(play)], env=env, check=True)
    out, err = child.communicate(timeout=60)
    assert child.returncode == 0, err[-2000:]
    return json.loads(out.splitlines()[-1])


@pytest.mark.slow
@pytest.mark.parametrize("rate", [48_000, 96_000, 192_000])
def test_captured_curve_is_the_played_one(pulse, tmp_path, rate):
    unit = make_cartridge("Larch 52", 3, peak_g=1.5)
    made = spin(unit, 1, SpinSettings(sample_rate_hz=rate, run_up_s=4.0, hold_s=0.4, coast_s=1.0))
    played = tmp_path / "played.wav"
    soundfile.write(played, made.samples, rate, subtype="PCM_24")
    sink(pulse, rate)
    got = capture(pulse, tmp_path, rate, 8.0, play=played)
    assert got["error"] == "" and got["lost"] == 0 and got["shots"] > 40
    recording = open_recording(got["path"])
    assert recording.sample_rate_hz == rate and recording.rig == "test rig"
    captured = read_recording(recording).curves[0]
    played.with_suffix(".json").write_text(
        (tmp_path / "cap" / (got["path"].rsplit("/", 1)[1].replace(".wav", ".json"))).read_text()
    )
    original = read_recording(open_recording(played)).curves[0]
    _, a, b = np.intersect1d(captured.speed_rpm, original.speed_rpm, return_indices=True)
    chosen = original.speed_rpm[b] > 15_000
    ratio = (captured.vector[0, a] / original.vector[0, b])[chosen]
    assert chosen.sum() > 200
    assert np.abs(np.abs(ratio) - 1).max() < 0.01
    assert np.abs(np.rad2deg(np.angle(ratio))).max() < 1.0


@pytest.mark.slow
def test_an_overrun_is_counted_and_said(pulse, tmp_path):
    # the stall is longer than the server's buffer of 4 MB, 2.7 s at this rate
    sink(pulse, 192_000)
    got = capture(pulse, tmp_path, 192_000, 16.0, stall=5.0)
    assert got["error"] == ""
    recording = open_recording(got["path"])
    assert got["lost"] > 192_000
    assert recording.lost_samples == got["lost"]


def test_late_is_not_lost():
    clock, rate = SecondClock(), 48_000.0
    counted = 0.0
    for i in range(2000):
        counted += 0.02
        # a backlog of 0.8 s, then caught up
        now = counted + (0.8 if 500 <= i < 540 else 0.001 * (i % 7))
        assert clock.lost(now, counted, rate) == 0
    missing = 0
    for i in range(200):
        counted += 0.02
        missing += clock.lost(counted + 0.5 + 0.001 * (i % 7), counted, rate)
        if missing:
            break
    assert missing == pytest.approx(0.5 * rate, rel=0.02)


def test_a_device_that_is_not_there_is_named(pulse, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG.format(rate=48_000).replace('"pulse"', '"no such thing"'))
    code = (
        "import sys; from pathlib import Path; from heavyspot import SourceLost\n"
        "from heavyspot.sources.sound_card import SoundCardLive, load_rig_file\n"
        "try: SoundCardLive(load_rig_file(Path(sys.argv[1]))).open()\n"
        "except SourceLost as e: print(e)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(rig)], env=pulse, capture_output=True, text=True
    )
    assert "no such thing" in done.stdout and "heavyspot devices" in done.stdout


def test_rig_file_faults(tmp_path):
    path = tmp_path / "r.toml"
    for text, match in (
        ("name = ", "not TOML"),
        (RIG.format(rate=-1), "sample_rate_hz"),
        ("colour = 'red'\n" + RIG.format(rate=48_000), "colour"),
        (RIG.format(rate=48_000).split("[[channel]]")[0], "channel"),
    ):
        path.write_text(text)
        with pytest.raises(UnreadableFile, match=match):
            load_rig_file(path).description()
    assert issubclass(SourceLost, Exception)


def test_a_driver_of_ones_own_is_found_by_name(tmp_path, monkeypatch):
    """The guide's example, as it is printed, registered and run."""
    import re
    from importlib.metadata import EntryPoint
    from pathlib import Path

    from heavyspot.sources import sound_card
    from heavyspot.workshop.bench.capture import Capture
    from heavyspot.workshop.taking.disk_first import About

    text = (Path(__file__).parents[2] / "docs/guides/write-a-driver.md").read_text()
    (tmp_path / "my_package.py").write_text(there(re.search(r"```python\n(.*?)```", text, re.S))[1])
    monkeypatch.syspath_prepend(tmp_path)
    point = EntryPoint("my digitiser", "my_package:MyDigitiser", "heavyspot.live")
    monkeypatch.setattr(sound_card, "entry_points", lambda group: [point])
    rig = tmp_path / "r.toml"
    rig.write_text('driver = "my digitiser"\n' + RIG.format(rate=48_000))
    capture = Capture(sound_card.open_live(load_rig_file(rig)), tmp_path / "cap", About("x"))
    capture.start()
    time.sleep(0.5)
    capture.stop()
    assert capture.error == ""
    assert sum(b.data.shape[0] for b in capture.recording().blocks()) >= 0.2 * 48_000
    rig.write_text('driver = "none such"\n' + RIG.format(rate=48_000))
    with pytest.raises(SourceLost, match="no driver"):
        sound_card.open_live(load_rig_file(rig))
