"""Findings from the samples themselves: the phase reference, the sensor, sub-synchronous lines.

Thresholds are ours unless a source is named; each finding carries the numbers it rests on.
"""

from __future__ import annotations

import itertools

import numpy as np

from ..quantities.finding import Finding, Severity
from .curve import Reading
from .phase import PhasedBlocks, spells
from .spectrum import SpeedFrequencyMap, find_sub_synchronous
from .tracker import Track

DEAD_G = 1e-4
"""Rms below which an acceleration channel is taken as not connected."""


BLOCKING_WHIRL, BLOCKING_CONTACT = 1.0, 0.5
"""Shares of the limit from which a line below the turning frequency comes before any cut."""


def reference_findings(track: Track, reading: Reading) -> list[Finding]:
    """Return what is wrong with the phase reference; a ``block`` means its angles are not to be used."""
    blocks = reading.blocks
    if not reading.curves:
        return [_not_followed(track)]
    found = [*_two_poles(reading), *_lost(track, blocks), *_weak(blocks), *_polarity(track)]
    found += _hum(blocks)
    counts = track.counts
    repaired = counts.missing_bridged + counts.doubled_dropped
    turning = max(1.0, float(np.nansum(blocks.speed_rpm) / 60 * blocks.block_s))
    if repaired > 3 and repaired > 0.002 * turning:
        found.append(
            Finding(
                "reference.repaired",
                "note" if repaired < 0.05 * turning else "warn",
                f"{repaired} marks were missing or doubled and were bridged.",
                "Check the pickup's gap and cable; clean the nut.",
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
    do = "Keep the pickup cable away from mains leads; earth its screen at one end."
    return [Finding("reference.hum", "note", text, do, {"duration_s": hum_s, "purity": share})]


def _not_followed(track: Track) -> Finding:
    power = track.reference_power.astype(float) - track.reference_mean.astype(float) ** 2
    rms = float(np.sqrt(max(np.median(power), 0.0))) if power.size else 0.0
    if rms < 1e-5:
        text, do = (
            "The phase channel is silent.",
            "Check that the pickup is plugged in and that this is the right channel.",
        )
    else:
        text, do = (
            "The phase channel has no regular once-per-turn signal.",
            "Magnetise the nut again (four strokes at 12 o'clock) and set the pickup 4-5 mm away.",
        )
    return Finding("reference.lost", "block", text, do, {"pickup_rms": rms})


def _two_poles(reading: Reading) -> list[Finding]:
    curve = max(reading.curves, key=lambda c: c.speed_rpm.size)
    top = curve.speed_rpm > 0.3 * curve.speed_rpm.max()
    if top.sum() < 5:
        return []
    once, half = np.abs(curve.vector[0, top]), curve.half[0, top]
    floor = 4 * curve.noise[0, top]
    more = float(np.mean((half > 2 * once) & (half > floor)))
    if more < 0.6:
        return []
    return [
        Finding(
            "reference.two_poles",
            "block",
            "The reference passes twice in each turn: the nut seems magnetised with two pole pairs.",
            "Demagnetise the nut, magnetise it again with four strokes at 12 o'clock, and spin again.",
            {
                "share_of_speeds": more,
                "half_over_once": float(np.median(half / np.maximum(once, 1e-12))),
            },
        )
    ]


def _lost(track: Track, blocks: PhasedBlocks) -> list[Finding]:
    stretches = spells(blocks.trusted)
    found: list[Finding] = []
    top = float(np.nanmax(blocks.speed_rpm))
    for (_, stop), (start, _) in itertools.pairwise(stretches):
        before, after = float(blocks.speed_rpm[stop - 1]), float(blocks.speed_rpm[start])
        if min(before, after) < 0.2 * top:
            continue
        found.append(_lost_finding(before, after, (start - stop) * blocks.block_s))
    last = stretches[-1][1]
    rest = (
        track.reference_power[last:].astype(float) - track.reference_mean[last:].astype(float) ** 2
    )
    ended_at = float(blocks.speed_rpm[last - 1])
    if rest.size * blocks.block_s > 0.3 and ended_at > 0.5 * top:
        found.append(_lost_finding(ended_at, float("nan"), rest.size * blocks.block_s))
    return found[:1]


def _lost_finding(before: float, after: float, duration_s: float) -> Finding:
    return Finding(
        "reference.lost_above",
        "block" if duration_s > 0.25 else "warn",
        f"The reference was lost at {before:,.0f} rpm for {duration_s:.2f} s.",
        "Close the gap to 4-5 mm or magnetise the nut again, then spin again.",
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
    if purity >= 0.7:
        return []
    return [
        Finding(
            "reference.weak",
            "block",
            f"Only {100 * purity:.0f} % of the pickup's signal is the turning mark.",
            "Magnetise the nut again (four strokes at 12 o'clock) or close the gap to 4-5 mm.",
            {"purity": purity, "amplitude": float(np.median(amplitude[fast]))},
        )
    ]


def _polarity(track: Track) -> list[Finding]:
    """For pulses: a signal that is high most of the turn has its leading edge the other way."""
    if track.magnetic or not track.trusted.any():
        return []
    mean = track.reference_mean[track.trusted].astype(float)
    # a two-level signal between low and high with share d high: skewed mean against its extremes
    low, high = float(track.reference_low), float(track.reference_high)
    if high - low <= 0:
        return []
    share = (float(np.median(mean)) - low) / (high - low)
    if share < 0.6:
        return []
    return [
        Finding(
            "reference.polarity",
            "block",
            f"The pulse signal is at its upper level for {100 * share:.0f} % of the turn.",
            'Swap the pickup\'s polarity, or state the edge as "falling" if it is meant so.',
            {"share_high": share},
        )
    ]


def sensor_findings(
    track: Track,
    *,
    full_scale: list[float | None],
    unit_in_g: list[float],
    names: list[str],
) -> list[Finding]:
    """Return what is wrong with the vibration sensors: dead, or clipped.

    Parameters
    ----------
    full_scale : list of float or None
        Largest sample value of each vibration channel, in its samples' unit.
    unit_in_g : list of float
        Factor from samples to g.
    names : list of str
    """
    found: list[Finding] = []
    for i, name in enumerate(names):
        variance = track.power[i].astype(float) - track.mean[i].astype(float) ** 2
        rms_g = (
            float(np.sqrt(max(float(np.median(variance)), 0.0))) * unit_in_g[i]
            if variance.size
            else 0.0
        )
        if rms_g < DEAD_G:
            found.append(
                Finding(
                    "sensor.dead",
                    "block",
                    f'Channel "{name}" reads nothing ({rms_g:.1e} g rms).',
                    "Check the sensor, its cable and its supply.",
                    {"rms_g": rms_g},
                )
            )
        limit = full_scale[i]
        if limit is not None and track.largest.size:
            clipped = float(np.mean(track.largest[i] >= 0.999 * limit))
            if clipped > 0.002:
                found.append(
                    Finding(
                        "sensor.clipped",
                        "block",
                        f'Channel "{name}" ran into its full scale in {100 * clipped:.1f} % of the spin.',
                        "Lower the gain or use a less sensitive range, then spin again.",
                        {"share": clipped},
                    )
                )
    return found


def sub_synchronous_findings(
    spectra: SpeedFrequencyMap, reading: Reading, *, limit_g: float
) -> list[Finding]:
    """Return what a line below the turning frequency says: oil film, or contact at exactly half."""
    blocks = reading.blocks
    if not reading.curves or spectra.time_s.size == 0:
        return []
    index = np.clip((spectra.time_s / blocks.block_s).astype(int), 0, blocks.speed_rpm.size - 1)
    line = find_sub_synchronous(spectra, blocks.speed_rpm[index])
    if line is None or line.amplitude < 0.05 * limit_g:
        return []
    # locked to the turns: not an oil film, which lags behind half
    contact = abs(line.order - 0.5) < 0.012
    # contact warms and bows the rotor, so less of it spoils the vector
    too_much = (BLOCKING_CONTACT if contact else BLOCKING_WHIRL) * limit_g
    severity: Severity = (
        "block"
        if line.amplitude > too_much
        else ("warn" if line.amplitude > 0.3 * limit_g else "note")
    )
    if contact:
        return [
            Finding(
                "contact.half_order",
                severity,
                f"A line at exactly half the turning frequency reaches {line.amplitude:.2f} g "
                f"at {line.speed_rpm:,.0f} rpm.",
                "This is not unbalance: look for a rub (wheel, seal, heat shield) or something loose.",
                {"amplitude_g": line.amplitude, "speed_rpm": line.speed_rpm, "order": line.order},
            )
        ]
    return [
        Finding(
            "oil.sub_synchronous",
            severity,
            f"A line at {line.order:.2f} of the turning frequency reaches {line.amplitude:.2f} g "
            f"at {line.speed_rpm:,.0f} rpm.",
            "This is not unbalance: check oil temperature, pressure and bearing clearances.",
            {
                "order": line.order,
                "amplitude_g": line.amplitude,
                "speed_rpm": line.speed_rpm,
                "frequency_hz": line.frequency_hz,
                "share_of_run": line.share_of_run,
            },
        )
    ]
