"""Arrays in groups: which are the channels, how fast, and what is asked; written by each format's own library."""

import json

import h5py
import nptdms
import numpy as np
import pytest
import scipy.io
from conftest import SMALL_SIDECAR

from heavyspot import Stated, from_signals, open_recording, to_signals, write_recording
from heavyspot.quantities.errors import UnreadableFile
from heavyspot.sources.exchange import Signal

RATE = 51_200.0
N = 4000
T = np.arange(N) / RATE
HOUSING = np.sin(2 * np.pi * 700 * T)
PICKUP = np.cos(2 * np.pi * 700 * T)
BOTH = np.stack([HOUSING, PICKUP], axis=1).astype(np.float32)


def signals(rate: float) -> list[Signal]:
    return [
        {"name": "housing", "data": HOUSING, "unit_str": "g", "fs": rate},
        {"name": "pickup", "data": PICKUP, "unit_str": "V", "fs": rate},
    ]


def samples(recording, size=777):
    return np.concatenate([b.data for b in recording.blocks(size)])


def hdf5(path, groups=("",), **attributes):
    with h5py.File(path, "w") as file:
        for g in groups:
            for n, v, u in (("housing", HOUSING, "g"), ("pickup", PICKUP, "V")):
                file[f"{g}/{n}"] = v
                file[f"{g}/{n}"].attrs["unit"] = u
            for key, value in attributes.items():
                (file[g] if g else file).attrs[key] = value
    return path


def tdms(path, groups=("run",), unit="g"):
    with nptdms.TdmsWriter(path) as file:
        for g in groups:
            for n, v, u in (("housing", HOUSING, unit), ("pickup", PICKUP, "V")):
                how = {"wf_increment": 1 / RATE, "unit_string": u}
                file.write_segment([nptdms.ChannelObject(g, n, v, how)])
    return path


def mat(path, groups=(), **rate):
    inside = {"housing": HOUSING, "pickup": PICKUP, **rate}
    scipy.io.savemat(path, dict.fromkeys(groups, inside) or inside)
    return path


def mdf(path, groups=1):
    from asammdf import MDF, Signal

    with MDF() as file:
        for _ in range(groups):
            file.append(
                [Signal(v, T, name=n, unit=u) for n, v, u in (("housing", HOUSING, "g"), ("pickup", PICKUP, "V"))]
            )  # fmt: skip
        file.save(path)
    return path


def arrow(path, kind="arrow", metadata=True):
    import pyarrow as pa
    import pyarrow.parquet as pq

    fields = [
        pa.field("housing [g]", pa.float64()),
        pa.field("pickup", pa.float64(), metadata={"unit": "V"}),
    ]
    schema = pa.schema(fields, metadata={"sample_rate_hz": "51200.0"} if metadata else {})
    held = pa.table([HOUSING, PICKUP], schema=schema)
    if kind == "parquet":
        pq.write_table(held, path, row_group_size=1000)
    else:
        open_as = pa.ipc.new_file if kind == "arrow" else pa.ipc.new_stream
        with open_as(path, schema) as file:
            file.write_table(held)
    return path


MADE = {
    "a.h5": lambda p: hdf5(p, sample_rate_hz=RATE),
    "fs.h5": lambda p: hdf5(p, ("spin/one",), fs=RATE),
    "a.tdms": tdms,
    "a.mat": lambda p: mat(p, fs=RATE),
    "struct.mat": lambda p: mat(p, ("spin",), sample_rate_hz=RATE),
    "time.mat": lambda p: mat(p, time_s=T),
    "a.mf4": mdf,
    "a.parquet": lambda p: arrow(p, "parquet"),
    "a.arrow": arrow,
    "a.arrows": lambda p: arrow(p, "stream"),
}


@pytest.mark.parametrize("name", MADE)
def test_channels_units_and_rate_of_each_format(tmp_path, name):
    r = open_recording(MADE[name](tmp_path / name))
    assert r.sample_rate_hz == pytest.approx(RATE, rel=1e-12)
    assert [c.quantity for c in r.channels][1] == "phase"
    assert [c.name for c in r.channels] == ["housing", "pickup"]
    if not name.endswith(".mat"):  # a variable has no unit, and none is guessed
        assert r.channels[0].unit == "g"
    assert np.array_equal(samples(r), BOTH)


@pytest.mark.parametrize(
    ("name", "make", "group"),
    [
        ("n.h5", lambda p: hdf5(p, ("run1", "run2"), sample_rate_hz=RATE), "run2"),
        ("deep.h5", lambda p: hdf5(p, ("day/run1", "day/run2"), sample_rate_hz=RATE), "/day/run1/"),
        ("n.tdms", lambda p: tdms(p, ("run1", "run2")), "run1"),
        ("n.mat", lambda p: mat(p, ("run1", "run2"), sample_rate_hz=RATE), "run2"),
        ("n.mf4", lambda p: mdf(p, 2), "2"),
    ],
)
def test_several_groups_are_asked_about_and_answered(tmp_path, name, make, group):
    path = make(tmp_path / name)
    with pytest.raises(UnreadableFile, match="2 groups with samples") as caught:
        open_recording(path)
    assert "--group" in caught.value.remedy
    assert np.array_equal(samples(open_recording(path, stated=Stated(group=group))), BOTH)
    path.with_suffix(".json").write_text(f'{{"version": 1, "group": "{group}"}}')
    assert np.array_equal(samples(open_recording(path)), BOTH)  # the sidecar may say it
    path.with_suffix(".json").unlink()
    with pytest.raises(UnreadableFile, match='no group "other"'):
        open_recording(path, stated=Stated(group="other"))


@pytest.mark.parametrize(
    ("name", "make", "match"),
    [
        ("a.h5", lambda p: hdf5(p), "no sample rate"),
        ("k.h5", lambda p: hdf5(p, fs=51.2), "Hz or kHz"),
        ("a.mat", lambda p: mat(p), "no sample rate"),
        ("k.mat", lambda p: mat(p, fs=51.2), "Hz or kHz"),
        ("t.mat", lambda p: mat(p, t=T), 'column "t" has no unit'),
        ("a.parquet", lambda p: arrow(p, "parquet", metadata=False), "no sample rate"),
    ],
)
def test_a_rate_that_is_not_said_is_asked(tmp_path, name, make, match):
    path = make(tmp_path / name)
    with pytest.raises(UnreadableFile, match=match):
        open_recording(path)
    assert open_recording(path, stated=Stated(sample_rate_hz=RATE)).sample_rate_hz == RATE


def test_times_of_a_timestamp_type_know_their_unit(tmp_path):
    import pyarrow as pa
    import pyarrow.parquet as pq

    step_ns = 20_000
    time = pa.array(1_772_000_000_000_000_000 + step_ns * np.arange(N), pa.timestamp("ns"))
    held = pa.table({"time": time, "housing [g]": HOUSING, "pickup [V]": PICKUP, "who": ["x"] * N})
    pq.write_table(held, tmp_path / "t.parquet")
    with pa.ipc.new_file(tmp_path / "t.arrow", held.schema) as file:
        file.write_table(held)
    for name in ("t.parquet", "t.arrow"):
        r = open_recording(tmp_path / name)
        assert r.sample_rate_hz == 50_000 and "who" in r.notes[0]
        assert np.array_equal(samples(r), BOTH)


def test_a_gap_in_the_time_beside_arrays_is_found(tmp_path):
    bad = T.copy()
    bad[3000:] += 5 / RATE
    path = mat(tmp_path / "g.mat", time_s=bad)
    with pytest.raises(UnreadableFile, match="not even"):
        samples(open_recording(path))


def test_a_missing_value_is_found_and_not_filled(tmp_path):
    import pyarrow as pa
    import pyarrow.parquet as pq

    holed = pa.array([None if i == 77 else v for i, v in enumerate(HOUSING)])
    pq.write_table(pa.table({"housing [g]": holed, "pickup [V]": PICKUP}), tmp_path / "h.parquet")
    with pytest.raises(UnreadableFile, match=r"NaN or infinity at .* .sample 77."):
        samples(open_recording(tmp_path / "h.parquet", stated=Stated(RATE)))


def test_a_channel_for_each_group_takes_the_groups_name(tmp_path):
    with h5py.File(tmp_path / "g.h5", "w") as file:
        file["housing/data"], file["pickup/data"] = HOUSING, PICKUP
        file.attrs["sample_rate_hz"] = RATE
    assert [c.name for c in open_recording(tmp_path / "g.h5").channels] == ["housing", "pickup"]


def test_a_wide_array_lies_either_way(tmp_path):
    with h5py.File(tmp_path / "w.h5", "w") as file:
        file["data"], file.attrs["sample_rate_hz"] = BOTH.T, RATE
    assert np.array_equal(samples(open_recording(tmp_path / "w.h5")), BOTH)


def test_uff_of_several_measurements_is_asked_about(tmp_path):
    path = tmp_path / "a.uff"
    source = from_signals(signals(RATE))
    write_recording(source, path)
    write_recording(source, tmp_path / "b.uff")
    path.with_suffix(".json").unlink()
    whole = path.read_bytes() + (tmp_path / "b.uff").read_bytes()
    path.write_bytes(whole)
    with pytest.raises(UnreadableFile, match=r"2 measurements: 1 .2 x 4000., 2 .2 x 4000."):
        open_recording(path)
    assert np.allclose(samples(open_recording(path, stated=Stated(group="2"))), BOTH)


@pytest.mark.parametrize("rate", [65_536.0, 131_072.0, 51_200.25, 44_100.0, 102_401.0])
def test_a_rate_is_kept_exactly_through_flac(tmp_path, rate):
    source = from_signals(signals(rate))
    write_recording(source, tmp_path / "a.flac")
    once = open_recording(tmp_path / "a.flac")
    assert once.sample_rate_hz == rate
    write_recording(once, tmp_path / "b.flac")
    assert open_recording(tmp_path / "b.flac").sample_rate_hz == rate
    assert (tmp_path / "b.flac").read_bytes() == (tmp_path / "a.flac").read_bytes()


def test_signals_are_as_the_exchange_of_structural_dynamics_has_them(tmp_path):
    from sdypy_sep005 import Sep005Data

    path = tdms(tmp_path / "a.tdms", unit="V")
    sidecar = json.loads(json.dumps(SMALL_SIDECAR))
    for channel in sidecar["channels"]:
        channel |= {"full_scale": 1.0}
    sidecar["recorded_at"] = "2026-03-01T10:00:00+00:00"
    path.with_suffix(".json").write_text(json.dumps(sidecar))
    made = to_signals(open_recording(path))
    for signal in made:
        Sep005Data.model_validate(signal)  # the family's own check
    assert made[0]["unit_str"] == "g" and made[0]["fs"] == RATE
    assert made[0]["data"] == pytest.approx(10 * HOUSING, abs=1e-5)  # 100 mV/g
    back = from_signals(made)
    assert back.channels[0].g_per_stored == 1.0 and back.recorded_at == sidecar["recorded_at"]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_signals_go_through_another_program_of_the_family(tmp_path):
    from sdypy_io_tdms.tdms import write_tdms

    made = [{**s, "group": "spin"} for s in signals(RATE)]
    write_tdms(made, str(tmp_path / "theirs.tdms"))
    r = open_recording(tmp_path / "theirs.tdms")
    assert r.sample_rate_hz == RATE and np.array_equal(samples(r), BOTH)


def test_signals_that_do_not_belong_together_are_refused():
    one = signals(RATE)[0]
    others: list[Signal] = [{**one, "fs": 2 * RATE}, {**one, "data": HOUSING[:50]}]
    for other in others:
        with pytest.raises(UnreadableFile, match="are no recording"):
            from_signals([one, other])
    with pytest.raises(UnreadableFile, match="neither fs nor time"):
        from_signals([{"name": "housing", "data": HOUSING, "unit_str": "g"}])


@pytest.mark.parametrize("name", ["a.tdms", "a.h5", "a.csv"])
def test_a_sidecar_of_another_file_of_the_same_name_is_not_taken_for_its_own(tmp_path, name):
    """A WAV of full scale 10 V lies beside its export in g: by its sidecar all would be 100 times too high."""
    (tmp_path / "a.json").write_text(json.dumps(SMALL_SIDECAR))
    path = tmp_path / name
    if name == "a.csv":
        rows = "".join(
            f"{t:.9g},{h:.6g},{p:.6g}\n" for t, h, p in zip(T, HOUSING, PICKUP, strict=True)
        )
        path.write_text(f"time [s],housing [g],pickup [V]\n{rows}")
    else:
        tdms(path) if name == "a.tdms" else hdf5(path, sample_rate_hz=RATE)
    with pytest.raises(UnreadableFile, match="in g; its sidecar says V, full scale 10"):
        open_recording(path)


def test_our_own_csv_beside_its_wav_is_read_by_its_first_line(tmp_path):
    (tmp_path / "a.json").write_text(json.dumps(SMALL_SIDECAR))
    import soundfile

    soundfile.write(tmp_path / "a.wav", BOTH * 0.5, int(RATE), subtype="PCM_24")
    wav = open_recording(tmp_path / "a.wav")
    write_recording(wav, tmp_path / "a.csv")
    text = open_recording(tmp_path / "a.csv")
    per_stored = wav.channels[0].g_per_stored
    assert np.allclose(
        samples(text)[:, 0] * text.channels[0].g_per_stored,
        samples(wav)[:, 0] * per_stored,
        atol=1e-4,
    )
