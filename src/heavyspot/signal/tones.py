"""Findings from lines in the spectra that are no order: oil film, contact, fixed tones.

Thresholds are ours unless a source is named; each finding carries the numbers it rests on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..quantities.finding import Finding, Severity, finding_of
from .levels import Heard, heard_of
from .phase import PhasedBlocks
from .spectrum import (
    FixedTone,
    SpeedFrequencyMap,
    SubSynchronous,
    find_fixed_tones,
    find_sub_synchronous,
)

BLOCKING_WHIRL, BLOCKING_CONTACT = 1.0, 0.5
"""Shares of the limit from which a line below the turning frequency comes before any cut."""

LEAST, LEAST_TONE, LOUD = 0.05, 0.03, 0.3
"""Shares of the limit from which a line is worth a note; a fixed tone is; a warning."""

DROWNS = 0.75
"""A loud tone over the highest of the curve from which the vector there cannot be trusted."""

HALF = 0.012
"""Distance from exactly half the turning frequency within which a line is locked to the turns."""


@dataclass(frozen=True)
class Lines:
    """Lines of a run that are no whole order.

    Attributes
    ----------
    tones : tuple of FixedTone
        Strongest first.
    sub_synchronous : SubSynchronous or None
    heard : Heard
    """

    tones: tuple[FixedTone, ...]
    sub_synchronous: SubSynchronous | None
    heard: Heard


def lines_of(spectra: SpeedFrequencyMap, blocks: PhasedBlocks) -> Lines:
    """Return the lines of a run whose speed is known, and what the channel heard beside them."""
    if spectra.time_s.size == 0:
        return Lines((), None, Heard(0.0, 0.0))
    index = np.clip((spectra.time_s / blocks.block_s).astype(int), 0, blocks.speed_rpm.size - 1)
    speed = blocks.speed_rpm[index]
    tones = tuple(find_fixed_tones(spectra, speed))
    line = find_sub_synchronous(spectra, speed, tones_hz=tuple(t.frequency_hz for t in tones))
    return Lines(tones, line, heard_of(spectra, speed, line))


def line_findings(lines: Lines, *, limit_g: float, highest_g: float) -> list[Finding]:
    """Return what lines that are no whole order say: a tone from elsewhere, oil film, or contact.

    Parameters
    ----------
    limit_g, highest_g : float
        The limit, and the curve's highest once-per-turn amplitude, g.
    """
    loud = [t for t in lines.tones[:1] if t.amplitude >= LEAST_TONE * limit_g]
    found = [_tone(t, limit_g, highest_g) for t in loud]
    line = lines.sub_synchronous
    if line is not None and line.amplitude >= LEAST * limit_g:
        found.append(_sub_synchronous(line, limit_g))
    return found


def _severity(amplitude_g: float, limit_g: float, blocks_from: float) -> Severity:
    if amplitude_g > blocks_from * limit_g:
        return "block"
    return "warn" if amplitude_g > LOUD * limit_g else "note"


def _tone(tone: FixedTone, limit_g: float, highest_g: float) -> Finding:
    severity: Severity = "note"
    if tone.amplitude > LOUD * limit_g:
        # one as high as the curve: where they meet, the curve is the tone's
        severity = "block" if tone.amplitude > DROWNS * highest_g else "warn"
    return finding_of(
        "tone.fixed",
        severity,
        f"A tone of {tone.frequency_hz:,.0f} Hz and {tone.amplitude:.2f} g is there at all speeds, and when the "
        "rotor turns slower than it: it is not the rotor's.",
        {"frequency_hz": tone.frequency_hz, "amplitude_g": tone.amplitude},
    )


def _sub_synchronous(line: SubSynchronous, limit_g: float) -> Finding:
    # locked to the turns: not an oil film, which lags behind half; contact warms and bows the rotor, so
    # less of it spoils the vector
    if abs(line.order - 0.5) < HALF:
        return finding_of(
            "contact.half_order",
            _severity(line.amplitude, limit_g, BLOCKING_CONTACT),
            f"A line at exactly half the turning frequency reaches {line.amplitude:.2f} g "
            f"at {line.speed_rpm:,.0f} rpm.",
            {"amplitude_g": line.amplitude, "speed_rpm": line.speed_rpm, "order": line.order},
        )
    return finding_of(
        "oil.sub_synchronous",
        _severity(line.amplitude, limit_g, BLOCKING_WHIRL),
        f"A line at {line.order:.2f} of the turning frequency reaches {line.amplitude:.2f} g "
        f"at {line.speed_rpm:,.0f} rpm.",
        {
            "order": line.order,
            "amplitude_g": line.amplitude,
            "speed_rpm": line.speed_rpm,
            "frequency_hz": line.frequency_hz,
            "share_of_run": line.share_of_run,
        },
    )
