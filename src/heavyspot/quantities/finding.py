"""A finding: something about a run that is not unbalance, with its evidence and what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from .said import Said, kept

Severity = Literal["note", "warn", "block"]
"""``note``: worth knowing. ``warn``: the result stands, look at it. ``block``: no verdict and no cut."""


@dataclass(frozen=True)
class Finding:
    """One finding.

    Attributes
    ----------
    code : str
        Stable name, dotted: ``reference.two_poles``.
    severity : str
        ``note``, ``warn`` or ``block``.
    text : str
        What was seen, in one sentence.
    do : str
        What to do about it.
    evidence : dict
        The numbers behind it, each name with its unit.
    """

    code: str
    severity: Severity
    text: str
    do: str
    evidence: dict[str, float] = field(default_factory=dict)


def blocking_of(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings that forbid a verdict and a cut, in order."""
    return tuple(f for f in findings if f.severity == "block")


def finding_said(finding: Finding) -> Said:
    """Return what was seen, to be said in any language; its own text where its numbers do not fill the sentence."""
    values = {name: value for name, value in finding.evidence.items() if math.isfinite(value)}
    return kept(Said(f"finding.{finding.code}", {**values}), finding.text)
