"""The ledger's entries as values: one frozen dataclass a kind, built from a row in one place.

``content``, ``conditions`` and ``result`` are JSON as it was written; what writes them also reads them back into
values of its own, on the floor above.
"""

from __future__ import annotations

from .cartridge import (
    Answer,
    ChanceKept,
    Cut,
    CutError,
    Learnt,
    LearntResponse,
    Model,
    Outcome,
    Overruling,
    Run,
    withdrawn,
)
from .entry import Content, Entry, R, record
from .job import Amendment, Branch, Job, OldBookEntry, Piece, PieceEvent, Sheet, View
from .people import Clash, Login, Passkey, PersonsKey, Station, User
from .rig import (
    HeardRun,
    JudgedRun,
    OldRecording,
    OnBothRigs,
    Reread,
    Rereading,
    RereadResult,
    Retired,
    Rig,
    RigCheck,
    RunToReread,
)
from .rotor import FlowTest, Matching, OfMachine, RotorCorrection, RotorRun

__all__ = [
    "Amendment",
    "Answer",
    "Branch",
    "ChanceKept",
    "Clash",
    "Content",
    "Cut",
    "CutError",
    "Entry",
    "FlowTest",
    "HeardRun",
    "Job",
    "JudgedRun",
    "Learnt",
    "LearntResponse",
    "Login",
    "Matching",
    "Model",
    "OfMachine",
    "OldBookEntry",
    "OldRecording",
    "OnBothRigs",
    "Outcome",
    "Overruling",
    "Passkey",
    "PersonsKey",
    "Piece",
    "PieceEvent",
    "R",
    "Reread",
    "RereadResult",
    "Rereading",
    "Retired",
    "Rig",
    "RigCheck",
    "RotorCorrection",
    "RotorRun",
    "Run",
    "RunToReread",
    "Sheet",
    "Station",
    "User",
    "View",
    "record",
    "withdrawn",
]
