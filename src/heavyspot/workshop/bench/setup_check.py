"""Checks of the rig before a spin: what the program can hear for itself while the rotor stands."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ...quantities.arrays import Array
from ...quantities.said import Said, in_words
from ...signal.standing import Standing, mains_lines, standing_levels
from ...sources.live import Description, LiveSource
from ...sources.recording import Channel

LISTEN_S = 1.0
DEAD_G = 1e-4
"""Below this, g rms, an accelerometer with its amplifier is not connected (experience, no source)."""

QUIET_SHARE = 0.1
"""Hum and noise may reach this share of the limit before they are worth a word."""

FULL_SCALE = 0.98
TRACE_POINTS, TRACE_S = 130, 0.05


@dataclass(frozen=True)
class Check:
    """One thing heard.

    Attributes
    ----------
    name : str
        Of the channel.
    state : str
        What is the matter: ``alive``, ``dead``, ``shaking``, ``full_scale``, ``no_hum``, ``hum``, ``pickup_dead``,
        ``pickup_hum``, ``pickup_clear``, ``pickup_new``.
    good : bool or None
        None: cannot be told before a first spin.
    values : dict
        Of its sentence.
    evidence : tuple of float
        A stretch of the signal, or the lines of the mains; g or the channel's unit.
    allowed : float
        What a line of the mains may reach, in the same.
    """

    name: str
    state: str
    good: bool | None
    values: dict[str, float] = field(default_factory=dict)
    evidence: tuple[float, ...] = ()
    allowed: float = 0.0

    @property
    def title(self) -> Said:
        """What it is about, in two or three words."""
        return Said(f"check.title.{self.state}", {"channel": self.name})

    @property
    def said(self) -> Said:
        """What was heard."""
        return Said(f"check.said.{self.state}", {**self.values})

    @property
    def remedy(self) -> Said | None:
        """What to do; None where nothing is wrong."""
        return Said(f"check.do.{self.state}") if self.good is False else None

    def as_json(self) -> dict[str, object]:
        """Return it as JSON-ready values (a contract: docs/reference/http.md)."""
        words = [in_words(self.said), in_words(self.remedy) if self.remedy else ""]
        return {
            "name": self.name,
            "good": self.good,
            "state": self.state,
            "text": ". ".join(w.removesuffix(".") for w in words if w),
        }


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
    out: list[Check] = []
    for i, (channel, level) in enumerate(zip(d.channels, levels, strict=True)):
        heard = _Heard(d, channel, level, np.asarray(data[:, i], np.float64))
        if level.peak >= FULL_SCALE:
            out.append(Check(channel.name, "full_scale", False))
        elif channel.quantity == "acceleration":
            out += heard.sensor(limit_g)
        elif channel.quantity == "phase":
            out.append(heard.pickup(from_rpm, pickup_last, top_rpm))
    return out


@dataclass(frozen=True)
class _Heard:
    rig: Description
    channel: Channel
    level: Standing
    samples: Array

    def _trace(self, scale: float) -> tuple[float, ...]:
        """A short stretch, about its mean."""
        some = self.samples[: max(TRACE_POINTS, round(TRACE_S * self.rig.sample_rate_hz))]
        some = (some - some.mean()) * scale
        step = max(1, some.size // TRACE_POINTS)
        return tuple(float(f"{v:.4g}") for v in some[::step][:TRACE_POINTS])

    def sensor(self, limit_g: float) -> list[Check]:
        """Whether an accelerometer is alive and quiet, and hears no mains."""
        name, scale = self.channel.name, self.channel.g_per_stored
        rms, allowed = self.level.rms * scale, QUIET_SHARE * limit_g
        trace = self._trace(scale)
        values = {"rms_mg": 1e3 * rms}
        if rms < DEAD_G:
            return [Check(name, "dead", False, values, trace)]
        lines = mains_lines(
            self.samples, sample_rate_hz=self.rig.sample_rate_hz, mains_hz=self.level.mains_hz
        )
        hum = self.level.hum * scale
        bars = tuple(float(f"{v * scale:.4g}") for v in lines)
        heard = {"mains_hz": self.level.mains_hz, "hum_mg": 1e3 * hum, "allowed_mg": 1e3 * allowed}
        loud = hum > allowed
        state = "shaking" if rms > allowed and not loud else "alive"
        return [
            Check(name, state, state == "alive", values, trace),
            Check(name, "hum" if loud else "no_hum", not loud, heard, bars, allowed),
        ]

    def pickup(self, from_rpm: float, last: float | None, top_rpm: float) -> Check:
        """Whether the pickup's hum leaves the mark to be seen."""
        name, scale = self.channel.name, self.channel.full_scale
        trace = self._trace(scale)
        if self.level.rms <= 0:
            return Check(name, "pickup_dead", False, {}, trace)
        hum = self.level.hum * scale
        if last is None or not top_rpm:
            return Check(name, "pickup_new", None, {}, trace)
        over_rpm = top_rpm * hum / last
        seen = over_rpm < from_rpm / 2
        state = "pickup_clear" if seen else "pickup_hum"
        return Check(name, state, seen, {"over_rpm": over_rpm}, trace)
