"""A cartridge: its model, runs, cuts, and what they taught."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from .entry import Content, Entry


@dataclass(frozen=True, kw_only=True)
class Model(Entry):
    """A version of a model; `kind` is cartridge or rotor."""

    name: str
    kind: str = "cartridge"
    content: Content = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Run(Entry):
    """A run of a cartridge, without its curves."""

    piece_id: str
    number: int
    recorded_at: str = ""
    rig: str = ""
    recording: str
    recording_sha256: str
    beside_sha256: str | None = None
    conditions: Content
    verdict: str
    worst_ratio: float | None
    result: Content


@dataclass(frozen=True, kw_only=True)
class Overruling(Entry):
    """A run's verdict that a finding made undecided, and an inspector let stand; `finding` is its text."""

    piece_id: str
    run_id: str
    number: int
    verdict: str
    finding: str


@dataclass(frozen=True, kw_only=True)
class Answer(Entry):
    """What somebody said of the cuts before a piece's last run, and the advice that follows from it.

    Attributes
    ----------
    looked : list of str
        Identifiers of cuts that were seen to be there as written down.
    knowingly : list of str
        Of cuts in spite of which the work goes on: an inspector lets it, or they were amended since the run.
    advice : dict
        As a run's result holds it.
    """

    piece_id: str
    run_id: str
    number: int
    looked: Sequence[str]
    knowingly: Sequence[str]
    advice: Content


@dataclass(frozen=True, kw_only=True)
class Cut(Entry):
    """A cut asked or made.

    Attributes
    ----------
    kind : str
        ``asked`` or ``made``.
    never_made : bool or None
        True: it amends a cut that was written down and never made.
    """

    piece_id: str
    after_run: int
    kind: str
    plane: str
    angle_deg: float
    unbalance_gmm: float
    mass_mg: float
    depth_mm: float
    never_made: bool | None = None


def withdrawn(cut: Cut, *, by: str, why: str) -> Cut:
    """Return the entry that says of a cut: it was never made, or is asked no more."""
    return replace(
        cut,
        id="",
        at="",
        by=by,
        replaces=cut.id,
        why=why,
        never_made=True,
        unbalance_gmm=0.0,
        mass_mg=0.0,
        depth_mm=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class LearntResponse(Entry):
    """A plane's response as one piece's own runs tell it; `vector` holds shares of test speed and g per g·mm."""

    model: str
    rig: str = ""
    plane: str
    piece_id: str
    run_number: int
    spread: float
    vector: bytes


@dataclass(frozen=True, kw_only=True)
class CutError(Entry):
    """How far a cut was off, as the next run shows it: effect against recorded, recorded against asked."""

    piece_id: str
    cut_id: str
    operator: str = ""
    cutter: str
    share: float
    share_noise: float
    angle_deg: float
    angle_noise_deg: float
    asked_share: float | None = None
    asked_angle_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class ChanceKept(Entry):
    """A chance of passing that was said, and whether the next run passed."""

    piece_id: str = ""
    run_number: int = 0
    computed: float
    said: float
    passed: bool


@dataclass(frozen=True)
class Learnt:
    """What a run teaches: responses of its planes, errors of its cuts, chances kept."""

    responses: tuple[LearntResponse, ...] = ()
    cut_errors: tuple[CutError, ...] = ()
    chances: tuple[ChanceKept, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A run's verdict, with its piece's serial and model."""

    piece_id: str
    serial: str
    model: str
    number: int
    verdict: str
    worst_ratio: float | None
