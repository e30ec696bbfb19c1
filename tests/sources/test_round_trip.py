"""Every reader and writer on the same samples: one contract; 24-bit FLAC loses nothing."""

import json
from dataclasses import replace

import h5py
import nptdms
import numpy as np
import pytest
import soundfile
from conftest import FILES, SMALL_SIDECAR

from heavyspot import open_recording, write_recording
from heavyspot.quantities import durable
from heavyspot.quantities.errors import BadInput, LedgerFault, UnreadableFile
from heavyspot.sources.writers import write_flac

RATE = 51_200
RNG = np.random.default_rng(0)
STEPS = RNG.integers(-(2**23), 2**23, (30_000, 2)).astype(np.int32)
STEPS[:4] = [[2**23 - 1, -(2**23)]] * 4
VALUES = STEPS / 2.0**23  # exact in float32


def wav(folder, *, subtype="PCM_24", sidecar=SMALL_SIDECAR, name="a.wav", rate=RATE):
    path = folder / name
    if subtype == "PCM_24":
        soundfile.write(path, STEPS << 8, rate, subtype=subtype)
    else:
        soundfile.write(path, VALUES.astype(np.float32), rate, subtype=subtype)
    if sidecar is not None:
        path.with_suffix(".json").write_text(json.dumps(sidecar))
    return path


def tdms(folder):
    path = folder / "a.tdms"
    with nptdms.TdmsWriter(path) as file:
        file.write_segment(
            [
                nptdms.ChannelObject(
                    "rig", n, 10 * VALUES[:, i], {"wf_increment": 1 / RATE, "unit_string": "V"}
                )
                for i, n in enumerate(("housing", "pickup"))
            ]
        )
    return path


def hdf5(folder):
    path = folder / "a.h5"
    with h5py.File(path, "w") as file:
        for i, n in enumerate(("housing", "pickup")):
            file[n] = 10 * VALUES[:, i]
            file[n].attrs["sample_rate_hz"] = RATE
            file[n].attrs["unit"] = "V"
    return path


def volts_sidecar():
    out = json.loads(json.dumps(SMALL_SIDECAR))
    for c in out["channels"]:
        c["full_scale"] = 1.0
    return out


def samples(recording):
    data = np.concatenate([b.data for b in recording.blocks(7001)])
    return data * np.array([c.full_scale for c in recording.channels])


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT"])
def test_wav_of_any_kind(tmp_path, subtype):
    r = open_recording(wav(tmp_path, subtype=subtype))
    assert r.sample_rate_hz == RATE and r.n_samples == 30_000
    assert r.rotation == "clockwise"
    assert r.phase_index() == 1 and r.vibration_indices() == (0,)
    assert r.channels[0].g_per_stored == pytest.approx(100.0)
    tolerance = 1e-3 if subtype == "PCM_16" else 2e-5
    assert np.abs(samples(r) - 10 * VALUES).max() < tolerance


@pytest.mark.parametrize("make", [tdms, hdf5])
def test_laboratory_formats_with_sidecar(tmp_path, make):
    path = make(tmp_path)
    path.with_suffix(".json").write_text(json.dumps(volts_sidecar()))
    r = open_recording(path)
    assert r.sample_rate_hz == RATE
    assert r.channels[0].g_per_stored == pytest.approx(10.0)
    assert np.abs(samples(r) - 10 * VALUES).max() < 2e-6


@pytest.mark.parametrize("suffix", [".flac", ".csv", ".uff"])
def test_written_recordings_come_back(tmp_path, suffix):
    original = open_recording(wav(tmp_path))
    assert write_recording(original, tmp_path / f"b{suffix}") == []
    back = open_recording(tmp_path / f"b{suffix}")
    assert back.sample_rate_hz == RATE and back.rotation == "clockwise"
    assert [c.quantity for c in back.channels] == ["acceleration", "phase"]
    assert back.channels[1].reference == original.channels[1].reference
    assert np.abs(samples(back) - samples(original)).max() < 2e-6
    per_g = original.channels[0].g_per_stored / original.channels[0].full_scale
    assert back.channels[0].g_per_stored / back.channels[0].full_scale == pytest.approx(per_g)


def test_flac_of_24_bit_is_exact(tmp_path):
    write_recording(open_recording(wav(tmp_path)), tmp_path / "b.flac")
    back, _ = soundfile.read(tmp_path / "b.flac", dtype="int32")
    assert np.array_equal(back >> 8, STEPS)


def test_flac_of_floats_says_what_it_lost(tmp_path):
    notes = write_recording(
        open_recording(wav(tmp_path, subtype="FLOAT", name="f.wav")), tmp_path / "g.flac"
    )
    assert "rounded to 24 bits" in notes[0]
    back = samples(open_recording(tmp_path / "g.flac"))
    assert np.abs(back - 10 * VALUES).max() < 10 * 2.0**-22


def test_a_file_or_sidecar_is_never_written_over(tmp_path):
    r = open_recording(wav(tmp_path))
    write_recording(r, tmp_path / "b.flac")
    with pytest.raises(BadInput, match="there already"):
        write_recording(r, tmp_path / "b.flac")
    other = open_recording(wav(tmp_path, subtype="FLOAT", name="c.wav"))
    with pytest.raises(BadInput, match="describes other channels"):
        write_recording(other, tmp_path / "c.flac")  # c.json is the sidecar of c.wav
    with pytest.raises(BadInput, match="cannot write"):
        write_recording(r, tmp_path / "b.mp3")


def test_converting_next_to_the_source_keeps_its_sidecar(tmp_path):
    source = wav(tmp_path)
    before = source.with_suffix(".json").read_bytes()
    write_recording(open_recording(source), tmp_path / "a.flac")
    assert source.with_suffix(".json").read_bytes() == before
    assert open_recording(tmp_path / "a.flac").channels[0].full_scale == 10.0


def test_csv_with_semicolons_and_decimal_commas(tmp_path):
    lines = ["time [s];housing [g];pickup [V]"]
    lines += [
        f"{i / 1000:.4f};{i % 7 - 3:.2f};{i % 5 - 2:.2f}".replace(".", ",") for i in range(900)
    ]
    path = tmp_path / "x.csv"
    path.write_text("\n".join(lines))
    r = open_recording(path)
    assert r.sample_rate_hz == pytest.approx(1000)
    assert [c.quantity for c in r.channels] == ["acceleration", "phase"]
    assert samples(r)[6, 0] == pytest.approx(3.0)


def test_real_universal_files_twins_are_equal():
    # Source: pyuff sample data, text and binary of one measurement
    text = open_recording(FILES / "uff/Sample_UFF58_ascii.uff")
    binary = open_recording(FILES / "uff/Sample_UFF58b_bin.uff")
    assert text.sample_rate_hz == binary.sample_rate_hz == 65_536
    assert np.allclose(samples(text), samples(binary), rtol=1e-5, atol=1e-6)


def test_real_motor_recording_reads_to_its_known_lines():
    # Source: MoSQITo sample data; answers computed with plain numpy elsewhere
    r = open_recording(FILES / "motor/electric_motor_vibration_signal.uff")
    assert r.n_samples == 181_504 and r.sample_rate_hz == 51_200
    assert "51200 Hz is taken" in r.notes[0]
    assert r.channels[0].unit == "m/s²"
    x = samples(r)[:, 0].astype(float)
    assert np.sqrt(np.mean(x**2)) == pytest.approx(512.39, abs=0.05)
    window = np.hanning(x.size)
    spectrum = np.abs(np.fft.rfft((x - x.mean()) * window)) * 2 / window.sum()
    f = np.fft.rfftfreq(x.size, 1 / 51_200)
    for line, size in ((2381.95, 218.8), (1192.1, 26.5)):
        near = np.abs(f - line) < 3
        assert spectrum[near].max() == pytest.approx(size, rel=0.02)


def test_a_spectrum_is_not_a_recording():
    with pytest.raises(UnreadableFile, match="no time response"):
        open_recording(FILES / "uff/non_ascii_header.uff")


@pytest.mark.parametrize(
    ("name", "length", "rate"), [("raw1.tdms", 2000, 50_000), ("big_endian.tdms", 3500, 1000)]
)
def test_real_tdms_files(name, length, rate):
    # Source: npTDMS sample data
    r = open_recording(FILES / "tdms" / name)
    assert samples(r).shape[0] == length and r.sample_rate_hz == rate


def test_wav_with_a_vendor_chunk_after_the_data():
    r = open_recording(FILES / "car_run_up/excerpt_10s_16s_with_vendor_chunk.wav")
    assert samples(r).shape[0] == r.n_samples == 264_600


def test_a_whole_flac_is_taken_over_byte_for_byte_and_anything_changed_is_not(tmp_path):
    first = tmp_path / "first.flac"
    write_flac(open_recording(wav(tmp_path)), first)
    opened = open_recording(first)
    write_flac(opened, tmp_path / "second.flac")
    assert (tmp_path / "second.flac").read_bytes() == first.read_bytes()

    def louder(size):
        for block in opened.opener(size):
            yield block * np.float32(0.5)

    write_flac(replace(opened, opener=louder), tmp_path / "third.flac")
    third = next(open_recording(tmp_path / "third.flac").blocks()).data
    assert np.abs(third - 0.5 * next(opened.blocks()).data).max() < 2.0**-23


def test_sixteen_bits_stay_sixteen(tmp_path):
    write_flac(open_recording(wav(tmp_path, subtype="PCM_16")), tmp_path / "a.flac")
    assert open_recording(tmp_path / "a.flac").bits == 16


@pytest.mark.parametrize("subtype", ["FLAC", "WAV"])
def test_a_full_disk_is_said_and_leaves_nothing(tmp_path, monkeypatch, subtype):
    source = wav(tmp_path)
    if subtype == "FLAC":
        write_flac(open_recording(source), tmp_path / "b.flac")
        source = tmp_path / "b.flac"

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(durable, "sync_file", full)
    (tmp_path / "to").mkdir()
    with pytest.raises(LedgerFault, match="No space left"):
        write_flac(open_recording(source), tmp_path / "to" / "c.flac")
    assert list((tmp_path / "to").iterdir()) == []
