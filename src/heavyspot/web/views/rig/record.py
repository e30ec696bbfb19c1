"""Rigs, their proofs and their health as their templates show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ....workshop.rig.record import RigRecord, SensorRecord
from ...formats import as_code, day, dotted
from ...speaking import told

PROOFS_OF: Final = "low-speed rotor machine"
ELEMENT_OF: Final = "flow bench"
ANGLES_OF: Final = "high-speed rig"


@dataclass(frozen=True)
class RigCard:
    """A rig in the list.

    Attributes
    ----------
    about : str
        Kind, building, certificate.
    due, due_look : str
        Where its calibration stands, and the judgement of that.
    sensors : tuple of (str, str)
        Name of each channel, and what is known of it.
    has_proofs, has_element, has_angles : bool
        Whether its kind has proofs, a flow element, or may show angles itself.
    """

    name: str
    about: str
    due: str
    due_look: str
    sensors: tuple[tuple[str, str], ...]
    has_proofs: bool
    has_element: bool
    has_angles: bool


def rig_card(name: str, rig: RigRecord, today: str) -> RigCard:
    """Return a rig as the list shows it; `today` is a day, YYYY-MM-DD."""
    due, look = _due(rig.next_due(), today)
    sensors = tuple((s.name, _sensor(s)) for s in rig.sensors)
    return RigCard(
        name, _about(rig), due, look, sensors, rig.kind == PROOFS_OF, rig.kind == ELEMENT_OF,
        rig.kind == ANGLES_OF,
    )  # fmt: skip


def kind_words(kind: str) -> str:
    """Return what a kind of rig is called."""
    return told(f"rig_kind.{as_code(kind)}")


def _due(due: str, today: str) -> tuple[str, str]:
    """Return until when it holds, and the judgement of that; a day it is due still counts."""
    if not due:
        return told("rigs.no_due"), "undecided"
    if due < today:
        return told("rigs.was_due", day=day(due)), "fail"
    return told("rigs.until", day=day(due)), "pass"


def _about(rig: RigRecord) -> str:
    certificate = ""
    if rig.certificate and rig.calibrated_at:
        at = day(rig.calibrated_at)
        certificate = told("rigs.certificate_of", number=rig.certificate, day=at)
    elif rig.certificate:
        certificate = told("rigs.certificate", number=rig.certificate)
    return dotted(kind_words(rig.kind), rig.building, certificate)


def _sensor(sensor: SensorRecord) -> str:
    return dotted(
        told("rigs.sensor_number", number=sensor.number) if sensor.number else "",
        f"{sensor.sensitivity:g} {sensor.unit}" if sensor.sensitivity else "",
        told("rigs.sensor_due", day=day(sensor.due)) if sensor.due else "",
    )
