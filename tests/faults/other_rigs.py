"""The same questions to two rigs of another make: the program's simulator, and the rig of modes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from faults import turbo
from faults.take import FULL_SCALE_V, SENSITIVITY_V_PER_G, Take
from loop import modal_rig

from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings, spin

RIGS = ("turbo", "elements", "modes")
MODELS = {
    "turbo": ("Plane 50", 150_000.0),
    "elements": ("Larch 52", 150_000.0),
    "modes": ("Hazel 55", 140_000.0),
}
RATED_SHARE = 1.1


def healthy(rig, seed, peak_g, spin_seed=None, **how):
    """Return a healthy spin on that rig.

    Parameters
    ----------
    seed : int
        Of the unit.
    spin_seed : int, optional
        Of the spin; the unit's when not given.
    how : dict
        ``top_share``, ``hunting``: see `turbo.spin`.
    """
    again = seed if spin_seed is None else spin_seed
    if rig == "elements" and not how:
        return _elements(seed, peak_g, again)
    test = MODELS[rig][1]
    if rig == "turbo":
        return turbo.spin(turbo.make_unit(seed, peak_g).vector, again, **how)
    if rig == "elements":
        vector = make_cartridge("Larch 52", seed, peak_g=peak_g).vector
    else:
        vector = _modes(seed, peak_g)
    return turbo.spin(vector, again, test_rpm=test, **how)


def _modes(seed, peak_g):
    unit = modal_rig.make_unit(modal_rig.KINDS["Hazel 55"], seed)
    grid = np.linspace(0.15, 1.0, 600) * MODELS["modes"][1]
    factor = peak_g / np.abs(unit.vector(grid)).max()
    return replace(unit, unbalance={p: u * factor for p, u in unit.unbalance.items()}).vector


def _elements(seed, peak_g, again):
    unit = make_cartridge("Larch 52", seed, peak_g=peak_g)
    made = spin(unit, again, SpinSettings(run_up_s=6.0, coast_s=3.0))
    volts = made.samples.astype(float) * FULL_SCALE_V
    turns = np.cumsum(made.speed_rpm) / (60 * made.sample_rate_hz)
    theta = 2 * np.pi * (turns - turns[0])
    fast = made.speed_rpm > 0.5 * made.speed_rpm.max()
    seen = np.vdot(np.exp(1j * theta[fast]), volts[fast, 1] / made.speed_rpm[fast])
    theta += np.angle(seen) + np.pi / 2  # the fundamental of the pickup is a sine
    return Take(
        made.sample_rate_hz, made.speed_rpm, theta, volts[:, 0] / SENSITIVITY_V_PER_G,
        volts[:, 1], unit.vector, "magnetic", 0.2, 150_000.0,
    )  # fmt: skip
