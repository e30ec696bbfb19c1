"""Rigs, their checks, and recordings read anew or removed."""

from __future__ import annotations

from dataclasses import dataclass, field

from .entry import Content, Entry


@dataclass(frozen=True, kw_only=True)
class Rig(Entry):
    """A version of a rig."""

    name: str
    content: Content = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class RigCheck(Entry):
    """A check of a rig: shaker or study."""

    rig: str
    kind: str
    content: Content


@dataclass(frozen=True, kw_only=True)
class JudgedRun:
    """A run that was judged, as a rig's health is told from it."""

    piece_id: str
    serial: str
    number: int
    at: str
    by: str
    rig: str
    worst_ratio: float
    result: Content


@dataclass(frozen=True, kw_only=True)
class HeardRun:
    """What a judged run heard beside unbalance, as it was kept; None in older entries."""

    piece_id: str
    number: int
    heard: Content | None


@dataclass(frozen=True, kw_only=True)
class OnBothRigs:
    """A piece spun on two rigs with no cut between: its ratio on each."""

    serial: str
    first: float
    second: float


@dataclass(frozen=True, kw_only=True)
class Reread(Entry):
    """A reread: which runs are read anew, and how."""

    content: Content


@dataclass(frozen=True, kw_only=True)
class Rereading(Entry):
    """One recording read anew, beside the run it is of."""

    piece_id: str
    reread_id: str
    run_id: str
    verdict: str
    worst_ratio: float | None
    content: Content


@dataclass(frozen=True, kw_only=True)
class RereadResult:
    """One recording read anew, with what was said before and whose piece it is of."""

    run_id: str
    number: int
    at: str
    rig: str
    verdict: str
    worst_ratio: float | None
    was: str
    was_ratio: float | None
    content: Content
    piece_id: str
    serial: str
    customer: str
    invoice: str


@dataclass(frozen=True, kw_only=True)
class RunToReread:
    """A run whose recording is to be read anew."""

    id: str
    piece_id: str
    number: int
    recording: str
    recording_sha256: str
    beside_sha256: str | None
    conditions: str
    verdict: str
    worst_ratio: float | None


@dataclass(frozen=True, kw_only=True)
class Retired(Entry):
    """A recording that was removed by the shop's rule."""

    recording: str
    run_id: str


@dataclass(frozen=True, kw_only=True)
class OldRecording:
    """A recording that may go by the shop's rule."""

    run_id: str
    recording: str
    at: str
