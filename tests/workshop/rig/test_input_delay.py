"""The guided check of a rig's inputs: one source on all of them, recorded, and what is kept of it."""

import numpy as np
import pytest
from scipy.signal import butter, lfilter
from typer.testing import CliRunner

from heavyspot.cli.main import app
from heavyspot.quantities.errors import BadInput, NotThere, SignalTooPoor
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.sources.recording import Channel, from_array
from heavyspot.sources.writers import write_flac
from heavyspot.workshop.rig.input_delay import check_inputs
from heavyspot.workshop.rig.record import add_rig, find_rig

RIG, RATE = "north rig", 51_200.0
CHANNELS = (
    Channel("bearing housing", "acceleration", "V", 10.0, (100.0, "mV/g")),
    Channel("pickup", "phase", "V", 10.0, reference=ReferenceSettings()),
)


def taken(path, *, late_samples=1, gain=0.5, corner=20.0, seed=0):
    """One noise on both inputs: the sensor's late by whole samples, the pickup's through an RC coupling."""
    x = lfilter(*butter(3, 8000, fs=RATE), np.random.default_rng(seed).standard_normal(2**18))
    x *= 0.2 / x.std()
    sensor = gain * np.roll(x, late_samples)
    pickup = lfilter(*butter(1, corner, "high", fs=RATE), x)
    made = from_array(
        np.stack([sensor, pickup], axis=1).astype(np.float32), channels=CHANNELS,
        sample_rate_hz=RATE, rotation="clockwise", rig=RIG,
    )  # fmt: skip
    write_flac(made, path)
    return path


def test_what_is_measured_is_kept_and_corrects_later_runs(shop, tmp_path):
    add_rig(shop, RIG, {"master": "M-1", "sensors": [{"name": "bearing housing", "number": "7"}]})
    path = taken(tmp_path / "inputs.flac", late_samples=1)
    (only,) = check_inputs(shop, RIG, path)
    assert find_rig(shop, RIG).sensors[0].delay_us == 0  # not kept unless asked
    assert only.found.delay_s == pytest.approx(1 / RATE, abs=3e-7)
    assert only.turned_deg == pytest.approx(360 * 2500 / RATE, abs=0.3)
    check_inputs(shop, RIG, path, keep=True, by="Ida")
    record = find_rig(shop, RIG)
    assert record.master == "M-1" and record.sensors[0].number == "7"
    assert record.sensors[0].delay_us == pytest.approx(1e6 / RATE, abs=0.3)
    assert record.pickup_high_pass_hz == pytest.approx(20.0, rel=0.1)
    assert shop.book.rigs.checks(RIG, "inputs")[0].by == "Ida"


def test_reversed_leads_and_strange_signals_keep_nothing(shop, tmp_path):
    path = taken(tmp_path / "turned.flac", gain=-0.5)
    with pytest.raises(NotThere):
        check_inputs(shop, "nosuch", path)
    add_rig(shop, RIG, {})
    with pytest.raises(BadInput, match="other way round"):
        check_inputs(shop, RIG, path, keep=True)
    tone = np.sin(2e3 * np.arange(2**17) / RATE).astype(np.float32)[:, None] * 0.1
    made = from_array(
        np.hstack([tone, tone]), channels=CHANNELS, sample_rate_hz=RATE, rotation="clockwise", rig=RIG
    )  # fmt: skip
    write_flac(made, tmp_path / "tone.flac")
    with pytest.raises(SignalTooPoor):
        check_inputs(shop, RIG, tmp_path / "tone.flac", keep=True)
    assert find_rig(shop, RIG).sensors == []


def test_the_command_tells_how_and_what(shop, tmp_path, monkeypatch):
    add_rig(shop, RIG, {})

    def run(*more):
        return CliRunner().invoke(app, ["--data", str(shop.folder), "rig", "inputs", *more])

    assert "T-piece" in run(RIG).output
    path = taken(tmp_path / "inputs.flac", late_samples=2)
    said = run(RIG, str(path), "--keep").output
    assert "+39.06 µs" in said and "AC-coupled: corner" in said and "Kept" in said
