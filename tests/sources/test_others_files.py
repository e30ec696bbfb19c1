"""One contract for all readers, over files that other people's programs wrote."""

import random
from dataclasses import dataclass

import numpy as np
import pytest
from conftest import FILES

from heavyspot import Stated, open_recording
from heavyspot.quantities.errors import HeavyspotError, UnreadableFile

NO_STATEMENT = Stated()
ALL_DATA = "07|09|2012 06:58:23 PM - Digital Input - All Data"


@dataclass(frozen=True)
class Known:
    """A file that can be read: what it holds, from its makers' own tests or their own reader."""

    name: str
    rate_hz: float
    count: int
    channels: int
    stated: Stated = NO_STATEMENT


@dataclass(frozen=True)
class Refused:
    """A file that leaves something open, or is damaged: what is said of it."""

    name: str
    match: str
    stated: Stated = NO_STATEMENT


RATE_1K = Stated(sample_rate_hz=1000.0)

READ = [
    # scipy's test data; the names say rate, byte order, channels and bits
    Known("wav/test-44100Hz-be-1ch-4bytes.wav", 44_100, 4410, 1),
    Known("wav/test-44100Hz-2ch-32bit-float-be.wav", 44_100, 441, 2),
    Known("wav/test-44100Hz-2ch-32bit-float-le.wav", 44_100, 441, 2),
    Known("wav/test-8000Hz-be-3ch-5S-24bit.wav", 8000, 5, 3),
    Known("wav/test-44100Hz-le-1ch-4bytes-rf64.wav", 44_100, 4410, 1),
    Known("wav/test-48000Hz-2ch-64bit-float-le-wavex.wav", 48_000, 480, 2),
    Known("wav/test-8000Hz-le-4ch-9S-12bit.wav", 8000, 9, 4),
    Known("wav/test-8000Hz-le-1ch-1byte-ulaw.wav", 8000, 9, 1),
    Known("mat/testdouble_4.2c_SOL2.mat", 1000, 9, 1, RATE_1K),
    Known("mat/testdouble_6.1_SOL2.mat", 1000, 9, 1, RATE_1K),
    Known("mat/testdouble_7.4_GLNX86.mat", 1000, 9, 1, RATE_1K),
    Known("mat/testhdf5_7.4_GLNX86.mat", 1000, 9, 1, RATE_1K),
    Known("mat/testmatrix_7.1_GLNX86.mat", 1000, 5, 3, RATE_1K),
    Known("mat/testmulti_7.4_GLNX86.mat", 1000, 9, 1, Stated(1000.0, None, "theta")),
    # CPython's test data: one plucked string in every coding
    Known("aiff/pluck-pcm16.aiff", 11_025, 3307, 2),
    Known("aiff/pluck-pcm24.aiff", 11_025, 3307, 2),
    Known("aiff/pluck-pcm32.aiff", 11_025, 3307, 2),
    Known("aiff/pluck-ulaw.aifc", 11_025, 3307, 2),
    Known("aiff/pluck-pcm24.wav", 11_025, 3307, 2),
    Known("car_run_up/excerpt_10s_16s_with_vendor_chunk.wav", 44_100, 264_600, 2),
    Known("turbo_whistle/Turbo_Whistling.wav", 22_050, 221_467, 1),
    Known("turbo_whistle/ridges.csv", 10, 99, 4),
    # npTDMS's test data
    Known("tdms/raw1.tdms", 50_000, 2000, 7),
    Known("tdms/big_endian.tdms", 1000, 3500, 2),
    Known("tdms/raw_timestamps.tdms", 1000, 128, 1),
    Known("tdms/Digital_Input.tdms", 2000, 20_000, 1, Stated(group=ALL_DATA)),
    # pyuff's and MoSQITo's sample data
    Known("uff/Sample_UFF58_ascii.uff", 65_536, 79_292, 1),
    Known("uff/Sample_UFF58b_bin.uff", 65_536, 79_292, 1),
    Known("motor/electric_motor_vibration_signal.uff", 51_200, 181_504, 1),
    # asammdf's and pyarrow's test data
    Known("mdf/test_batch.mf4", 100, 1051, 3),
    Known("parquet/v0.7.1.parquet", 1000, 10, 7, RATE_1K),
    Known("parquet/v0.17.0.version.2-compression.lz4.feather", 1000, 5, 1, RATE_1K),
]

REFUSED = [
    Refused("wav/test-44100Hz-le-1ch-4bytes-early-eof.wav", "cut short"),
    Refused("wav/test-44100Hz-le-1ch-4bytes-incomplete-chunk.wav", "cannot be decoded"),
    Refused("wav/test-8000Hz-le-3ch-5S-64bit.wav", "cannot be decoded"),
    Refused("mat/corrupted_zlib_data.mat", "damaged"),
    Refused("mat/testcomplex_7.4_GLNX86.mat", "cannot tell which arrays"),
    Refused("mat/teststructnest_7.4_GLNX86.mat", "cannot tell which arrays"),
    Refused("mat/testdouble_7.4_GLNX86.mat", "no sample rate"),
    Refused("mat/testhdf5_7.4_GLNX86.mat", "no sample rate"),
    Refused("mat/testmulti_7.4_GLNX86.mat", "cannot tell which arrays", RATE_1K),
    Refused("mat/string_v73.mat", "cannot tell which arrays"),
    Refused("mat/struct_in_cell_v73.mat", "cannot tell which arrays"),
    Refused("tdms/Digital_Input.tdms", "3 groups with samples"),
    Refused("tdms/Digital_Input.tdms", "no group", Stated(group="All")),
    Refused("uff/non_ascii_header.uff", "no time response"),
    Refused("parquet/v0.7.1.parquet", "no sample rate"),
    Refused("parquet/v0.7.1.column-metadata-handling.parquet", "2 times"),
    Refused("rotor_kit/runup_1x.csv", "no column of time"),
    Refused("rotor_kit/vectors_1x.csv", "no rows of two or more numbers"),
]


def all_samples(recording, size):
    blocks = list(recording.blocks(size))
    at = 0
    for b in blocks:
        assert b.data.ndim == 2 and b.data.dtype == np.float32 and b.first_sample == at
        at += b.data.shape[0]
    return np.concatenate([b.data for b in blocks])


def test_they_are_at_least_as_many_as_promised():
    assert len({k.name for k in READ} | {k.name for k in REFUSED}) >= 25


@pytest.mark.parametrize("known", READ, ids=lambda k: k.name)
def test_every_reader_keeps_the_contract(known):
    r = open_recording(FILES / known.name, stated=known.stated)
    assert r.sample_rate_hz == pytest.approx(known.rate_hz, rel=2e-6)
    assert len(r.channels) == known.channels and r.n_samples in (known.count, -1)
    whole = all_samples(r, 1 << 20)
    assert whole.shape == (known.count, known.channels)
    assert np.array_equal(all_samples(r, 97), whole)  # blocks of any size, as often as one likes
    for channel in r.channels:
        assert channel.name and channel.unit  # no unit is "FS": a question where it matters
        assert channel.sensitivity is None  # never guessed


@pytest.mark.parametrize("refused", REFUSED, ids=lambda k: k.name)
def test_what_is_left_open_or_damaged_is_said(refused):
    with pytest.raises(UnreadableFile, match=refused.match) as caught:
        all_samples(open_recording(FILES / refused.name, stated=refused.stated), 1000)
    assert caught.value.remedy


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # libraries' own __del__
@pytest.mark.parametrize("known", READ, ids=lambda k: k.name)
def test_a_damaged_one_is_refused_in_words_or_read(known, tmp_path):
    """Cut short and with bytes changed: never anything but one of our own errors, never more samples."""
    content = (FILES / known.name).read_bytes()
    chance = random.Random(known.name)
    path = tmp_path / known.name.rpartition("/")[2]
    for trial in range(12):
        bad = bytearray(content[: 400_000 if trial % 2 else None])
        if trial < 4:
            bad = bad[: len(bad) * (trial + 1) // 5]
        else:
            for _ in range(6):
                bad[chance.randrange(min(len(bad), 4000))] = chance.randrange(256)
        path.write_bytes(bytes(bad))
        try:
            for _ in open_recording(path, stated=known.stated).blocks():
                pass
        except HeavyspotError as fault:
            assert fault.message and fault.remedy


def scaled(name, stated=NO_STATEMENT):
    return all_samples(open_recording(FILES / name, stated=stated), 1000)


@pytest.mark.parametrize(
    "name",
    [
        "test-44100Hz-be-1ch-4bytes",
        "test-44100Hz-2ch-32bit-float-be",
        "test-8000Hz-be-3ch-5S-24bit",
    ],
)
def test_big_endian_wav_against_scipys_own_reader(name):
    from scipy.io import wavfile

    rate, there = wavfile.read(FILES / f"wav/{name}.wav")
    there = there.reshape(len(there), -1)
    full = 2.0**31 if there.dtype.kind == "i" else 1.0
    assert rate == open_recording(FILES / f"wav/{name}.wav").sample_rate_hz
    assert np.array_equal(scaled(f"wav/{name}.wav"), (there / full).astype(np.float32))


def test_aiff_holds_what_the_wav_of_the_same_string_holds():
    assert np.array_equal(scaled("aiff/pluck-pcm24.aiff"), scaled("aiff/pluck-pcm24.wav"))
    content = (FILES / "aiff/pluck-pcm16.aiff").read_bytes()
    at = content.index(b"SSND") + 16  # length, offset and block size stand before the samples
    there = np.frombuffer(content[at : at + 4 * 3307], ">i2").reshape(-1, 2) / 2.0**15
    assert np.array_equal(scaled("aiff/pluck-pcm16.aiff"), there.astype(np.float32))


@pytest.mark.parametrize("version", ["4.2c_SOL2", "6.1_SOL2", "7.4_GLNX86"])
def test_doubles_of_every_version_are_those_that_were_saved(version):
    # Source: scipy's tests: testdouble = 0:pi/4:2*pi
    want = np.arange(9) * np.pi / 4
    assert scaled(f"mat/testdouble_{version}.mat", RATE_1K)[:, 0] == pytest.approx(want, rel=1e-6)
    assert scaled("mat/testhdf5_7.4_GLNX86.mat", RATE_1K)[:, 0] == pytest.approx(want, rel=1e-6)


@pytest.mark.filterwarnings(
    "ignore::Warning:pandas", "ignore::FutureWarning", "ignore::DeprecationWarning"
)
def test_mdf_against_its_own_makers_frame():
    from asammdf import MDF

    with MDF(FILES / "mdf/test_batch.mf4") as file:
        frame = file.to_dataframe(raw=False)
    assert np.allclose(scaled("mdf/test_batch.mf4"), frame.to_numpy(np.float32))


def test_parquet_and_feather_against_pyarrow():
    import pyarrow.feather
    import pyarrow.parquet

    table = pyarrow.parquet.read_table(FILES / "parquet/v0.7.1.parquet")
    names = [
        c.name for c in open_recording(FILES / "parquet/v0.7.1.parquet", stated=RATE_1K).channels
    ]
    want = np.stack([table[n].to_numpy() for n in names], axis=1)
    assert names == ["carat", "depth", "table", "price", "x", "y", "z"]
    assert np.array_equal(scaled("parquet/v0.7.1.parquet", RATE_1K), want.astype(np.float32))


def test_a_group_of_tdms_against_nptdms_itself():
    import nptdms

    with nptdms.TdmsFile.open(FILES / "tdms/Digital_Input.tdms") as file:
        want = file.groups()[0].channels()[0][:]
    got = scaled("tdms/Digital_Input.tdms", Stated(group=ALL_DATA))
    assert np.array_equal(got[:, 0], want.astype(np.float32))
