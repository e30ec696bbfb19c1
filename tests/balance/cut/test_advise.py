"""The advice: estimates that are right about their own uncertainty, and cuts that help."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.balance.cut.advice_case import Situation
from heavyspot.balance.cut.advise import advise
from heavyspot.balance.cut.candidates import Candidate, Tryout
from heavyspot.balance.cut.history import History, MadeCut, Scatter
from heavyspot.balance.cut.prior import Guess, library_prior, wide_prior
from heavyspot.balance.cut.response import estimate
from heavyspot.balance.cut.trial_cut import typical_response
from heavyspot.balance.geometry import Cutter
from heavyspot.balance.limits import Limit, amplitude_uncertainty, judge
from heavyspot.balance.plane import Plane
from heavyspot.quantities.errors import BadInput

TEST_RPM = 150_000.0
SPEED = np.linspace(0.15, 1.0, 86) * TEST_RPM
LIMIT = Limit("house", (0.0,), (0.5,))
NUT = Plane("nut", Cutter("flat", 6, 7.85, 6), 1.2, 2000)


def response(seed=0, spread=1.0):
    """A plane's response unlike the simulator's: one resonance and a free mass, g per g·mm."""
    rng = np.random.default_rng([seed, 3])
    share = SPEED / TEST_RPM
    w0 = 0.55 * (1 + 0.03 * spread * rng.normal())
    q = 3.0 * (1 + 0.1 * spread * rng.normal())
    r = share / w0
    gain = 5.0 * (1 + 0.08 * spread * rng.normal())
    return gain * share**2 * (0.8 + r**2 / (1 - r**2 - 1j * r / q)) * np.exp(0.4j)


USUAL = Scatter()


def measured(true, rng, scatter=USUAL):
    factor = (1 + scatter.run_share * rng.normal()) * np.exp(
        1j * np.deg2rad(scatter.run_angle_deg) * rng.normal()
    )
    return true * factor + 0.002 * (rng.normal(size=86) + 1j * rng.normal(size=86))


def situation(vectors, cuts=(), priors=None, **kw):
    vectors = np.atleast_2d(vectors)
    noise = np.full(vectors.shape, 0.002)
    last = np.abs(vectors[-1])
    u = amplitude_uncertainty(last, noise[-1], repeat_share=0.025, calibration_share=0.01)
    judgement = judge(SPEED, last, u, LIMIT, from_rpm=SPEED[0], to_rpm=TEST_RPM, step_rpm=1500.0)
    base = Situation(
        History(SPEED, vectors, noise, tuple(cuts)),
        (NUT,),
        priors or {},
        LIMIT.at(SPEED),
        judgement,
        True,
        TEST_RPM,
    )
    return replace(base, **kw)


def test_first_run_of_an_unknown_model_is_a_small_stated_guess():
    H = response()
    unbalance = 0.3 * np.exp(1j * 2.0)
    advice, _ = advise(replace(situation(H * unbalance), sensor_lag_deg=0.0))
    assert advice.action == "cut" and advice.trial
    assert "likeliest heavy spot" in advice.reason
    assert len(advice.cuts) == 1
    assert advice.cuts[0].unbalance_gmm < abs(unbalance)


def test_where_nobody_said_where_the_sensor_sits_any_direction_is_said_to_be_as_good():
    advice, _ = advise(situation(response() * 0.3 * np.exp(2j)))
    codes = [w.code for w in advice.why]
    assert advice.trial and codes[:2] == ["advice.trial_anywhere", "advice.say_the_hour"]
    assert "60 degrees" not in advice.reason


def test_second_run_uses_what_was_really_ground():
    H = response()
    start = 0.2 * np.exp(1j * 2.0)
    trial = 0.1 * np.exp(1j * 1.5)
    runs = np.stack([H * start, H * (start - trial)])
    first, _ = advise(situation(runs, [MadeCut(1, "nut", trial)]))
    assert first.action == "fix" and first.why[0].code == "advice.look_first"
    s = situation(runs, [MadeCut(1, "nut", trial, looked=True)])
    advice, now = advise(s)
    assert now.spread["nut"] < 0.35
    assert advice.action == "cut" and not advice.trial
    made = sum(c.unbalance_gmm * np.exp(1j * np.deg2rad(c.angle_deg)) for c in advice.cuts)
    left = np.abs(H * (start - trial - made)).max()
    assert left < 0.25 * np.abs(runs[-1]).max()
    assert advice.expected_ratio < 0.4 * s.judgement.worst.ratio
    assert advice.chance_of_pass > 0.7
    seen = advice.predicted
    assert seen is not None
    inside = (seen.low_g <= seen.amplitude_g) & (seen.amplitude_g <= seen.high_g)
    assert inside.all()


def test_a_pass_stops_and_says_what_one_more_would_gain():
    advice, _ = advise(situation(response() * 0.01))
    assert advice.action == "stop"
    assert advice.reason.startswith("Passed")
    prior = library_prior(np.stack([response(s) for s in range(6)]))
    near, _ = advise(situation(response(9) * 0.04, priors={"nut": prior}))
    assert near.action == "stop" and near.cuts == ()
    assert near.one_more and "One more cut" in near.reason


def test_no_material_left_stops():
    empty = replace(NUT, used_mg=2000.0)
    advice, _ = advise(situation(response() * 0.3, planes=(empty,)))
    assert advice.action == "stop"
    assert "budget" in advice.reason


def test_cuts_respect_sectors_depth_and_budget():
    prior = library_prior(np.stack([response(s) for s in range(6)]))
    tight = replace(
        NUT, max_depth_mm=0.2, budget_mg=40.0, allowed_deg=((90.0, 200.0), (300.0, 340.0))
    )
    advice, _ = advise(
        situation(response(9) * 0.3 * np.exp(0.3j), planes=(tight,), priors={"nut": prior})
    )
    assert advice.action == "cut" and advice.cuts
    for cut in advice.cuts:
        assert 90 <= cut.angle_deg <= 200 or 300 <= cut.angle_deg <= 340
        assert cut.depth_mm <= 0.2 + 1e-9
    assert sum(c.mass_mg for c in advice.cuts) <= 40.0 + 1e-6


def test_limits_are_named():
    prior = library_prior(np.stack([response(s) for s in range(6)]))
    shallow = replace(NUT, max_depth_mm=0.1)
    advice, _ = advise(
        situation(response(9) * 0.6, planes=(shallow,), priors={"nut": prior}, most_cuts=1)
    )
    assert "depth of one cut" in advice.reason


@settings(max_examples=10, deadline=None)
@given(st.floats(0, 360))
def test_turning_the_mark_turns_the_cut(turn):
    H = response()
    start = 0.3 * np.exp(1j * 2.0)
    trial = 0.08 * np.exp(1j * 1.0)
    spin = np.exp(1j * np.deg2rad(turn))
    runs = np.stack([H * start, H * (start - trial)])

    def total(vectors, cut):
        advice, _ = advise(situation(vectors, [MadeCut(1, "nut", cut, looked=True)]))
        return sum(c.unbalance_gmm * np.exp(1j * np.deg2rad(c.angle_deg)) for c in advice.cuts)

    still, turned = total(runs, trial), total(runs * spin, trial * spin)
    off = np.rad2deg(np.angle(turned / (still * spin)))
    assert abs(off) <= 7.5  # cuts lie every 5 degrees, and so do the candidates about them
    assert abs(turned) == pytest.approx(abs(still), rel=0.2)


def test_estimate_covers_the_truth():
    """The 90 % band of the state and of the response holds the truth about 90 % of the time."""
    scatter = Scatter()
    inside_state = inside_response = 0
    n = 120
    for seed in range(n):
        rng = np.random.default_rng(seed)
        H = response(seed)
        start = 0.3 * rng.rayleigh() * np.exp(1j * rng.uniform(0, 6.28))
        asked = 0.5 * abs(start) * np.exp(1j * rng.uniform(0, 6.28))
        made = (
            asked
            * (1 + scatter.cut_share * rng.normal())
            * np.exp(1j * np.deg2rad(scatter.cut_angle_deg) * rng.normal())
        )
        runs = np.stack([measured(H * start, rng), measured(H * (start - made), rng)])
        history = History(SPEED, runs, np.full(runs.shape, 0.002), (MadeCut(1, "nut", asked),))
        prior = wide_prior(SPEED, typical_response(SPEED, TEST_RPM))
        now = estimate(history, {"nut": prior}, scatter, seed=seed)
        k = int(np.argmax(np.abs(runs[-1])))
        low, high = np.quantile(np.abs(now.state[:, k]), [0.05, 0.95])
        inside_state += low <= abs(H[k] * (start - made)) <= high
        low, high = np.quantile(np.abs(now.response["nut"][:, k]), [0.05, 0.95])
        inside_response += low <= abs(H[k]) <= high
    assert 0.82 <= inside_state / n <= 0.97
    assert 0.82 <= inside_response / n <= 0.97


def test_library_forgives_a_typed_in_error():
    units = np.stack([response(s) for s in range(12)])
    units[4] *= np.exp(1j * np.pi)  # the angle was typed half a turn off
    prior = library_prior(units)
    good = np.delete(units, 4, axis=0).mean(axis=0)
    off = np.abs(prior.mean - good).max() / np.abs(good).max()
    assert off < 0.05
    assert prior.units == 12


def test_a_wrong_direction_is_seen_in_the_outcome():
    H = response()
    now = estimate(
        History(SPEED, (H * 0.2)[None], np.full((1, 86), 0.002)),
        {"nut": library_prior(np.stack([response(s) for s in range(8)]))},
        Scatter(),
    )
    tryout = Tryout(now, LIMIT.at(SPEED), Scatter(), 0.055)
    right = tryout.of(Candidate((("nut", 0.0, 0.2),)))
    wrong = tryout.of(Candidate((("nut", 180.0, 0.2),)))
    assert right.mean_level < 0.4 * wrong.mean_level
    assert wrong.worse > 0.99 and right.worse < 0.01


def test_unknown_plane_in_history_is_refused():
    history = History(SPEED, response()[None], np.full((1, 86), 0.01), (MadeCut(1, "nose", 1j),))
    with pytest.raises(BadInput, match="No prior"):
        estimate(history, {"nut": wide_prior(SPEED, np.abs(response()))}, Scatter())


@pytest.mark.parametrize("library", [0, 30])
def test_closed_loop_on_another_rotor(library):
    """Not the simulator's rotor: runs to pass, cut error 15 % and 4 degrees, scatter 2.5 % and 2."""
    prior = (
        {"nut": library_prior(np.stack([response(s + 500) for s in range(library)]))}
        if library
        else {}
    )
    runs_needed = []
    for seed in range(25):
        rng = np.random.default_rng(seed + 77)
        H = response(seed)
        u = 0.12 * (0.3 + rng.rayleigh()) * np.exp(1j * rng.uniform(0, 6.28))
        vectors: list[np.ndarray] = []
        cuts: list[MadeCut] = []
        for _ in range(7):
            vectors.append(measured(H * u, rng))
            s = situation(np.array(vectors), cuts, prior)
            if s.judgement.verdict == "pass":
                assert np.abs(H * u).max() <= 0.5
                break
            advice, _ = advise(s)
            for c in advice.cuts:
                asked = c.unbalance_gmm * np.exp(1j * np.deg2rad(c.angle_deg))
                cuts.append(MadeCut(len(vectors), "nut", asked, looked=True))
                u -= asked * (1 + 0.15 * rng.normal()) * np.exp(1j * np.deg2rad(4) * rng.normal())
        runs_needed.append(len(vectors))
    assert np.median(runs_needed) <= (2 if library else 3)
    assert np.percentile(runs_needed, 90) <= (3 if library else 5)


def test_a_like_model_places_the_trial_until_the_cuts_contradict_it():
    H = response()
    unbalance = 0.3 * np.exp(1j * 2.0)
    good = {"nut": Guess(response(7) * 1.2, ("Larch 50",))}
    advice, _ = advise(situation(H * unbalance, guesses=good))
    assert advice.trial and "models like it (Larch 50)" in advice.reason
    off = (advice.cuts[0].angle_deg - np.rad2deg(2.0) + 180) % 360 - 180
    assert abs(off) < 20
    trial = 0.05 * np.exp(1j * 2.0)
    wrong = {"nut": Guess(-H, ("Birch 50",)), "back": Guess(-H, ("Birch 50",))}
    runs = np.stack([H * unbalance, H * (unbalance - trial)])
    used_up = replace(NUT, used_mg=2000.0)
    back = replace(NUT, name="back")
    said, _ = advise(
        situation(
            runs, [MadeCut(1, "nut", trial, looked=True)], guesses=wrong, planes=(used_up, back)
        )
    )
    assert said.trial and "Birch" not in said.reason


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 10_000),
    st.sampled_from([None, 0.0, 90.0]),
    st.floats(0.1, 1.0),
    st.floats(0.0, 2.0),
)
def test_a_first_cut_to_learn_from_never_risks_half_as_much_again(seed, lag_deg, gain, power):
    """Whatever the piece's curve looks like: flat, rising, with a resonance; its worst is what is said."""
    rng = np.random.default_rng(seed)
    curve = gain * (SPEED / TEST_RPM) ** power * response(seed) * np.exp(2j * np.pi * rng.uniform())
    s = replace(situation(measured(curve, rng)), sensor_lag_deg=lag_deg, seed=seed)
    told, _ = advise(s)
    if s.judgement.verdict != "fail":
        assert not told.cuts
        return
    assert told.trial and told.predicted is not None
    now = float((np.abs(s.history.vectors[-1]) / s.limit_g).max())
    assert float((told.predicted.high_g / s.limit_g).max()) < 1.55 * now  # 95 % of each speed
    said = {w.code: w.values for w in told.why}
    if "advice.may_worsen" in said:
        assert float(str(said["advice.may_worsen"]["worst"])) < 1.55 * now
