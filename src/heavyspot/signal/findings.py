"""Findings about the phase reference: lost, weak, two poles, missing, flipped.

Thresholds are ours unless a source is named; each finding carries the numbers it rests on.
"""

from __future__ import annotations

import itertools

import numpy as np

from ..quantities.finding import Finding, Severity, finding_of
from ..quantities.said import Said
from .curve import Reading
from .mark.wave import clear_mark, flipped, pulses_not_followed, wave_findings
from .phase import PhasedBlocks, spells
from .tracker import Track

FLIPPED_DEG = 100.0
"""Turn of the vector across a short loss of the reference that no resonance makes."""

AT_ONCE_DEG, STEADY_SHARE = 140.0, 0.2
"""Turn between two blocks, and scatter on either side of it as a share of the vector."""


def reference_findings(track: Track, reading: Reading) -> list[Finding]:
    """Return what is wrong with the phase reference; a ``block`` means its angles are not to be used."""
    blocks = reading.blocks
    if not reading.curves:
        return pulses_not_followed(track) or [_not_followed(track)]
    found = [*wave_findings(track, blocks), *_two_poles(reading), *_lost(blocks)]
    found += [*_weak(blocks), *_flips(reading), *_bursts(blocks), *_hum(blocks)]
    counts = track.counts
    repaired = counts.missing_bridged + counts.doubled_dropped
    turning = max(1.0, float(np.nansum(blocks.speed_rpm) / 60 * blocks.block_s))
    if repaired > 3 and repaired > 0.002 * turning:
        found.append(
            finding_of(
                "reference.repaired",
                "note" if repaired < 0.05 * turning else "warn",
                f"{repaired} marks were missing or doubled and were bridged.",
                {
                    "missing": float(counts.missing_bridged),
                    "doubled": float(counts.doubled_dropped),
                    "turns": turning,
                },
            )
        )
    return found


def _hum(blocks: PhasedBlocks) -> list[Finding]:
    """Hum drowns the mark at low speed, where an induced signal is small."""
    hum_s = float(blocks.hum_locked.sum() * blocks.block_s)
    top = np.nanmax(blocks.speed_rpm, initial=0.0)
    slow = blocks.trusted & (blocks.speed_rpm > 0.08 * top) & (blocks.speed_rpm < 0.2 * top)
    purity = blocks.reference_purity[slow]
    share = float(np.median(purity)) if np.isfinite(purity).sum() > 10 else 1.0
    if hum_s <= 0.1 and share > 0.9:
        return []
    text = (
        f"For {hum_s:.1f} s the pickup carried more mains hum than signal; that stretch was left out."
        if hum_s > 0.1
        else f"At low speed only {100 * share:.0f} % of the pickup's signal is the turning mark."
    )
    return [finding_of("reference.hum", "note", text, {"duration_s": hum_s, "purity": share})]


def _not_followed(track: Track) -> Finding:
    power = track.reference_power.astype(float) - track.reference_mean.astype(float) ** 2
    rms = float(np.sqrt(max(np.median(power), 0.0))) if power.size else 0.0
    if rms < 1e-5:
        text, do = "The phase channel is silent.", Said("do.reference.silent")
    else:
        text, do = (
            "The phase channel has no regular once-per-turn signal.",
            Said("do.reference.lost"),
        )
    return finding_of("reference.lost", "block", text, {"pickup_rms": rms}, do=do)


def _two_poles(reading: Reading) -> list[Finding]:
    curve = max(reading.curves, key=lambda c: c.speed_rpm.size)
    top = curve.speed_rpm > 0.3 * curve.speed_rpm.max()
    if top.sum() < 5:
        return []
    once, half = np.abs(curve.vector[0, top]), curve.half[0, top]
    floor = 4 * curve.noise[0, top]
    more = float(np.mean((half > 2 * once) & (half > floor)))
    # contact at half order begins somewhere; what every turn does, it does at low speeds too
    slow = (curve.speed_rpm > 0.07 * curve.speed_rpm.max()) & (
        curve.speed_rpm < 0.2 * curve.speed_rpm.max()
    )
    floor_slow = np.maximum(np.abs(curve.vector[0, slow]), 4 * curve.noise[0, slow])
    steady = float(np.mean(curve.half[0, slow] > floor_slow)) if slow.sum() > 5 else 1.0
    if more < 0.6 or steady < 0.7:
        return []
    return [
        finding_of(
            "reference.two_poles",
            "block",
            "The reference passes twice in each turn: the nut seems magnetised with two pole pairs.",
            {
                "share_of_speeds": more,
                "half_over_once": float(np.median(half / np.maximum(once, 1e-12))),
            },
        )
    ]


def _lost(blocks: PhasedBlocks) -> list[Finding]:
    stretches = spells(blocks.trusted)
    found: list[Finding] = []
    top = float(np.nanmax(blocks.speed_rpm))
    for (_, stop), (start, _) in itertools.pairwise(stretches):
        before, after = float(blocks.speed_rpm[stop - 1]), float(blocks.speed_rpm[start])
        if min(before, after) < 0.2 * top:
            continue
        found.append(_lost_finding(before, after, (start - stop) * blocks.block_s))
    last = stretches[-1][1]
    rest_s = float((blocks.trusted.size - last) * blocks.block_s)
    ended_at = float(blocks.speed_rpm[last - 1])
    if rest_s > 0.3 and ended_at > 0.5 * top:
        found.append(_lost_finding(ended_at, float("nan"), rest_s))
    return found[:1]


def _lost_finding(before: float, after: float, duration_s: float) -> Finding:
    return finding_of(
        "reference.lost_above",
        "block" if duration_s > 0.25 else "warn",
        f"The reference was lost at {before:,.0f} rpm for {duration_s:.2f} s.",
        {"speed_rpm": before, "duration_s": duration_s}
        | ({"speed_after_rpm": after} if np.isfinite(after) else {}),
    )


def _weak(blocks: PhasedBlocks) -> list[Finding]:
    amplitude = blocks.reference_amplitude
    if not np.isfinite(amplitude).any():
        return []
    top = float(np.nanmax(blocks.speed_rpm))
    fast = blocks.trusted & (blocks.speed_rpm > 0.3 * top)
    purity = float(np.median(blocks.reference_purity[fast]))
    if purity >= 0.7 or clear_mark(blocks):
        return []  # harmonics that are the same in every turn leave the mark as clear as a sine
    return [
        finding_of(
            "reference.weak",
            "block",
            f"Only {100 * purity:.0f} % of the pickup's signal is the turning mark.",
            {"purity": purity, "amplitude": float(np.median(amplitude[fast]))},
        )
    ]


def _flips(reading: Reading) -> list[Finding]:
    """Return that the pickup's poles changed places, when the vector says so."""
    return _flips_over_a_gap(reading.blocks) or _flips_at_once(reading.blocks)


def _flips_at_once(blocks: PhasedBlocks) -> list[Finding]:
    """Between two blocks a rotor's vector cannot turn round and stay as large as it was.

    Where it passes through zero it turns too, but then it is not steady on either side.
    """
    width, gap = round(0.03 / blocks.block_s), round(0.01 / blocks.block_s)
    if not blocks.trusted.any():
        return []
    top = float(np.nanmax(blocks.speed_rpm))
    for start, stop in spells(blocks.trusted & (blocks.speed_rpm > 0.15 * top)):
        vector = blocks.vectors[0, start:stop, 1].astype(complex)
        if vector.size < 2 * width + gap:
            continue
        total = np.cumsum(np.concatenate([[0], vector]))
        power = np.cumsum(np.concatenate([[0], np.abs(vector) ** 2]))
        mean = (total[width:] - total[:-width]) / width
        spread = np.sqrt(
            np.maximum((power[width:] - power[:-width]) / width - np.abs(mean) ** 2, 0)
        )
        steady = spread < STEADY_SHARE * np.abs(mean)
        before, after = slice(0, -width - gap), slice(width + gap, None)
        turned = np.abs(np.rad2deg(np.angle(mean[after] * np.conj(mean[before]))))
        at = np.flatnonzero(steady[before] & steady[after] & (turned > AT_ONCE_DEG))
        if at.size:
            k = int(at[turned[at].argmax()])
            speed = float(blocks.speed_rpm[start + k + width])
            return [flipped({"turned_deg": float(turned[k]), "speed_rpm": speed})]
    return []


def _flips_over_a_gap(blocks: PhasedBlocks) -> list[Finding]:
    """Across a short loss of the reference a rotor's vector cannot turn round."""
    top = float(np.nanmax(blocks.speed_rpm))
    width, margin = round(0.03 / blocks.block_s), round(0.012 / blocks.block_s)
    for (_, stop), (start, _) in itertools.pairwise(spells(blocks.trusted)):
        a, b = stop - margin, start + margin
        if (start - stop) * blocks.block_s > 0.3 or a < width or b + width > blocks.trusted.size:
            continue
        if not (blocks.trusted[a - width : a].all() and blocks.trusted[b : b + width].all()):
            continue
        if blocks.speed_rpm[a - 1] < 0.15 * top:
            continue
        before = blocks.vectors[0, a - width : a, 1]
        after = blocks.vectors[0, b : b + width, 1]
        one, two = complex(before.mean()), complex(after.mean())
        noise = float(np.std(before) + np.std(after)) / np.sqrt(width)
        turned = abs(float(np.rad2deg(np.angle(two / one)))) if one else 0.0
        if min(abs(one), abs(two)) > 4 * noise and turned > FLIPPED_DEG:
            return [flipped({"turned_deg": turned, "speed_rpm": float(blocks.speed_rpm[a - 1])})]
    return []


def _bursts(blocks: PhasedBlocks) -> list[Finding]:
    """Marks missed so regularly that those left looked like a slower rotor."""
    seconds = float(blocks.impossible.sum() * blocks.block_s)
    if seconds < 0.05:
        return []
    turning = float((blocks.trusted | blocks.impossible).sum() * blocks.block_s)
    severity: Severity = "block" if seconds > 0.05 * turning else "warn"
    return [
        finding_of(
            "reference.bursts",
            severity,
            f"For {seconds:.2f} s the marks would mean a speed that no rotor jumps to; that time was left out.",
            {"duration_s": seconds, "turning_s": turning},
        )
    ]
