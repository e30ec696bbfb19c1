"""Rigs, their proofs and their health as their templates show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ...workshop.rig.record import RigRecord, SensorRecord

PROOFS_OF: Final = "low-speed rotor machine"
ELEMENT_OF: Final = "flow bench"


@dataclass(frozen=True)
class RigCard:
    """A rig in the list.

    Attributes
    ----------
    about : str
        Kind, building, certificate.
    due, due_look : str
        Where its calibration stands, and the style of that.
    sensors : tuple of (str, str)
        Name of each channel, and what is known of it.
    has_proofs, has_element : bool
        Whether its kind has proofs, or a flow element.
    """

    name: str
    about: str
    due: str
    due_look: str
    sensors: tuple[tuple[str, str], ...]
    has_proofs: bool
    has_element: bool


def rig_card(name: str, rig: RigRecord, today: str) -> RigCard:
    """Return a rig as the list shows it; `today` is a day, YYYY-MM-DD."""
    due, look = _due(rig.next_due(), today)
    sensors = tuple((s.name, _sensor(s)) for s in rig.sensors)
    return RigCard(
        name, _about(rig), due, look, sensors, rig.kind == PROOFS_OF, rig.kind == ELEMENT_OF
    )


def _due(due: str, today: str) -> tuple[str, str]:
    if not due:
        return "? no due date is stated", "fail"
    return (f"✗ calibration was due {due}", "fail") if due < today else (
        f"✓ calibrated until {due}", "",
    )  # fmt: skip


def _about(rig: RigRecord) -> str:
    where = f", {rig.building}" if rig.building else ""
    of = f" of {rig.calibrated_at}" if rig.calibrated_at else ""
    certificate = f" Certificate {rig.certificate}{of}." if rig.certificate else ""
    return f"{rig.kind}{where}.{certificate}"


def _sensor(sensor: SensorRecord) -> str:
    number = f" no. {sensor.number}" if sensor.number else ""
    sensitivity = f", {sensor.sensitivity} {sensor.unit}" if sensor.sensitivity else ""
    due = f", due {sensor.due}" if sensor.due else ""
    return f"{number}{sensitivity}{due}"
