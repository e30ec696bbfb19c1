"""What other units teach: their responses, weighed by how near they are to this model on this rig."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...balance.cut.population import WORTH
from ...balance.cut.prior import Guess, ResponsePrior, joined, library_prior, wide_prior
from ...balance.cut.trial_cut import typical_response
from ...ledger.book import Book
from ...ledger.store.array_bytes import pack, unpack
from ...quantities.arrays import Array
from ...sources.simulated import RIG
from ..shop import Workshop
from .card_here import CardHere, card_here
from .model_file import ModelFile
from .models import find_model

OTHER_RIG = 0.25
"""Weight of a unit measured on another rig, or on this one before it was serviced."""

FEW_UNITS = 4
"""Below so many units of its own a model leans on models like it."""

ALIKE_SPEED = 1.6
"""Models are alike whose test speeds differ by no more than this factor."""

ALIKE_SPREAD = 0.5
"""Usual distance between the responses of two like models, as a share; farther off they are not alike."""

WITHDRAWN = 1e6
"""Spread of a response that says: what this piece taught of the plane no longer holds."""

FURTHER = "response."
"""Before a further sensor's name in a stored response."""

ALIKE_WEIGHT = 0.25
"""Weight of like models beside one unit: square of a unit's usual spread (25 %) over theirs."""


@dataclass(frozen=True)
class Lesson:
    """The response of one plane of one other unit.

    Attributes
    ----------
    spread : float
        Its relative uncertainty.
    share : ndarray, shape (k,)
        Speeds as shares of test speed.
    response : ndarray, shape (k,), complex
        g per g·mm, of the first sensor.
    further : dict of sensor -> ndarray, shape (k,), complex
        Of the other sensors of its rig.
    at : str
        When it was learnt, UTC, ISO 8601.
    """

    plane: str
    rig: str
    piece: str
    spread: float
    share: Array
    response: Array
    at: str = ""
    further: dict[str, Array] = field(default_factory=dict)

    def knows(self, sensors: Sequence[str]) -> bool:
        """Whether it tells of all these sensors, the first one included."""
        return set(sensors[1:]) <= set(self.further)

    def on(self, shares: Array, sensors: Sequence[str]) -> NDArray[np.complex128]:
        """Return the response at shares of test speed, one sensor after the other."""
        parts = [self.response, *(self.further[s] for s in sensors[1:])]
        return np.concatenate([np.interp(shares, self.share, p) for p in parts])


def learnt_response(
    speed_rpm: Array, response: Array, model: ModelFile, sensors: Sequence[str] = ()
) -> bytes:
    """Return a response as bytes for the ledger, on shares of test speed.

    Parameters
    ----------
    speed_rpm : ndarray, shape (n,)
        One sensor's points after the other's, the same speeds each.
    response : ndarray, shape (n,), complex
    sensors : sequence of str
        Names of the sensors; one when not given.
    """
    parts = np.split(response, max(len(sensors), 1))
    kept = {"share": speed_rpm[: parts[0].size] / model.test_speed_rpm, "response": parts[0]}
    kept |= {f"{FURTHER}{s}": p for s, p in zip(sensors[1:], parts[1:], strict=True)}
    return pack(kept)


@dataclass(frozen=True)
class Alike:
    """Another model, and what is known of its units."""

    model: ModelFile
    lessons: Sequence[Lesson]


def lessons_of(
    book: Book, model: ModelFile, *, not_piece: str, rig: str, most: int = 200
) -> list[Lesson]:
    """Return what the ledger knows of a model from all other pieces, the newest so many a plane.

    A real rig learns nothing from a simulated one; in a ledger for practice every rig is simulated.
    """
    practice = book.rigs.newest(RIG) is not None
    out = []
    for plane in model.plane:
        for r in book.library.responses(model.name, plane.name, not_piece=not_piece, most=most):
            if r.spread >= WITHDRAWN or (not practice and (r.rig == RIG) != (rig == RIG)):
                continue
            share, response, further = _unpacked(r.vector)
            out.append(
                Lesson(plane.name, r.rig, r.piece_id, r.spread, share, response, r.at, further)
            )
    return out


@lru_cache(4096)
def _unpacked(vector: bytes) -> tuple[Array, Array, dict[str, Array]]:
    """Return a stored response; entries never change, so what was read once need not be again."""
    kept = unpack(vector)
    further = {k.removeprefix(FURTHER): v for k, v in kept.items() if k.startswith(FURTHER)}
    return kept["share"], kept["response"], further


def nearest_alike(model: ModelFile, others: Iterable[ModelFile], most: int = 3) -> list[ModelFile]:
    """Return the models of like size, nearest first: those that share a plane's name."""
    planes = {p.name for p in model.plane}
    far = {
        o.name: (abs(np.log(o.test_speed_rpm / model.test_speed_rpm)), o)
        for o in others
        if o.name != model.name and planes & {p.name for p in o.plane}
    }
    near = sorted((d, name) for name, (d, _) in far.items() if d <= np.log(ALIKE_SPEED))
    return [far[name][1] for _, name in near[:most]]


def wants_alike(lessons: Sequence[Lesson], model: ModelFile) -> bool:
    """Whether any plane of the model has too few units of its own."""
    return any(sum(x.plane == p.name for x in lessons) < FEW_UNITS for p in model.plane)


def priors_of(
    lessons: Sequence[Lesson],
    model: ModelFile,
    speed_rpm: Array,
    *,
    rig: str,
    sensors: Sequence[str] = ("",),
    serviced_at: str = "",
    guesses: dict[str, Guess] | None = None,
    card: CardHere | None = None,
) -> dict[str, ResponsePrior]:
    """Return a prior for each plane of which other units tell something, one sensor's points after the other's.

    Parameters
    ----------
    speed_rpm : ndarray, shape (n,)
        Of each sensor's points.
    sensors : sequence of str
        Names, the rig's first one first.
    serviced_at : str
        Day on which the rig became another one (new mount, fixture or sensor); what it measured
        before counts as another rig's.
    guesses : dict of plane -> Guess, optional
        What like models let expect: leant on while few units are known, if those agree with it.
    card : Card, optional
        What another shop's units let expect.
    """
    found = {}
    for plane in model.plane:
        known = [x for x in lessons if x.plane == plane.name]
        if not known:
            told = card.prior(plane.name, model, speed_rpm) if card else None
            if told is not None:
                found[plane.name] = told
            continue
        whole = [x for x in known if x.knows(sensors)]
        guess = guesses.get(plane.name) if guesses else None
        near = _Near(model, speed_rpm, rig, serviced_at, card)
        if len(whole) == len(known) or len(whole) >= FEW_UNITS:
            found[plane.name] = near.prior(whole, sensors, guess)
        else:  # the further sensors are newer than the library: each on its own
            found[plane.name] = near.apart(known, sensors, guess)
    return found


@dataclass(frozen=True)
class _Near:
    """A model on a rig, to which other units are more or less near."""

    model: ModelFile
    speed_rpm: Array
    rig: str
    serviced_at: str
    card: CardHere | None = None

    def prior(
        self, known: Sequence[Lesson], sensors: Sequence[str], guess: Guess | None
    ) -> ResponsePrior:
        """Return the prior from units that tell of all these sensors."""
        vectors = _on(self.speed_rpm / self.model.test_speed_rpm, known, sensors)
        near = np.array(
            [1.0 if x.rig == self.rig and x.at >= self.serviced_at else OTHER_RIG for x in known]
        )
        weights = near / (np.array([x.spread for x in known]) ** 2 + 0.02)
        leant = guess is not None and len(known) < FEW_UNITS and _agrees(guess, vectors)
        if guess is not None and leant:  # as the part of a unit that their distance allows
            vectors = np.concatenate([vectors, guess.mean[None]])
            weights = np.append(weights, ALIKE_WEIGHT * weights.mean())
        plane = known[0].plane
        others = self.card.beside(plane, self.speed_rpm, sensors, vectors) if self.card else None
        if others is not None:
            each = WORTH / others.shape[0] * float(weights.mean())
            vectors = np.concatenate([vectors, others])
            weights = np.append(weights, np.full(others.shape[0], each))
        scatter = self.model.as_scatter()
        prior = library_prior(
            vectors,
            weights=weights,
            cut_error=(scatter.cut_share, float(np.deg2rad(scatter.cut_angle_deg))),
            sensor=np.repeat(np.arange(len(sensors)), self.speed_rpm.size),
        )
        alike = guess.alike if guess is not None and leant else ()
        units = self.card.units(plane) if self.card and others is not None else 0
        return replace(prior, units=len(known), alike=alike, card=units)

    def apart(
        self, known: Sequence[Lesson], sensors: Sequence[str], guess: Guess | None
    ) -> ResponsePrior:
        """Return the prior of sensors of which not all units tell: the first's, and each further one's own."""
        n = self.speed_rpm.size
        first = None if guess is None else replace(guess, mean=guess.mean[:n])
        parts = [self.prior(known, sensors[:1], first)]
        wide = wide_prior(
            self.speed_rpm, typical_response(self.speed_rpm, self.model.test_speed_rpm)
        )
        for s in sensors[1:]:
            own = [replace(x, response=x.further[s]) for x in known if s in x.further]
            parts.append(self.prior(own, (s,), None) if own else wide)
        return joined(parts)


def known_of(
    shop: Workshop,
    model: ModelFile,
    speed_rpm: Array | None,
    *,
    rig: str,
    serviced_at: str,
    not_piece: str,
    sensors: Sequence[str] = ("",),
    lags_deg: Sequence[float | None] = (),
) -> tuple[dict[str, ResponsePrior], dict[str, Guess]]:
    """Return what the ledger knows of a model's planes, and what like models let expect of them.

    Parameters
    ----------
    speed_rpm : ndarray or None
        None when there is no curve to advise on.
    lags_deg : sequence of float or None
        Turn from pickup to each sensor, as far as it is known.
    """
    if speed_rpm is None:
        return {}, {}
    book = shop.book
    lessons = lessons_of(book, model, not_piece=not_piece, rig=rig)
    alike = []
    if wants_alike(lessons, model):
        others = nearest_alike(model, (find_model(shop, n) for n in book.models.names()))
        alike = [Alike(o, lessons_of(book, o, not_piece="", rig=rig, most=40)) for o in others]
    guesses = guesses_of(model, speed_rpm, alike, rig=rig, sensors=len(sensors))
    priors = priors_of(
        lessons,
        model,
        speed_rpm,
        rig=rig,
        sensors=sensors,
        serviced_at=serviced_at,
        guesses=guesses,
        card=card_here(shop, model.name, sensors, lags_deg),
    )
    return priors, guesses


def guesses_of(
    model: ModelFile, speed_rpm: Array, alike: Sequence[Alike], *, rig: str, sensors: int = 1
) -> dict[str, Guess]:
    """Return what like models on the same rig let expect of a plane, scaled to weight and speed.

    It is the first sensor's; at the others nothing better is known.
    """
    shares = speed_rpm / model.test_speed_rpm
    found = {}
    for plane in model.plane:
        means, names = [], []
        for other in alike:
            known = [x for x in other.lessons if x.plane == plane.name and x.rig == rig]
            if len(known) < FEW_UNITS:
                continue
            one, two = model.test_speed_rpm, other.model.test_speed_rpm
            scale = typical_response(np.array([one]), one) / typical_response(np.array([two]), two)
            vectors = _on(shares, known, ("",))
            means.append(library_prior(vectors).mean * scale)
            names.append(other.model.name)
        if means:
            found[plane.name] = Guess(np.tile(np.mean(means, axis=0), sensors), tuple(names))
    return found


def _on(shares: Array, lessons: Sequence[Lesson], sensors: Sequence[str]) -> NDArray[np.complex128]:
    """Return the lessons' responses at shares of test speed, one a row."""
    return np.stack([x.on(shares, sensors) for x in lessons])


def _agrees(guess: Guess, responses: Array) -> bool:
    """Whether a model's own few units are near what like models let expect."""
    mean = responses.mean(axis=0)
    off = float((np.abs(mean - guess.mean) ** 2).sum())
    return off <= (ALIKE_SPREAD**2) * float((np.abs(mean) ** 2).sum())
