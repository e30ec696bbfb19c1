"""Bad files: one clear error each, that says where, what was expected and found, and what to do."""

import json

import numpy as np
import pytest
import soundfile
from conftest import SMALL_SIDECAR
from sources.test_round_trip import RATE, hdf5, tdms, wav

from heavyspot import open_recording, read_recording
from heavyspot.quantities.errors import SignalTooPoor, UnreadableFile


def refuse(path, match, **kw):
    with pytest.raises(UnreadableFile, match=match) as caught:
        recording = open_recording(path, **kw)
        for _ in recording.blocks():
            pass
        read_recording(recording)
    assert caught.value.remedy


def changed(**changes):
    out = json.loads(json.dumps(SMALL_SIDECAR))
    out.update(changes)
    return out


def test_missing_empty_and_unknown(tmp_path):
    refuse(tmp_path / "no.wav", "cannot be opened")
    (tmp_path / "empty.wav").touch()
    refuse(tmp_path / "empty.wav", "is empty")
    (tmp_path / "x.dat").write_bytes(b"\0\1\2\3" * 100)
    refuse(tmp_path / "x.dat", "no known format")


def test_truncated_wav(tmp_path):
    path = wav(tmp_path)
    path.write_bytes(path.read_bytes()[:90_000])
    refuse(path, "cut short")


def test_wav_of_a_killed_recorder_is_read_to_its_end(tmp_path):
    path = wav(tmp_path)
    data = bytearray(path.read_bytes())
    at = data.index(b"data")
    data[at + 4 : at + 8] = b"\xff\xff\xff\xff"
    path.write_bytes(bytes(data[:90_000]))
    recording = open_recording(path)
    assert sum(b.data.shape[0] for b in recording.blocks()) > 14_000


def test_truncated_flac(tmp_path):
    path = tmp_path / "a.flac"
    soundfile.write(path, np.random.default_rng(0).normal(0, 0.1, (200_000, 2)), RATE, "PCM_24")
    path.with_suffix(".json").write_text(json.dumps(SMALL_SIDECAR))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    refuse(path, "cut short|damaged|decoded")


def test_truncated_tdms_and_hdf5(tmp_path):
    for path in (tdms(tmp_path), hdf5(tmp_path)):
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
        with pytest.raises(UnreadableFile):
            for _ in open_recording(path).blocks():
                pass


def test_wrong_rate(tmp_path):
    refuse(wav(tmp_path, sidecar=changed(sample_rate_hz=48_000)), "51200 samples a second.*48000")


def test_nan_is_found_and_located(tmp_path):
    data = np.zeros((20_000, 2), np.float32)
    data[12_345, 1] = np.nan
    path = tmp_path / "n.wav"
    soundfile.write(path, data, RATE, subtype="FLOAT")
    path.with_suffix(".json").write_text(json.dumps(SMALL_SIDECAR))
    refuse(path, '"pickup" holds NaN or infinity.*sample 12345')


def test_channels(tmp_path):
    one = changed(channels=SMALL_SIDECAR["channels"][:1])
    refuse(wav(tmp_path, sidecar=one), "has 2 channels; its sidecar describes 1")
    both = changed(channels=[SMALL_SIDECAR["channels"][0]] * 2)
    refuse(wav(tmp_path, sidecar=both), "no phase channel")
    phases = changed(channels=[SMALL_SIDECAR["channels"][1]] * 2)
    refuse(wav(tmp_path, sidecar=phases), "2 phase channels")
    refuse(wav(tmp_path, sidecar=None, name="bare.wav"), "no phase channel")


@pytest.mark.parametrize(
    ("key", "value", "match"),
    [
        ("unit", "furlong", "unit 'furlong'"),
        ("sensitivity", {"value": 100, "unit": "mV/stone"}, "sensitivity unit"),
        ("sensitivity", {"value": 0, "unit": "mV/g"}, "sensitivity is 0"),
        ("sensitivity", None, "no usable sensitivity"),
        ("full_scale", -1, "full_scale"),
        ("quantity", "loudness", "quantity"),
        ("clock", 13, "clock"),
    ],
)
def test_channel_values(tmp_path, key, value, match):
    sidecar = changed()
    sidecar["channels"][0][key] = value
    refuse(wav(tmp_path, sidecar=sidecar), match)


def test_sidecar_itself(tmp_path):
    path = wav(tmp_path)
    path.with_suffix(".json").write_text('{"version": 1,')
    refuse(path, "is not JSON: line 1")
    path.with_suffix(".json").write_text(json.dumps(changed(version=2)))
    refuse(path, "version")
    path.with_suffix(".json").write_text(json.dumps(changed(rotation="widdershins")))
    refuse(path, "rotation")


def test_unknown_keys_are_kept_out_and_said(tmp_path):
    r = open_recording(wav(tmp_path, sidecar=changed(weather="fog")))
    assert "weather" in r.notes[0]


def test_csv_faults(tmp_path):
    path = tmp_path / "x.csv"
    good = [f"{i / 1000},{i % 3},{i % 5}" for i in range(300)]
    for line, match in (
        ("0.3,1", "line 302: 2 columns, 3 expected"),
        ("0.3,one,2", "line 302: 'one' is not a number"),
        ("0.9,1,2", "not even"),
        ("0.3,nan,2", "NaN"),
    ):
        path.write_text("\n".join(["time [s],housing [g],pickup [V]", *good, line]) + "\n")
        refuse(path, match)
    path.write_text("housing,pickup\n1,2\n3,1\n2,2\n")
    refuse(path, "no column of time and states no sample rate")
    path.write_text("housing,pickup\n")
    refuse(path, "no rows of two or more numbers")


def test_too_short_is_no_spin(tmp_path):
    path = tmp_path / "s.wav"
    soundfile.write(path, np.zeros((5000, 2)), RATE, subtype="PCM_24")
    path.with_suffix(".json").write_text(json.dumps(SMALL_SIDECAR))
    with pytest.raises(SignalTooPoor, match="no spin"):
        read_recording(open_recording(path))


def test_an_acceleration_without_a_unit_is_a_question(tmp_path):
    rows = "\n".join(f"{i / 8000:.6f},0.1,0.2" for i in range(8000))
    path = tmp_path / "a.csv"
    path.write_text(f"time [s],acceleration,pickup [V]\n{rows}\n")
    refuse(path, "no usable sensitivity")
