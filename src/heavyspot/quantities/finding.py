"""A finding: something about a run that is not unbalance, with its evidence and what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from .content import ByContent
from .said import Said, in_words, kept

Severity = Literal["note", "warn", "block"]
"""``note``: worth knowing. ``warn``: the result stands, look at it. ``block``: no verdict and no cut."""


@dataclass(frozen=True, eq=False)
class Finding(ByContent):
    """Something about a run that is not unbalance, with its evidence and what to do.

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
    do_said : Said or None
        What to do as code and values; None in findings from before there were codes.
    """

    code: str
    severity: Severity
    text: str
    do: str
    evidence: dict[str, float] = field(default_factory=dict)
    do_said: Said | None = None


def finding_of(
    code: str,
    severity: Severity,
    text: str,
    evidence: dict[str, float] | None = None,
    *,
    do: Said | None = None,
) -> Finding:
    """Return a finding; what to do is the sentence of its own code, where no other is given."""
    do = do or Said(f"do.{code}")
    return Finding(code, severity, text, in_words(do), evidence or {}, do)


def blocking_of(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings that forbid a verdict and a cut, in order."""
    return tuple(f for f in findings if f.severity == "block")


def worst_of_each(found: Mapping[str, Sequence[Finding]]) -> list[Finding]:
    """Return what several sensors gave, each kind of finding once, of the sensor where it is gravest.

    Parameters
    ----------
    found : mapping of sensor's name -> findings
    """
    if len(found) == 1:
        return list(next(iter(found.values())))
    grave = {"note": 0, "warn": 1, "block": 2}
    worst: dict[str, Finding] = {}
    for name, findings in found.items():
        for f in findings:
            if f.code not in worst or grave[f.severity] > grave[worst[f.code].severity]:
                worst[f.code] = replace(f, text=f"{name}: {f.text}")
    return list(worst.values())


def finding_said(finding: Finding) -> Said:
    """Return what was seen, to be said in any language; its own text where its numbers do not fill the sentence."""
    values = {name: value for name, value in finding.evidence.items() if math.isfinite(value)}
    return kept(Said(f"finding.{finding.code}", {**values}), finding.text)


def remedy_said(finding: Finding) -> Said:
    """Return what to do, to be said in any language; its own text where it was kept without a code."""
    return kept(finding.do_said, finding.do)
