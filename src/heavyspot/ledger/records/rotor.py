"""Rotors and the low-speed machines; flow tests."""

from __future__ import annotations

from dataclasses import dataclass

from .entry import Content, Entry


@dataclass(frozen=True, kw_only=True)
class RotorRun(Entry):
    """A reading of a rotor on a low-speed machine."""

    piece_id: str
    number: int
    rig: str = ""
    recording: str = ""
    recording_sha256: str = ""
    beside_sha256: str | None = None
    verdict: str
    worst_ratio: float | None
    content: Content


@dataclass(frozen=True, kw_only=True)
class RotorCorrection(Entry):
    """A correction made on a rotor."""

    piece_id: str
    after_run: int
    content: Content


@dataclass(frozen=True, kw_only=True)
class OfMachine(Entry):
    """A calibration or proof of a machine; `of` says of which rotor model, or of which kind."""

    rig: str
    of: str
    content: Content


@dataclass(frozen=True, kw_only=True)
class Matching(Entry):
    """A proposal of which parts to put together."""

    content: Content


@dataclass(frozen=True, kw_only=True)
class FlowTest(Entry):
    """A flow test of a piece."""

    piece_id: str
    rig: str = ""
    verdict: str
    content: Content
