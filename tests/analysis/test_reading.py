"""What analysts read: curves, frames, pictures, equality; and what is not installed is named."""

import builtins
import pickle
import subprocess
import sys
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pytest
import xarray as xr

import heavyspot
from heavyspot.workshop.reading.results import curves_json

mpl.use("Agg")

QUICK: Any = {"run_up_s": 3.0, "sample_rate_hz": 25_600}


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("read") / "x.wav"
    heavyspot.simulate(path, unit=4, **QUICK)
    return path


@pytest.fixture(scope="module")
def run(file):
    return heavyspot.read(file)


def test_a_files_curve_is_what_the_program_itself_reads(file, run):
    """The same numbers as `heavyspot read --json` gives, which the documents' tests hold."""
    kept = curves_json(
        heavyspot.read_recording(heavyspot.open_recording(file)).curves, ("housing",)
    )
    curve = run.curve
    assert curve.amplitude == pytest.approx(kept["curve"]["amplitude_g"], rel=1e-5)
    assert curve.angle_deg == pytest.approx(kept["curve"]["angle_deg"], abs=1e-3)
    assert [c.direction for c in run] == ["up", "down"]


def test_amplitude_and_angle_are_the_vectors(run):
    curve = run.curve
    turned = curve.amplitude * np.exp(1j * np.deg2rad(curve.angle_deg))
    assert np.allclose(turned, curve.vector)
    assert ((curve.angle_deg >= 0) & (curve.angle_deg < 360)).all()
    assert curve.highest == curve.amplitude.max() and curve.highest_at_rpm in curve.speed_rpm
    speed, amplitude, angle = next(iter(curve))
    assert (speed, amplitude, angle) == (curve.speed_rpm[0], curve.amplitude[0], curve.angle_deg[0])


def test_a_simulated_run_says_so_everywhere(run):
    assert run.simulated and "simulated" in repr(run) and "simulated" in run._repr_html_()
    assert "simulated" in run.curve._repr_html_() and "no measurement" in run.plot().get_title()
    assert "no measurement" in run.curve.plot().get_title()
    assert run.verdict == ""  # no model, no limit: nothing is judged


def test_frames_hold_the_same_numbers(run):
    curve = run.curve
    pandas, polars, arrow, xarray = (
        curve.to_pandas(), curve.to_polars(), curve.to_arrow(), curve.to_xarray(),
    )  # fmt: skip
    assert isinstance(pandas, pd.DataFrame) and isinstance(polars, pl.DataFrame)
    assert isinstance(arrow, pa.Table) and isinstance(xarray, xr.Dataset)
    for found in (pandas["amplitude_g"].to_numpy(), polars["amplitude_g"].to_numpy(),
                  arrow["amplitude_g"].to_numpy(), xarray["amplitude_g"].values):  # fmt: skip
        assert np.array_equal(found, curve.amplitude)
    assert np.array_equal(xarray["speed_rpm"].values, curve.speed_rpm)
    assert (
        xarray["amplitude_g"].attrs["units"] == "g" and pandas.attrs["units"]["angle_deg"] == "deg"
    )
    assert arrow.field("speed_rpm").metadata == {b"unit": b"rpm"}
    at = float(xarray["amplitude_g"].sel(speed_rpm=60_000, method="nearest"))
    assert at == pytest.approx(np.interp(60_000, curve.speed_rpm, curve.amplitude), rel=0.05)


def test_a_runs_frame_has_every_pass(run):
    frame = run.to_pandas()
    assert len(frame) == sum(len(c) for c in run.curves)
    assert set(frame["direction"]) == {"up", "down"} and set(frame["sensor"]) == {"housing"}
    assert run.to_polars().height == run.to_arrow().num_rows == len(frame)


def test_equality_and_hash(file, run):
    again, other = heavyspot.read(file), heavyspot.read(heavyspot.simulate(unit=5, **QUICK))
    assert run == again and hash(run) == hash(again) and run != other
    assert run.curve == again.curve and hash(run.curve) == hash(again.curve)
    assert run.curve != run.curves[1] and len({run, again, other}) == 2
    assert run != "x.wav" and run.curve != run
    result = heavyspot.read_recording(heavyspot.open_recording(file))
    same = heavyspot.read_recording(heavyspot.open_recording(file))
    assert result == same and hash(result) == hash(same) and result.curves[0] == same.curves[0]
    assert pickle.loads(pickle.dumps(run.curve)) == run.curve


def test_a_curve_that_differs_in_one_number_is_another(run):
    from dataclasses import replace

    amplitude = run.curve.amplitude.copy()
    amplitude[7] = np.nextafter(amplitude[7], 1)
    assert replace(run.curve, amplitude=amplitude) != run.curve
    unknown = replace(run.curve, time_s=np.full(len(run.curve), np.nan))
    assert unknown == replace(unknown) and hash(unknown) == hash(replace(unknown))


def test_what_lies_has_no_curve_and_says_why():
    lost = heavyspot.read(heavyspot.simulate(faults=["two_poles"], **QUICK))
    assert lost.curves == () and any(f.severity == "block" for f in lost.findings)
    with pytest.raises(heavyspot.SignalTooPoor, match="has no curve: ") as told:
        _ = lost.curve
    assert told.value.remedy
    assert lost.to_pandas().empty and "block" in lost._repr_html_() and list(lost) == []


@pytest.mark.parametrize(
    ("verb", "missing", "extra"),
    [("to_arrow", "pyarrow", "arrow"), ("to_pandas", "pandas", "pandas"), ("to_polars", "polars", "polars"),
     ("to_xarray", "xarray", "xarray"), ("plot", "matplotlib", "plot")],
)  # fmt: skip
def test_what_is_not_installed_is_named_with_what_brings_it(run, monkeypatch, verb, missing, extra):
    loaded = {n: None for n in sys.modules if n.partition(".")[0] == missing}
    for name in loaded:
        monkeypatch.delitem(sys.modules, name)
    true_import = builtins.__import__

    def without(name, *more, **named):
        if name.partition(".")[0] == missing:
            raise ImportError(name)
        return true_import(name, *more, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    monkeypatch.setattr("heavyspot.analysis.frames.import_module", without)
    with pytest.raises(heavyspot.NotInstalled, match=f"{missing} is not installed") as told:
        getattr(run.curve, verb)()
    assert f"heavyspot[{extra}]" in told.value.remedy and isinstance(told.value, ImportError)


def test_the_import_brings_nothing_in():
    """Nor do frames: a table library comes in when it is asked for."""
    asks = (
        "import sys, heavyspot; n = set(sys.modules); assert not n & {'numpy', 'scipy', 'pandas', 'sqlalchemy'}, n;"
        "heavyspot.read; heavyspot.open; heavyspot.Run; heavyspot.SpeedCurve;"
        "assert not set(sys.modules) & {'matplotlib', 'pandas', 'polars', 'xarray', 'pyarrow', 'fastapi'}"
    )
    subprocess.run([sys.executable, "-c", asks], check=True)


def test_a_hostile_name_is_text_in_a_notebook(run):
    from dataclasses import replace

    shown = replace(run, of="<script>alert(1)</script>")._repr_html_()
    assert "<script>" not in shown and "&lt;script&gt;" in shown


def test_plots_go_where_they_are_told(run):
    from matplotlib import pyplot

    _, axes = pyplot.subplots(2)
    assert run.curve.plot(axes[1], color="red") is axes[1]
    line = axes[1].lines[0]
    assert line.get_color() == "red" and np.array_equal(line.get_ydata(), run.curve.amplitude)
    assert run.curve.plot().get_xlabel() == "speed, rpm"
    pyplot.close("all")
