"""A guided check of a rig's inputs: by how much each sensor's channel is late behind the pickup's."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from ...quantities.errors import BadInput
from ...signal.delay import SAME, Delay, delay_between
from ...sources.readers import open_recording
from ..shop import Workshop
from .record import add_rig, find_rig

LONGEST_S = 20.0
"""What is read of a recording; longer ones tell no more of a delay."""

STEPS = (
    "Take the pickup's lead and a sensor's lead off the interface.",
    "Feed one noise or sweep (a signal generator, the headphone output of a telephone; mind the largest "
    "voltage the inputs take) into both inputs at once, through a T-piece.",
    "Record ten seconds, and put the leads back.",
)


@dataclass(frozen=True)
class InputDelay:
    """What was found of one sensor's channel."""

    sensor: str
    found: Delay

    @property
    def turned_deg(self) -> float:
        """By how much it turns every angle at 150,000 rpm, degrees."""
        return 360.0 * self.found.delay_s * 150_000 / 60


def check_inputs(
    shop: Workshop, rig: str, recording: str | Path, *, keep: bool = False, by: str = ""
) -> tuple[InputDelay, ...]:
    """Measure what a recording of one source on all inputs says of their delays; kept in the rig's record if asked.

    What is found holds for what lies behind the leads: filters, converter, the pickup's coupling. A sensor's own
    lag stands on its certificate.

    Raises
    ------
    BadInput
        Two inputs have their leads reversed: correct that first. Nothing is kept.
    SignalTooPoor
        The channels carry no common signal, or a tone.
    NotThere
        There is no such rig.
    """
    record = find_rig(shop, rig)
    found = _delays(recording)
    wrong = [d.sensor for d in found if d.found.reversed]
    if wrong:
        raise BadInput(
            f"{', '.join(wrong)}: the other way round than the pickup's input.",
            remedy="Turn the leads of the test round, or look for an inverting input; then record again.",
        )
    if keep:
        known = {s.name: s.model_dump(exclude_defaults=True) for s in record.sensors}
        for d in found:
            known.setdefault(d.sensor, {"name": d.sensor})["delay_us"] = 1e6 * d.found.delay_s
        content = record.model_dump(mode="json", exclude_defaults=True)
        content |= {"sensors": list(known.values())}
        content["pickup_high_pass_hz"] = max(d.found.high_pass_hz for d in found)
        add_rig(shop, rig, content, by=by)
        shop.book.rigs.add_check(
            rig, "inputs", {"sensors": {d.sensor: asdict(d.found) for d in found}}, by=by
        )
    return found


def _delays(recording: str | Path) -> tuple[InputDelay, ...]:
    source = open_recording(recording)
    phase, sensors = source.phase_index(), source.vibration_indices()
    blocks, length = [], 0
    for block in source.blocks():
        blocks.append(block.data)
        length += block.data.shape[0]
        if length > LONGEST_S * source.sample_rate_hz:
            break
    if not blocks:
        raise BadInput("The recording is empty.", remedy=SAME)
    samples = np.concatenate(blocks).astype(float)
    return tuple(
        InputDelay(
            source.channels[i].name,
            delay_between(samples[:, phase], samples[:, i], sample_rate_hz=source.sample_rate_hz),
        )
        for i in sensors
    )
