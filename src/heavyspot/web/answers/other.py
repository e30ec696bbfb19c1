"""The bench, flow tests, models, rigs, people, watched folders."""

from __future__ import annotations

from pydantic import Field

from .common import Told


class BenchTold(Told):
    """What the technician is to do now with a piece."""

    question: str = Field(examples=["prepare", "spinning", "reading", "grind", "done"])
    problem: str
    stamp: str = ""
    on_it: str = ""


class OneBenchTold(Told):
    """A rig of this computer: what is on it, what spins, what its instruments measure now, its agent."""

    rig: str
    on_it: str
    spins: str
    armed: bool
    reading: bool
    lost: str
    slow: dict[str, float | None] = Field(description="null where an instrument is silent")
    agent: dict[str, object] | None


class OnRigTold(Told):
    """Which piece is on which rig."""

    rig: str
    on_it: str


class AgentTold(Told):
    """What an agent is told: the piece on its rig, what was refused, and this server's clock."""

    on_it: str
    refused: str
    now: str


class CheckTold(Told):
    """What was heard of the standing rig; `good` is null where it cannot be told."""

    name: str
    state: str
    good: bool | None
    text: str


class SpinStarted(Told):
    """Identifier of the capture."""

    capture: str


class StateTold(Told):
    """What became of it."""

    state: str


class FlowTold(Told):
    """A flow test as it was kept: bench, readings, windows, curve, stop, leak."""

    verdict: str
    bench: dict[str, object]
    housings: str
    reference: str
    readings: list[dict[str, object]]
    windows: list[dict[str, object]]


class FlowTestTold(FlowTold):
    """A flow test of a piece."""

    number: int
    at: str
    by: str
    rig: str


class CardTaken(Told):
    """A response card that was taken: of how many units, and whose; its certificate's SHA-256."""

    model: str
    units: int
    shop: str
    fingerprint: str


class ModelMade(Told):
    """Name of a model."""

    model: str


class RigMade(Told):
    """Name of a rig."""

    rig: str


class RigTold(Told):
    """A rig's record."""

    kind: str
    building: str
    calibrated_at: str
    due: str
    certificate: str
    serviced_at: str
    note: str
    sensors: list[dict[str, object]]


class KeyTold(Told):
    """A person's key for a program, without its secret."""

    id: str
    name: str
    label: str
    scope: str
    at: str
    until: str


class KeyMade(Told):
    """A new key: shown now and never again."""

    key: str


class UserTold(Told):
    """A user."""

    name: str
    role: str
    at: str


class UserMade(Told):
    """Name of a user."""

    user: str


class EndedTold(Told):
    """What was ended."""

    ended: str


class WatchedFile(Told):
    """What became of a file in a watched folder."""

    name: str
    state: str
    serial: str
    words: str


class WatchedFolderTold(Told):
    """A watched folder of a rig."""

    rig: str
    fault: str
    files: list[WatchedFile]


class WatchedTold(Told):
    """What lies in the watched folders and was not taken, and why."""

    folders: list[WatchedFolderTold]


class CodeTold(Told):
    """A code of a refusal, and what it means."""

    code: str
    title: str
