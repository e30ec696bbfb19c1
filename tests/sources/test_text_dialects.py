"""Texts in columns of every dialect hold the same spin; what one leaves open is asked."""

from typing import Any

import numpy as np
import pytest

from heavyspot import Stated, open_recording
from heavyspot.quantities.errors import BadInput, UnreadableFile

RATE = 5000
N = 900
T = np.arange(N) / RATE
HOUSING = np.round(3 * np.sin(2 * np.pi * 40 * T), 4)
PICKUP = np.round(np.cos(2 * np.pi * 40 * T), 4)


def table(form, *, time=T, comma=False):
    cells = zip(time, HOUSING, PICKUP, strict=True)
    rows = [form.format(f"{t:.7g}", f"{a:g}", f"{p:g}", i) for i, (t, a, p) in enumerate(cells)]
    text = "\n".join(rows) + "\n"
    return text.replace(".", ",") if comma else text


HEAD = "time [s],housing [g],pickup [V]\n"
BARE = "time,housing [g],pickup [V]\n"

DIALECTS: dict[str, tuple[str, dict[str, Any]]] = {
    "ours": (HEAD + table("{},{},{}"), {}),
    "milliseconds": ("time [ms],housing [g],pickup [V]\n" + table("{},{},{}", time=1e3 * T), {}),
    "microseconds": ("t / µs;housing / g;pickup / V\n" + table("{};{};{}", time=1e6 * T), {}),
    "time_ms": ("time_ms,housing (g),pickup (V)\n" + table("{},{},{}", time=1e3 * T), {}),
    "units row": ("Time;housing;pickup\ns;g;V\n" + table("{};{};{}"), {}),
    "units row in brackets": ("Time\thousing\tpickup\n[ms]\t[g]\t[V]\n" + table("{}\t{}\t{}", time=1e3 * T), {}),
    "preamble": (
        "Recorder;model 7\nDate;2026-03-01\nChannels;2\n\nTime [s];housing [g];pickup [V]\n" + table("{};{};{}"),
        {},
    ),
    "decimal comma": ("Zeit [s];housing [g];pickup [V]\n" + table("{};{};{}", comma=True), {}),
    "decimal comma and tabs": ("Zeit [s]\thousing [g]\tpickup [V]\n" + table("{}\t{}\t{}", comma=True), {}),
    "per cent": ("% spin 4\n% time [s], housing [g], pickup [V]\n" + table("{},{},{}"), {}),
    "blanks": ("  time [s]   housing [g]   pickup [V]\n" + table("  {}   {}   {}"), {}),
    "quotes": ('"time [s]","housing [g]","pickup [V]"\n' + table('"{}","{}","{}"'), {}),
    "separator at the end": ("time [s];housing [g];pickup [V];\n" + table("{};{};{};"), {}),
    "trigger": ("time [s],housing [g],trigger [V]\n" + table("{},{},{}"), {}),
    "time last": ("housing [g],pickup [V],time [s]\n" + table("{1},{2},{0}"), {}),
    "time twice": ("time [s],housing [g],time [s],pickup [V]\n" + table("{0},{1},{0},{2}"), {}),
    "first column named anything": ("X [s],housing [g],pickup [V]\n" + table("{},{},{}"), {}),
    "sample number, rate stated": ("n,housing [g],pickup [V]\n" + table("{3},{1},{2}"), {"rate": 5000.0}),
    "unnamed time, unit stated": ("X,housing [g],pickup [V]\n" + table("{},{},{}", time=1e3 * T), {"unit": "ms"}),
    "time without unit, rate stated": (BARE + table("{},{},{}", time=1e3 * T), {"rate": 5000.0}),
    "no time, rate stated": ("housing [g],pickup [V]\n" + table("{1},{2}"), {"rate": 5000.0}),
    "no time, rate written": ("Sampling rate: 5 kHz\nhousing [g];pickup [V]\n" + table("{1};{2}"), {}),
    "no time, rate in its own cells": ("Sample Rate [Hz],5000\nhousing [g],pickup [V]\n" + table("{1},{2}"), {}),
}  # fmt: skip


def opened(folder, text, *, encoding="utf-8", rate=None, unit=None, name="x.csv"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return open_recording(path, stated=Stated(rate, unit))


def samples(recording):
    return np.concatenate([b.data for b in recording.blocks()])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("name", DIALECTS)
def test_every_dialect_says_the_same(tmp_path, name, encoding):
    text, how = DIALECTS[name]
    r = opened(tmp_path, text, encoding=encoding, **how)
    assert r.sample_rate_hz == RATE
    assert [c.quantity for c in r.channels] == ["acceleration", "phase"]
    assert [c.unit for c in r.channels] == ["g", "V"]
    assert np.array_equal(samples(r), np.stack([HOUSING, PICKUP], axis=1).astype(np.float32))


@pytest.mark.parametrize(
    ("text", "how", "match"),
    [
        (BARE + table("{},{},{}"), {}, 'column "time" has no unit'),
        ("housing [g],pickup [V]\n" + table("{1},{2}"), {}, "no column of time and states no sample rate"),
        ("X,housing [g],pickup [V]\n" + table("{},{},{}"), {}, '"X", rises evenly'),
        (HEAD + table("{},{},{}"), {"rate": 4000.0}, "5000 samples a second; 4000 is stated"),
        (BARE + table("{},{},{}"), {"rate": 4000.0}, "in no unit of time"),
        (HEAD + table("{},{},{}"), {"unit": "ms"}, "in s; ms was stated"),
        ("rate: 5 kHz\nsample rate: 4000 Hz\nhousing [g],pickup [V]\n" + table("{1},{2}"), {}, "several sample"),
        ("time [s],housing [g],time [ms],pickup [V]\n" + table("{0},{1},{0},{2}"), {}, "two times that differ"),
        ("sampling rate 5000\nhousing [g],pickup [V]\n" + table("{1},{2}"), {}, "states no sample rate"),
    ],
)  # fmt: skip
def test_what_is_left_open_is_asked_and_contradictions_are_refused(tmp_path, text, how, match):
    with pytest.raises(UnreadableFile, match=match) as caught:
        opened(tmp_path, text, **how)
    assert caught.value.remedy


def test_the_unit_of_a_western_code_page_is_kept(tmp_path):
    text = "Zeit [s];Beschleunigung accel [m/s²];pickup [V]\n" + table("{};{};{}", comma=True)
    assert opened(tmp_path, text, encoding="cp1252").channels[0].unit == "m/s²"


def test_an_acceleration_without_a_unit_stays_a_question_in_every_dialect(tmp_path):
    r = opened(tmp_path, "time [s];accel;trigger\n" + table("{};{};{}"))
    assert [c.unit for c in r.channels] == ["FS", "FS"]
    with pytest.raises(UnreadableFile, match="no usable sensitivity"):
        _ = r.channels[0].g_per_stored


def test_a_gap_far_behind_the_start_is_found(tmp_path):
    rows = [f"{i / RATE:.7g},{i % 7},{i % 5}" for i in range(9000)]
    del rows[7000]
    r = opened(tmp_path, HEAD + "\n".join(rows))
    with pytest.raises(UnreadableFile, match=r"not even near 1\.4"):
        samples(r)


def test_a_remark_between_the_numbers_is_passed_over_and_a_word_is_not(tmp_path):
    rows = table("{},{},{}").splitlines()
    rows.insert(100, "# somebody opened the door")
    text = HEAD + "\n".join(rows)
    assert samples(opened(tmp_path, text)).shape == (N, 2)
    rows[101] = "door,open,now"
    with pytest.raises(UnreadableFile, match="line 103: 'door' is not a number"):
        samples(opened(tmp_path, HEAD + "\n".join(rows)))


def test_a_stated_value_that_the_sidecar_denies_is_refused(tmp_path):
    (tmp_path / "x.json").write_text('{"version": 1, "sample_rate_hz": 5000, "channels": []}')
    text = "housing [g],pickup [V]\n" + table("{1},{2}")
    assert opened(tmp_path, text).sample_rate_hz == 5000  # a sidecar may say the rate alone
    with pytest.raises(BadInput, match="the sidecar says 5000"):
        opened(tmp_path, text, rate=4000.0)


LVM = (
    "LabVIEW Measurement\t\nWriter_Version\t2\nReader_Version\t2\nSeparator\tTab\nDecimal_Separator\t{decimal}\n"
    "Multi_Headings\tYes\nX_Columns\t{columns}\nTime_Pref\tRelative\nDate\t2026/03/01\nTime\t10:00:00\n"
    "***End_of_Header***\t\n\t\n"
)
SEGMENT = (
    "Channels\t2\t\nSamples\t{n}\t{n}\nDate\t2026/03/01\t2026/03/01\nTime\t10:00:00\t10:00:00\n"
    "Y_Unit_Label\tg\tVolts\nX_Dimension\tTime\tTime\nX0\t0.0E+0\t0.0E+0\nDelta_X\t{step}\t{step}\n"
    "***End_of_Header***\t\nX_Value\thousing\tpickup\tComment\n"
)


def lvm(columns="One", decimal=".", segments=1, rows=N):
    form = "{0}\t{1}\t{2}" if columns == "One" else "\t{1}\t{2}"
    body = table(form, comma=decimal == ",").splitlines()[:rows]
    head = SEGMENT.format(n=N, step="2.000000E-4".replace(".", decimal))
    return LVM.format(decimal=decimal, columns=columns) + "\n".join(
        [head + "\n".join(body) + "\n"] * segments
    )


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("columns", ["One", "No"])
def test_lvm_against_the_reader_of_its_own_library(tmp_path, columns, decimal):
    import lvm_read

    r = opened(tmp_path, lvm(columns, decimal), name="x.lvm")
    assert r.sample_rate_hz == RATE and r.n_samples == N
    assert [(c.quantity, c.unit) for c in r.channels] == [("acceleration", "g"), ("phase", "V")]
    there = lvm_read.read_str(lvm(columns, decimal))[0]["data"]
    there = there[:, 1:3] if columns == "One" else there[:, :2]
    assert np.array_equal(samples(r), there.astype(np.float32))


def test_lvm_of_several_segments_is_a_question_and_a_short_one_is_cut_short(tmp_path):
    with pytest.raises(UnreadableFile, match=r"2 segments: 1 .2 x 900., 2"):
        opened(tmp_path, lvm(segments=2), name="x.lvm")
    r = open_recording(tmp_path / "x.lvm", stated=Stated(group="2"))
    assert samples(r).shape == (N, 2)
    with pytest.raises(UnreadableFile, match="cut short: 900 samples promised, 600 found"):
        samples(opened(tmp_path, lvm(rows=600), name="y.lvm"))


def test_a_pickle_beside_an_lvm_is_never_opened(tmp_path):
    (tmp_path / "x.lvm.pkl").write_bytes(b"cos\nsystem\n(S'touch opened'\ntR.")
    opened(tmp_path, lvm(), name="x.lvm")
    assert not (tmp_path / "opened").exists()
