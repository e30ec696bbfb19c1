"""Where a climbing run will end: on rigs that share nothing with ours, from other units' true responses."""

import numpy as np
from loop.strange import RIGS
from loop.strange_world import LIMIT_G, PLANES

from heavyspot.balance.cut.early import (
    LEAST_POINTS,
    LEAST_UNITS,
    early_word,
    possible_responses,
)
from heavyspot.balance.cut.history import Scatter
from heavyspot.balance.cut.prior import ResponsePrior, library_prior

SCATTER = Scatter()
KNOWN = 12


def world(rig, name):
    """A model's speeds, what makes its units, and the priors that a dozen of them give."""
    model, make = RIGS[rig](0)[name]
    units = [make(9_000 + i) for i in range(KNOWN)]
    priors = {p: library_prior(np.stack([u.response(p)[0] for u in units])) for p in PLANES}
    return model, make, units[0].speed_rpm, priors


def first_runs(make, count):
    """First runs as they come, from quiet to loud, read on the first sensor."""
    for s in range(count):
        size = float(np.random.default_rng([s, 7]).uniform(0.05, 1.0))
        yield size * make(s).spin(np.random.default_rng([s, 1]), 1)[0]


MODELS = (("modes", "Willow 58"), ("modes", "Willow 124"), ("shaft", "Juniper 130"))


def test_what_is_said_to_go_over_goes_over():
    """Seen up to six tenths of the speeds, where nothing is over yet; as often as it is said, within the count."""
    told = []
    for rig, name in MODELS:
        model, make, speed, priors = world(rig, name)
        responses = possible_responses(speed, priors)
        limit, k = np.full(speed.size, LIMIT_G), int((speed <= 0.6 * model.test_speed_rpm).sum())
        for seed, v in enumerate(first_runs(make, 60)):
            said = early_word(speed, limit, v[:k], responses, SCATTER, seed=seed)
            if said is None or (np.abs(v[:k]) > LIMIT_G).any():
                continue
            over = np.abs(v[k:]) > LIMIT_G
            off = said.over_at_rpm / speed[k:][over.argmax()] if over.any() else np.nan
            told.append((said.chance_over, bool(over.any()), off))
    chance, happened, off = (np.array(x) for x in zip(*told, strict=True))
    sure, open_, calm = chance >= 0.95, (chance > 0.2) & (chance < 0.8), chance <= 0.05
    assert sure.sum() >= 12 and calm.sum() >= 40 and open_.sum() >= 12
    assert happened[sure].mean() >= 0.8 and happened[calm].mean() <= 0.05
    assert 0.2 < happened[open_].mean() < 0.8
    assert 0.9 < np.nanmedian(off[sure]) < 1.1


def test_nothing_is_said_of_what_is_not_known_or_not_seen():
    _, make, speed, priors = world("modes", "Willow 58")
    limit, v = np.full(speed.size, LIMIT_G), next(first_runs(make, 1))
    k = speed.size // 2
    responses = possible_responses(speed, priors)
    assert early_word(speed, limit, v[:k], responses, SCATTER) is not None
    few = {p: ResponsePrior(q.mean, q.factor, LEAST_UNITS - 1) for p, q in priors.items()}
    assert early_word(speed, limit, v[:k], possible_responses(speed, few), SCATTER) is None
    assert early_word(speed, limit, v[: LEAST_POINTS - 1], responses, SCATTER) is None
    assert early_word(speed, limit, v, responses, SCATTER) is None


def test_a_curve_that_no_unit_of_the_model_makes_is_not_foretold():
    """Noise, another machine, a loose sensor: silence, not a guess."""
    _, _, speed, priors = world("modes", "Willow 58")
    limit, k = np.full(speed.size, LIMIT_G), speed.size // 2
    rng = np.random.default_rng(1)
    strange = 0.2 * (rng.standard_normal(k) + 1j * rng.standard_normal(k))
    assert early_word(speed, limit, strange, possible_responses(speed, priors), SCATTER) is None
