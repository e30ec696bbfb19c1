"""The kinds of fault, what each is expected to be called, and what it leaves unproved."""

from __future__ import annotations

from dataclasses import dataclass

from faults import reference_faults as ref
from faults import sensor_faults as sen


@dataclass(frozen=True)
class Kind:
    """One kind of fault.

    Attributes
    ----------
    make : callable or None
        (healthy take, size, rng) -> take.
    named : frozenset of str
        Any of these findings names it; empty: it is harmless and nothing need be said.
    proves_nothing : bool
        The channel or reference is such that no pass can rest on it, whatever the truth.
    needs : "", "units" or "run"
        What must be known for it to show at all: healthy units of the model, or a run of the piece.
    never : frozenset of str
        Findings that would be false here.
    how : callable or None
        size -> how the rig is run.
    """

    name: str
    make: object
    named: frozenset = frozenset()
    proves_nothing: bool = False
    needs: str = ""
    never: frozenset = frozenset()
    how: object = None
    only: str = ""  # "magnetic" or "pulse": kind of the healthy pickup; "" any


def _kind(name, make, *named, **more):
    more["never"] = frozenset(more.get("never", ()))
    return Kind(name, make, frozenset(named), **more)


DEAD = ("sensor.dead", "sensor.silent", "sensor.swapped", "sensor.level")
OIL = ("oil.sub_synchronous", "contact.half_order")
REF = ("reference.lost", "reference.weak", "reference.lost_above", "reference.bursts", "reference.hum",
       "reference.kind", "reference.irregular", "speed.not_followed", "sensor.swapped")  # fmt: skip

KINDS = {
    k.name: k
    for k in (
        _kind("clean", None),
        _kind("all zero", sen.all_zero, "sensor.dead", proves_nothing=True),
        _kind("sensor noise only", sen.noise_only, *DEAD, proves_nothing=True),
        _kind("mains only", sen.mains_only, *DEAD, proves_nothing=True),
        _kind("crosstalk only", sen.crosstalk_only, *DEAD, "sensor.loose", proves_nothing=True),
        _kind("dies midway", sen.dies_midway, "sensor.silent", "sensor.dead", proves_nothing=True),
        _kind("silent at resonance", sen.silent_at_resonance, *DEAD, proves_nothing=True),
        _kind("drops out", sen.drops_out, *DEAD, "sensor.loose", proves_nothing=True),
        _kind("loose cable", sen.loose_cable, *DEAD, "sensor.loose", proves_nothing=True),
        _kind("loose sensor", sen.loose_sensor, "sensor.loose", proves_nothing=True),
        _kind("dead after a healthy run", sen.noise_only, *DEAD, "vector.fell", "vector.jumped",
              proves_nothing=True, needs="run"),
        _kind("open cable", sen.open_cable, *DEAD, "sensor.loose", proves_nothing=True, needs="units"),
        _kind("too insensitive", sen.too_insensitive, "sensor.level", proves_nothing=True, needs="units"),
        _kind("too sensitive", sen.too_sensitive, "sensor.level", needs="units"),
        _kind("wrong unit", sen.wrong_unit, "sensor.level", proves_nothing=True, needs="units"),
        _kind("gain falls after a run", sen.too_insensitive, "vector.fell", "vector.jumped", "sensor.level",
              proves_nothing=True, needs="run"),
        _kind("gain falls midway", sen.gain_falls_midway, "sensor.step", "vector.drifts", "sensor.silent",
              proves_nothing=True),
        _kind("clips hard", sen.clips_hard, "sensor.clipped"),
        _kind("clips softly", sen.clips_softly, "sensor.clipped"),
        _kind("clips on one side", sen.clips_on_one_side, "sensor.clipped"),
        _kind("clips before a filter", sen.clips_before_the_filter, "sensor.clipped"),
        _kind("full scale reached", sen.full_scale_reached, "sensor.clipped"),
        _kind("hum on the sensor", sen.hum, "sensor.hum"),
        _kind("fixed tone", sen.fixed_tone, "tone.fixed", never=OIL),
        _kind("mount resonance", sen.mount_resonance, "mount.resonance"),
        _kind("whirl", sen.whirl, "oil.sub_synchronous"),
        _kind("whip", sen.whip, "oil.sub_synchronous"),
        _kind("rub", sen.rub, "contact.half_order"),
        _kind("half order over once", sen.half_order_over_once, "contact.half_order",
              never=("reference.two_poles",)),
        _kind("loud blades", sen.many_blades, never=OIL),
        _kind("aliased blades", sen.aliased_blades, never=OIL),
        _kind("rotor bows", sen.bows, "vector.drifts"),
        _kind("two poles", ref.two_poles, "reference.two_poles", proves_nothing=True),
        _kind("weak magnet", ref.weak_magnet, *REF),
        _kind("no magnet", ref.no_magnet, *REF, proves_nothing=True),
        _kind("hum only on the pickup", ref.hum_only, *REF, proves_nothing=True,
              never=("speed.not_reached",)),
        _kind("hum on the pickup", ref.hum, "reference.hum"),
        _kind("mark lost at speed", ref.lost_at_speed, "reference.lost_above", "speed.not_followed",
              proves_nothing=True, never=("speed.not_reached",)),
        _kind("pulse upside down", ref.pulse_upside_down, "reference.polarity"),
        _kind("polarity flips midway", ref.flips_midway, "reference.flipped", proves_nothing=True),
        _kind("pulse flips midway", ref.pulse_flips_midway, "reference.flipped", "reference.polarity",
              proves_nothing=True),
        _kind("doublets called magnetic", ref.doublets, "reference.kind"),
        _kind("pulse called magnetic", ref.pulse_called_magnetic, "reference.kind"),
        _kind("magnetic called pulse", ref.magnetic_called_pulse, "reference.kind"),
        _kind("strong harmonics", ref.strong_harmonics, never=("reference.weak", "reference.lost")),
        _kind("single turns missing", ref.misses_single_turns, "reference.repaired", "reference.bursts",
              "reference.lost_above"),
        _kind("turns missing in bursts", ref.misses_in_bursts, "reference.bursts", "reference.lost_above",
              "reference.repaired", "reference.irregular"),
        _kind("two marks", ref.two_marks, "reference.irregular", "reference.lost", "reference.repaired",
              "reference.two_poles"),
        _kind("scratches", ref.scratches, "reference.repaired", "reference.irregular"),
        _kind("swapped, magnetic", ref.swapped_magnetic, "sensor.swapped", proves_nothing=True),
        _kind("swapped, pulse", ref.swapped_pulse, "sensor.swapped", proves_nothing=True),
        _kind("wrong sample rate", ref.wrong_rate, "recording.rate", "speed.above_rated", proves_nothing=True),
        _kind("leads reversed", ref.reversed_leads, "reference.reversed", needs="run", only="magnetic"),
        _kind("speed not reached", None, "speed.not_reached", proves_nothing=True,
              how=lambda size: {"top_share": 0.96 - 0.3 * size}),
        _kind("above rated speed", None, "speed.above_rated", how=lambda size: {"top_share": 1.12 + 0.1 * size}),
        _kind("speed hunts", None, "speed.unsteady", how=lambda size: {"hunting": 0.05 + 0.05 * size}),
    )
}  # fmt: skip
