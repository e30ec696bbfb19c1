"""What is said about the phase reference, on blocks whose fault is known because it was put there.

Each test starts from a run-up with nothing wrong and changes one thing; times and shares are counted by hand.
"""

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from heavyspot.quantities.finding import Finding, finding_said
from heavyspot.signal.curve import Curve, Reading
from heavyspot.signal.findings import reference_findings
from heavyspot.signal.mark.turns import EdgeCounts
from heavyspot.signal.phase import PhasedBlocks
from heavyspot.signal.tracker import Track

BLOCK_S, TOP = 2.5e-3, 100_000.0
N = 1600  # four seconds
SPEED = np.linspace(TOP / N, TOP, N)
TURNS = float(SPEED.sum()) / 60 * BLOCK_S


def quiet(kind, n=N) -> dict[str, Any]:
    """All fields of a dataclass of arrays at nothing; what a finding looks at is given by name."""
    return {f.name: np.zeros(n) for f in fields(kind)}


def clean_blocks(**changed) -> PhasedBlocks:
    """A steady run-up: a vector of one size and angle, a pure wave, every block trusted."""
    usual = {
        "block_s": BLOCK_S,
        "trusted": np.ones(N, bool),
        "speed_rpm": SPEED.copy(),
        "vectors": np.ones((1, N, 4), np.complex64),
        "reference_amplitude": np.full(N, 0.5),
        "reference_purity": np.ones(N),
        "hum_locked": np.zeros(N, bool),
        "jitter_rad2": np.full(N, 1e-4),  # 0.6 degrees
        "impossible": np.zeros(N, bool),
    }
    return PhasedBlocks(**(quiet(PhasedBlocks) | usual | changed))


def clean_track(**changed) -> Track:
    """A magnetised nut's sine of 1 V."""
    usual = {
        "sample_rate_hz": 51_200.0,
        "block": 128,
        "magnetic": True,
        "pulses_per_turn": 1,
        "trusted": np.ones(N, bool),
        "reference_power": np.full(N, 0.5, np.float32),
        "reference_extremes": np.tile([-1.0, 1.0], (N // 8, 1)),
        "counts": EdgeCounts(),
        "uneven": np.empty(0),
    }
    return Track(**(quiet(Track) | usual | changed))


def curve(once=1.0, half=0.0, noise=0.01, n=200, top=TOP) -> Curve:
    """A run-up curve; what is given as one number is the same at every speed."""
    flat = np.ones((1, n))
    usual = {
        "direction": "up",
        "speed_rpm": np.linspace(top / n, top, n),
        "vector": flat * once + 0j,
        "noise": flat * noise,
        "half": flat * half,
    }
    return Curve(**(quiet(Curve, n) | usual))


def findings(blocks=None, track=None, curves=None) -> dict[str, Finding]:
    """What is found, each finding whole: its words, what to do, and numbers that fill its sentence."""
    reading = Reading((curve(),) if curves is None else curves, blocks or clean_blocks())
    found = reference_findings(track or clean_track(), reading)
    for f in found:
        assert not f.text[0].islower() and f.text.endswith(".") and f.do.endswith(".")
        assert finding_said(f).code == f"finding.{f.code}"
        assert f.severity in ("note", "warn", "block")
    assert len({f.code for f in found}) == len(found)
    return {f.code: f for f in found}


def untrusted(start_s, seconds, blocks=None) -> PhasedBlocks:
    """The reference lost from a moment on for a time."""
    blocks = blocks or clean_blocks()
    gone = slice(round(start_s / BLOCK_S), round((start_s + seconds) / BLOCK_S))
    trusted, speed = blocks.trusted.copy(), blocks.speed_rpm.copy()
    trusted[gone], speed[gone] = False, np.nan
    return replace(blocks, trusted=trusted, speed_rpm=speed)


def test_nothing_wrong_is_nothing_said():
    assert findings() == {}


@pytest.mark.parametrize("clear", [True, False])
def test_a_weak_magnet_is_one_whose_mark_is_not_clear(clear):
    """Harmonics that are alike in every turn lower the purity and leave the mark as sharp."""
    purity = np.where(SPEED > 0.3 * TOP, 0.55, 1.0)
    jitter = np.full(N, 1e-6 if clear else 1e-3)
    found = findings(clean_blocks(reference_purity=purity, jitter_rad2=jitter))
    assert set(found) == (set() if clear else {"reference.weak"})
    if not clear:
        weak = found["reference.weak"]
        assert weak.severity == "block" and "55 %" in weak.text and "Magnetise" in weak.do
        assert weak.evidence == pytest.approx({"purity": 0.55, "amplitude": 0.5})


def test_a_magnet_is_judged_at_speed_and_where_it_was_followed():
    slow = np.where(SPEED > 0.29 * TOP, 1.0, np.where(SPEED < 0.21 * TOP, 1.0, 0.1))
    assert findings(clean_blocks(reference_purity=slow)) == {}
    only_seven_tenths = np.where(SPEED > 0.25 * TOP, 0.7, 1.0)
    assert findings(clean_blocks(reference_purity=only_seven_tenths)) == {}
    lost = untrusted(3.0, 0.9, clean_blocks(reference_purity=np.where(SPEED > 0.7 * TOP, 0.1, 1.0)))
    assert "reference.weak" not in findings(lost)
    pulses = clean_blocks(reference_purity=np.full(N, 0.2), reference_amplitude=np.full(N, np.nan))
    assert "reference.weak" not in findings(pulses)


def test_hum_at_low_speed_is_a_note():
    """Only from 8 to 20 % of the top speed: below there is no signal yet, above the magnet is judged."""
    slow = (SPEED > 0.08 * TOP) & (SPEED < 0.2 * TOP)
    hum = findings(clean_blocks(reference_purity=np.where(slow, 0.8, 1.0)))["reference.hum"]
    assert hum.severity == "note" and "80 %" in hum.text and "mains" in hum.do
    assert hum.evidence == pytest.approx({"duration_s": 0.0, "purity": 0.8})
    assert findings(clean_blocks(reference_purity=np.where(slow, 0.91, 1.0))) == {}
    beside = (SPEED < 0.08 * TOP) | ((SPEED > 0.2 * TOP) & (SPEED < 0.29 * TOP))
    assert findings(clean_blocks(reference_purity=np.where(beside, 0.5, 1.0))) == {}


@pytest.mark.parametrize(("blocks", "said"), [(30, False), (50, True), (400, True)])
def test_a_stretch_that_followed_the_mains_is_a_note(blocks, said):
    locked = np.zeros(N, bool)
    locked[:blocks] = True
    found = findings(clean_blocks(hum_locked=locked))
    assert set(found) == ({"reference.hum"} if said else set())
    if said:
        seconds = blocks * BLOCK_S
        assert f"{seconds:.1f} s" in found["reference.hum"].text
        assert found["reference.hum"].evidence == pytest.approx(
            {"duration_s": seconds, "purity": 1.0}
        )


def test_few_slow_blocks_say_nothing_about_hum():
    for finite, said in ((10, False), (11, True)):
        purity = np.full(N, 0.5)
        purity[SPEED > 0.2 * TOP] = 1.0
        at = np.flatnonzero((SPEED > 0.08 * TOP) & (SPEED < 0.2 * TOP))
        trusted = np.ones(N, bool)
        trusted[at[finite:]] = False
        found = findings(clean_blocks(reference_purity=purity, trusted=trusted))
        assert ("reference.hum" in found) is said


@pytest.mark.parametrize(
    ("missing", "doubled", "severity"),
    [(4, 2, None), (4, 3, "note"), (100, 60, "note"), (100, 80, "warn"), (0, 200, "warn")],
)
def test_repaired_marks_are_weighed_against_the_turns(missing, doubled, severity):
    """2 in a thousand of 3,335 turns are 6.7 marks, one in twenty 166.8."""
    assert round(TURNS, 1) == 3335.4
    counts = EdgeCounts(missing_bridged=missing, doubled_dropped=doubled)
    found = findings(track=clean_track(counts=counts))
    assert set(found) == ({"reference.repaired"} if severity else set())
    if severity:
        f = found["reference.repaired"]
        assert f.severity == severity and f.text.startswith(f"{missing + doubled} marks")
        assert f.evidence == pytest.approx({"missing": missing, "doubled": doubled, "turns": TURNS})


@pytest.mark.parametrize(("missing", "said"), [(3, False), (4, True)])
def test_three_repaired_marks_are_not_worth_a_word_however_short_the_run(missing, said):
    short = clean_blocks(speed_rpm=SPEED / 100)
    found = findings(short, clean_track(counts=EdgeCounts(missing_bridged=missing)))
    assert ("reference.repaired" in found) is said
    none = clean_blocks(speed_rpm=np.full(N, 1e-9))  # no turn at all: counted as one
    found = findings(none, clean_track(counts=EdgeCounts(doubled_dropped=missing)))
    assert ("reference.repaired" in found) is said
    if said:
        assert found["reference.repaired"].evidence["turns"] == 1.0


@pytest.mark.parametrize(
    ("start_s", "seconds", "severity"),
    [
        (2.0, 0.1, "warn"),
        (2.0, 0.25, "warn"),
        (2.0, 0.3, "block"),
        (0.7, 0.3, None),
        (0.9, 0.3, "block"),
    ],
)
def test_a_loss_on_the_way_is_named_with_both_speeds(start_s, seconds, severity):
    """The speed rises by 25,000 rpm a second; losses below a fifth of the top speed are usual."""
    found = findings(untrusted(start_s, seconds))
    assert set(found) == ({"reference.lost_above"} if severity else set())
    if severity:
        f = found["reference.lost_above"]
        assert f.severity == severity and f"{seconds:.2f} s" in f.text and "gap" in f.do
        before, after = (round(t / BLOCK_S) for t in (start_s, start_s + seconds))
        assert f.evidence == pytest.approx(
            {"duration_s": seconds, "speed_rpm": SPEED[before - 1], "speed_after_rpm": SPEED[after]}
        )


def test_of_several_losses_the_first_is_named():
    f = findings(untrusted(3.0, 0.3, untrusted(1.5, 0.2)))["reference.lost_above"]
    assert f.evidence["speed_rpm"] == pytest.approx(37_500, rel=2e-3) and f.severity == "warn"


@pytest.mark.parametrize(
    ("left_s", "said"), [(0.25, False), (0.35, True), (1.9, True), (2.2, False)]
)
def test_a_reference_that_does_not_come_back(left_s, said):
    """Named when more than 0.3 s went on after it, and it was lost above half the top speed that was seen.

    Of a run that goes on to the top speed in its first two seconds and holds it.
    """
    speed = (
        np.minimum(2 * SPEED, TOP) if left_s < 2 else np.where(SPEED < 0.4 * TOP, TOP, 0.45 * TOP)
    )
    found = findings(untrusted(4.0 - left_s, left_s, clean_blocks(speed_rpm=speed)))
    assert ("reference.lost_above" in found) is said
    if said:
        f = found["reference.lost_above"]
        assert f.severity == "block"
        assert f.evidence == pytest.approx({"speed_rpm": TOP, "duration_s": left_s})


def jumping(degrees, at_s=2.0, seconds=0.1, noise=0.0, size=1.0) -> PhasedBlocks:
    """The once-per-turn vector turned by an angle across a loss."""
    blocks = untrusted(at_s, seconds)
    vectors = np.zeros((1, N, 4), np.complex64)
    rng = np.random.default_rng(1)
    after = np.arange(N) * BLOCK_S > at_s + seconds / 2
    vectors[0, :, 1] = size * np.exp(1j * np.deg2rad(40 + degrees * after))
    vectors[0, :, 1] += noise * (rng.standard_normal(N) + 1j * rng.standard_normal(N))
    return replace(blocks, vectors=vectors)


@pytest.mark.parametrize("degrees", [180, 120, -110])
def test_a_vector_that_turns_round_across_a_loss_is_a_flipped_pickup(degrees):
    f = findings(jumping(degrees))["reference.flipped"]
    assert f.severity == "block"
    assert f.evidence == pytest.approx(
        {"turned_deg": abs(degrees), "speed_rpm": 50_000 - 5 * 25_000 * BLOCK_S}, rel=2e-3
    )
    assert "reference.flipped" in findings(jumping(degrees, noise=0.1))


@pytest.mark.parametrize(
    "blocks",
    [
        jumping(90),  # a resonance may have been passed
        jumping(180, seconds=0.35),  # time for a resonance
        jumping(180, at_s=0.5),  # too slow for a vector
        jumping(180, noise=3.0),  # nothing but noise
        jumping(180, size=0.0),  # no vector at all
        jumping(180, at_s=3.93, seconds=0.03),  # nothing to compare with after it
        untrusted(2.05, 0.04, jumping(180, seconds=0.04)),  # nothing steady before it
    ],
)
def test_what_is_no_flip(blocks):
    assert "reference.flipped" not in findings(blocks)


@pytest.mark.parametrize(("blocks", "severity"), [(16, None), (24, "warn"), (120, "block")])
def test_bursts_of_missing_marks_are_weighed_against_the_time(blocks, severity):
    """0.05 s are 20 blocks, one in twenty of the four seconds is 80."""
    impossible = np.zeros(N, bool)
    impossible[800 : 800 + blocks] = True
    found = findings(clean_blocks(impossible=impossible))
    assert set(found) == ({"reference.bursts"} if severity else set())
    if severity:
        f = found["reference.bursts"]
        assert f.severity == severity and f"{blocks * BLOCK_S:.2f} s" in f.text and "gap" in f.do
        assert f.evidence == pytest.approx({"duration_s": blocks * BLOCK_S, "turning_s": 4.0})
    beside = untrusted(2.0, blocks * BLOCK_S, clean_blocks(impossible=impossible))
    if severity:  # blocks put aside turned too
        assert findings(beside)["reference.bursts"].evidence["turning_s"] == pytest.approx(4.0)


def test_two_poles_show_at_every_speed():
    found = findings(curves=(curve(once=0.1, half=0.3), curve(n=20)))
    assert set(found) == {"reference.two_poles"}
    f = found["reference.two_poles"]
    assert f.severity == "block" and "Demagnetise" in f.do
    assert f.evidence == pytest.approx({"share_of_speeds": 1.0, "half_over_once": 3.0})
    assert (
        findings(curves=(curve(), curve(once=0.1, half=0.3, n=20))) == {}
    )  # the longest pass decides


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"half": 0.19}, False),  # less than twice the once-per-turn part
        ({"half": 0.21}, True),
        ({"noise": 0.08}, False),  # within four times the noise
        ({"noise": 0.07}, True),
        ({"n": 5}, False),  # four speeds are no evidence
        ({"n": 6}, True),
    ],
)
def test_what_two_poles_have_to_show(changed, said):
    usual = {"once": 0.1, "half": 0.3, "noise": 0.01}
    assert ("reference.two_poles" in findings(curves=(curve(**(usual | changed)),))) is said


@pytest.mark.parametrize(("share", "said"), [(0.5, False), (0.7, True)])
def test_two_poles_show_at_most_of_the_fast_speeds(share, said):
    made = curve(once=0.1, half=0.3, n=1000)
    fast = made.speed_rpm > (0.3 + 0.7 * share) * TOP
    half = np.where(fast, 0.0, made.half)
    found = findings(curves=(replace(made, half=half),))
    assert ("reference.two_poles" in found) is said
    if said:
        assert found["reference.two_poles"].evidence["share_of_speeds"] == pytest.approx(
            share, abs=2e-3
        )


@pytest.mark.parametrize(("share", "said"), [(0.6, False), (0.8, True)])
def test_a_rub_that_begins_somewhere_is_not_two_poles(share, said):
    """Half order is missing at part of the low speeds, from 7 to 20 % of the highest."""
    made = curve(once=0.1, half=0.3, n=1000)
    missing = (made.speed_rpm > 0.07 * TOP) & (made.speed_rpm < (0.2 - 0.13 * share) * TOP)
    found = findings(curves=(replace(made, half=np.where(missing, 0.0, made.half)),))
    assert ("reference.two_poles" in found) is said


@pytest.mark.parametrize(
    ("level", "words", "do"),
    [(0.0, "silent", "plugged in"), (5e-6, "silent", "plugged in"), (0.2, "regular", "Magnetise")],
)
def test_a_reference_that_cannot_be_followed(level, words, do):
    """The rms is that of what changes: a steady 3 V is silence."""
    noise = clean_track(
        reference_mean=np.full(N, 3.0, np.float32),
        reference_power=(9.0 + np.full(N, level) ** 2).astype(np.float64),
        reference_extremes=np.tile([3 - 6 * level, 3 + 6 * level], (N // 8, 1)),
        counts=EdgeCounts(edges=10),
        uneven=np.arange(8.0),
    )
    found = findings(track=noise, curves=())
    assert set(found) == {"reference.lost"}
    f = found["reference.lost"]
    assert f.severity == "block" and words in f.text and do in f.do
    assert f.evidence == pytest.approx({"pickup_rms": level}, rel=1e-4, abs=1e-9)
    empty = clean_track(reference_power=np.empty(0), reference_mean=np.empty(0))
    assert findings(track=empty, curves=())["reference.lost"].evidence == {"pickup_rms": 0.0}
