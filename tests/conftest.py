"""What all tests share: the reference cases, signals with known answers, a small model."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

# the matrices are small: threads that wait for one another take up to eight times as long, on a busy machine
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np
import pytest
from hypothesis import settings

settings.register_profile("shop", deadline=None)  # a busy machine is no fault of the code
settings.load_profile("shop")

T = TypeVar("T")

DRIFT = Path(__file__).parents[1] / "pictures" / "drift"


def pytest_addoption(parser):
    parser.addoption(
        "--no-skip", action="store_true", help="a test that would be skipped fails (`make test`)"
    )
    parser.addoption(
        "--keep-pictures",
        action="store_true",
        help="keep each state's screenshot, small, for later runs",
    )
    parser.addoption(
        "--on-windows", action="store_true", help="under what stands in for Windows (anywhere/)"
    )


@pytest.fixture(autouse=True)
def stand_in_for_windows(request):
    """With ``--on-windows``: what a test does, it does under the stand-in."""
    if not request.config.getoption("on_windows"):
        yield
        return
    if request.node.get_closest_marker("posix"):
        pytest.skip("asks for what Windows has not")
    from anywhere.windows import Windows

    with pytest.MonkeyPatch.context() as patch, Windows(patch) as there:
        yield
    assert not there.held


def pytest_configure(config):
    if not hasattr(config, "workerinput"):
        shutil.rmtree(DRIFT, ignore_errors=True)


def pytest_terminal_summary(terminalreporter):
    """Tell which states look otherwise than their kept pictures; it fails nothing."""
    told = sorted(DRIFT.glob("*.txt"))
    if told:
        terminalreporter.section(
            "pictures that drifted (pictures/ has them; --keep-pictures keeps them anew)"
        )
        for path in told:
            terminalreporter.write(path.read_text(encoding="utf-8"))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    """What the tests need was to be installed: a skip would hide that it is not."""
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and item.config.getoption("no_skip"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be: {report.longrepr[-1]}"
    return report


HERE = Path(__file__).parent
FILES = HERE / "files"

SMALL_MODEL = """
name = "Larch 52"
rotation = "clockwise"
rated_speed_rpm = 175000
test_speed_rpm = 150000
[[plane]]
name = "nut"
radius_mm = 6.0
"""

SMALL_SIDECAR: dict[str, Any] = {
    "version": 1,
    "rotation": "clockwise",
    "channels": [
        {
            "name": "housing",
            "quantity": "acceleration",
            "unit": "V",
            "full_scale": 10.0,
            "sensitivity": {"value": 100.0, "unit": "mV/g"},
        },
        {
            "name": "pickup",
            "quantity": "phase",
            "kind": "magnetic",
            "unit": "V",
            "full_scale": 10.0,
        },
    ],
}


@pytest.fixture(scope="session")
def case() -> Callable[[str], dict[str, Any]]:
    """Return a published case by id."""
    cases = {c["id"]: c for c in json.loads((HERE / "reference/cases.json").read_text())}
    return cases.__getitem__


def needs(found: object, what: str) -> None:
    """Skip a test of a program that is not installed; with ``--no-skip`` the test fails then."""
    if not found:
        pytest.skip(f"{what} is not installed: scripts/test-needs installs it")


def there(value: T | None) -> T:
    """Return what has to be there."""
    assert value is not None
    return value


def polar(pair: list[float]) -> complex:
    """Return [amount, degrees] as a complex number."""
    return complex(pair[0] * np.exp(1j * np.deg2rad(pair[1])))


@dataclass(frozen=True)
class Analytic:
    """A run-up with a known vector at every speed."""

    data: np.ndarray
    sample_rate_hz: float
    vector: Callable[[np.ndarray], np.ndarray]


def analytic_run_up(
    *,
    sample_rate_hz: float = 102_400.0,
    top_rpm: float = 150_000.0,
    acceleration_rpm_s: float = 15_000.0,
    hold_s: float = 1.0,
    snr_db: float = 30.0,
    others: dict[float, float] | None = None,
    mark_deg: float = 0.0,
    scale: float = 1.0,
    seed: int = 0,
) -> Analytic:
    """Return housing and pickup of a linear run-up through a resonance at 60 % of the top speed.

    The vector is an analytic function of speed; noise has a constant ratio to the signal, on both
    channels; `others` are further orders with amplitudes relative to the top amplitude, growing
    with the square of the speed; `mark_deg` moves the mark by that angle with rotation, so that it passes earlier.
    """
    rate = sample_rate_hz
    t = np.arange(int(rate * (top_rpm / acceleration_rpm_s + hold_s))) / rate
    turning = np.minimum(acceleration_rpm_s * t, top_rpm) / 60.0
    t_top = top_rpm / acceleration_rpm_s
    turns = np.where(
        t < t_top,
        acceleration_rpm_s * t**2 / 120.0,
        acceleration_rpm_s * t_top**2 / 120.0 + (t - t_top) * top_rpm / 60.0,
    )
    theta = 2 * np.pi * turns
    rpm = 60 * turning

    def vector(speed_rpm: np.ndarray) -> np.ndarray:
        r = speed_rpm / (0.6 * top_rpm)
        share = (speed_rpm / top_rpm) ** 2
        h = scale * share * (0.3 + 1 / (1 - r**2 - 1j * r / 8)) * np.exp(0.7j)
        return h * np.exp(1j * np.deg2rad(mark_deg))

    grid = np.linspace(0, top_rpm * 1.001, 20_001)
    v = vector(grid) * np.exp(-1j * np.deg2rad(mark_deg))  # the rotor does not move, the mark does
    re, im = np.interp(rpm, grid, v.real), np.interp(rpm, grid, v.imag)
    housing = re * np.cos(theta) + im * np.sin(theta)
    top = float(np.abs(v).max())
    for order, size in (others or {}).items():
        housing += size * top * (rpm / top_rpm) ** 2 * np.cos(order * theta + 0.3)
    rng = np.random.default_rng(seed)
    noise = 10 ** (-snr_db / 20) / np.sqrt(2)
    grows = np.maximum(rpm / top_rpm, 1e-3)
    pickup = grows * np.sin(theta + np.deg2rad(mark_deg))
    housing += noise * np.hypot(re, im) * rng.standard_normal(t.size)
    pickup += noise * grows * rng.standard_normal(t.size)
    return Analytic(np.stack([housing, pickup], axis=1).astype(np.float32), rate, vector)
