"""Checks of the rig before a spin: what the program can hear for itself while the rotor stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...signal.standing import Standing, standing_levels
from ...sources.live import Description, LiveSource
from ...sources.recording import Channel

LISTEN_S = 1.0
DEAD_G = 1e-4
"""Below this, g rms, an accelerometer with its amplifier is not connected (experience, no source)."""

QUIET_SHARE = 0.1
"""Hum and noise may reach this share of the limit before they are worth a word."""


@dataclass(frozen=True)
class Check:
    """One thing heard.

    Attributes
    ----------
    good : bool or None
        None: cannot be told before a first spin.
    """

    name: str
    good: bool | None
    text: str


def listen(
    source: LiveSource,
    *,
    limit_g: float,
    from_rpm: float,
    pickup_last: float | None = None,
    top_rpm: float = 0.0,
    seconds: float = LISTEN_S,
) -> list[Check]:
    """Listen to a standing rig and say what is good.

    Parameters
    ----------
    limit_g : float
        Scale against which hum and noise are judged.
    from_rpm : float
        Speed from which the curve counts.
    pickup_last, top_rpm : float
        The last spin's pickup amplitude, in its unit, at its top speed.

    Raises
    ------
    SourceLost
        The device is not there, or delivers nothing.
    """
    d = source.describe()
    parts, got = [], 0
    source.open()
    try:
        for block in source.blocks():
            parts.append(block.data)
            got += block.data.shape[0]
            if got >= seconds * d.sample_rate_hz:
                break
    finally:
        source.close()
    data = np.concatenate(parts) if parts else np.empty((0, len(d.channels)), np.float32)
    levels = standing_levels(data, sample_rate_hz=d.sample_rate_hz)
    return _checks(d, levels, limit_g, from_rpm, pickup_last, top_rpm)


def _checks(
    d: Description,
    levels: tuple[Standing, ...],
    limit_g: float,
    from_rpm: float,
    pickup_last: float | None,
    top_rpm: float,
) -> list[Check]:
    out = []
    for channel, level in zip(d.channels, levels, strict=True):
        if level.peak >= 0.98:
            out.append(
                Check(
                    channel.name, False, "at full scale while standing: check its supply and range"
                )
            )
        elif channel.quantity == "acceleration":
            out.append(_sensor(channel, level, limit_g))
        elif channel.quantity == "phase":
            out.append(_pickup(channel, level, from_rpm, pickup_last, top_rpm))
    return out


def _sensor(channel: Channel, level: Standing, limit_g: float) -> Check:
    scale = channel.g_per_stored
    rms, hum = level.rms * scale, level.hum * scale
    if rms < DEAD_G:
        return Check(channel.name, False, f"dead ({rms:.1e} g rms): check sensor, cable and supply")
    if hum > QUIET_SHARE * limit_g:
        return Check(
            channel.name,
            False,
            f"mains hum of {hum:.2f} g at {level.mains_hz:.0f} Hz: check its earth and cable",
        )
    if rms > QUIET_SHARE * limit_g:
        return Check(channel.name, False, f"{rms:.2f} g rms while standing: is the rig shaking?")
    return Check(channel.name, True, f"alive and quiet, {1e3 * rms:.1f} mg rms")


def _pickup(
    channel: Channel, level: Standing, from_rpm: float, last: float | None, top_rpm: float
) -> Check:
    hum = level.hum * channel.full_scale
    text = (
        f"hum {hum:.3g} {channel.unit}, noise {level.rms * channel.full_scale:.3g} {channel.unit}"
    )
    if level.rms <= 0:
        return Check(channel.name, False, "dead: not even noise; check its cable")
    if last is None or not top_rpm:
        return Check(channel.name, None, f"{text}; the magnet shows when it turns")
    over_rpm = top_rpm * hum / last
    return Check(
        channel.name,
        over_rpm < from_rpm / 2,
        f"{text}; last spin's mark stands above it from {over_rpm:,.0f} rpm",
    )
