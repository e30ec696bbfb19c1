"""A spin without a rig: a simulated cartridge's recording in a file, with how it was made beside it."""

from __future__ import annotations

import json
import re
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ...quantities.durable import write_text
from ...quantities.errors import BadInput
from ...sim.cartridge import PLANE_NODES, SIZES, Cartridge, make_cartridge
from ...sim.spin import FAULTS, SpinSettings
from ...sources.recording import Recording
from ...sources.sidecar import Simulated, sidecar_path
from ...sources.simulated import simulated_recording
from ...sources.writers import write_recording
from ..model import parse_model
from .rigs import demo_model

_CUT = re.compile(r"([^@=]+)@([-+]?[0-9]+\.?[0-9]*)=([0-9]*\.?[0-9]+)(mm)?")


@dataclass(frozen=True)
class Asked:
    """What is to be simulated.

    Attributes
    ----------
    model : str
        Name of a simulated size.
    unit : int
        Which unit of the model: its own unbalance and stiffness.
    seed : int
        Of the spin: scatter and noise.
    peak_g : float or None
        Its highest vibration before anything is cut; its own where None.
    faults : tuple of str
        Of `FAULTS`.
    cuts : tuple of str
        ``plane@degrees=amount``: g·mm, or mm of depth where ``mm`` stands behind it.
    sample_rate_hz : float
    run_up_s : float
        The coast takes half as long.
    bits : int
        16 or 24.
    """

    model: str = "Larch 52"
    unit: int = 1
    seed: int = 1
    peak_g: float | None = None
    faults: tuple[str, ...] = ()
    cuts: tuple[str, ...] = ()
    sample_rate_hz: float = 51_200.0
    run_up_s: float = 8.0
    bits: int = 24


def simulate(path: str | Path, asked: Asked | None = None) -> Recording:
    """Write the recording of a simulated spin, and its sidecar, in the format the suffix names.

    Returns
    -------
    Recording
        What was written; its rig is the simulated rig, and a sheet of it says so.

    Raises
    ------
    BadInput
        The model, a fault or a cut is not known, or the file is there already.
    """
    asked, path = asked or Asked(), Path(path)
    made = simulated(asked)
    write_recording(made, path)
    beside = sidecar_path(path)
    content = json.loads(beside.read_text(encoding="utf-8")) if beside.exists() else None
    if content is not None:  # a CSV says it all in its first line
        how = Simulated(
            model=asked.model,
            unit=asked.unit,
            seed=asked.seed,
            faults=list(asked.faults),
            cuts=list(asked.cuts),
        )
        content |= {"simulated": how.model_dump()}
        write_text(beside, json.dumps(content, indent=1, ensure_ascii=False) + "\n")
    return made


def simulated(asked: Asked) -> Recording:
    """Return the recording of a simulated spin, in memory; raises `BadInput` as `simulate`."""
    _known(asked.model, SIZES, "model")
    for fault in asked.faults:
        _known(fault, FAULTS, "fault")
    if asked.bits not in (16, 24):
        raise BadInput(f"{asked.bits} bits are asked for.", remedy="Ask for 16 or 24.")
    if not (asked.sample_rate_hz >= 1000 and 0.5 <= asked.run_up_s <= 120):
        raise BadInput(
            f"{asked.sample_rate_hz:g} samples a second over {asked.run_up_s:g} s cannot be simulated.",
            remedy="Ask for 1,000 or more, and a run-up of 0.5 to 120 s.",
        )
    unit = make_cartridge(asked.model, asked.unit, peak_g=asked.peak_g)
    for cut in asked.cuts:
        unit = _ground(unit, cut, asked.model)
    settings = SpinSettings(
        sample_rate_hz=asked.sample_rate_hz,
        run_up_s=asked.run_up_s,
        coast_s=asked.run_up_s / 2,
        faults=asked.faults,
    )
    return _in_whole_steps(simulated_recording(unit, asked.seed, settings), asked.bits)


def _known(name: str, names: Collection[str], what: str) -> None:
    if name not in names:
        raise BadInput(f'There is no {what} "{name}".', remedy=f"Known: {', '.join(names)}.")


def _ground(unit: Cartridge, cut: str, model: str) -> Cartridge:
    """Return the unit with a cut made exactly as it is written."""
    found = _CUT.fullmatch(cut.strip())
    if found is None:
        raise BadInput(
            f'"{cut}" is no cut.', remedy='Write it like "nut@125=0.31mm" or "nut@125=9.4" (g·mm).'
        )
    plane, degrees, amount, depth = found.groups()
    plane, angle_deg, size = plane.strip(), float(degrees), float(amount)
    if not depth:
        _known(plane, PLANE_NODES, "plane")
        return unit.ground(plane, angle_deg, size)
    known = parse_model(demo_model(SIZES[model]), name=model)
    cutter = known.find_plane(plane).as_plane().cutter
    return unit.ground(plane, angle_deg, cutter.removed(size, 0.0).unbalance_gmm)


def _in_whole_steps(recording: Recording, bits: int) -> Recording:
    """Return the samples as a converter of so many bits gives them."""
    steps = np.float32(2 ** (bits - 1))
    data = np.concatenate([b.data for b in recording.blocks()])
    whole = np.clip(np.rint(data * steps), -steps, steps - 1) / steps
    return replace(recording, opener=lambda size: iter([whole.astype(np.float32)]), bits=bits)
