"""A response card on this rig: turned to where its sensors sit, or beside the shop's own units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ...balance.cut.population import Population, beside_own, prior_from
from ...balance.cut.prior import ResponsePrior, joined, wide_prior
from ...balance.cut.trial_cut import typical_response
from ...quantities.arrays import Array
from ..shop import Workshop
from .card import card_of
from .model_file import ModelFile


@dataclass(frozen=True)
class CardHere:
    """A response card on a rig: another shop's populations of this model's planes.

    Attributes
    ----------
    populations : dict of plane -> Population
    test_speed_rpm : float
        Of the card's model.
    sensors : tuple of str
        Names of this rig's sensors.
    lags_deg : tuple of float or None
        Turn from pickup to each.
    """

    populations: dict[str, Population]
    test_speed_rpm: float
    sensors: tuple[str, ...]
    lags_deg: tuple[float | None, ...]

    def units(self, plane: str) -> int:
        """Return the units behind a plane's population."""
        return self.populations[plane].units

    def prior(self, plane: str, model: ModelFile, speed_rpm: Array) -> ResponsePrior | None:
        """Return the prior of a plane of which no own unit tells; None where a sensor's place is not stated."""
        there = self.populations.get(plane)
        lags = [lag for lag in self.lags_deg if lag is not None]
        if there is None or not lags or self.lags_deg[0] is None:
            return None
        all_told = len(lags) == len(self.sensors) and self._sees(there, self.sensors)
        sensors = self.sensors if all_told else self.sensors[:1]
        if not self._sees(there, sensors):
            return None
        seen = there.seen_by(self._names(there, sensors), lags[: len(sensors)])
        told = prior_from(seen, speed_rpm / self.test_speed_rpm)
        if len(sensors) == len(self.sensors):
            return told
        wide = wide_prior(speed_rpm, typical_response(speed_rpm, model.test_speed_rpm))
        return joined([told, *[wide] * (len(self.sensors) - 1)])

    def beside(
        self, plane: str, speed_rpm: Array, sensors: Sequence[str], own: Array
    ) -> Array | None:
        """Return units of the card to stand beside own ones; their own gain and turn are taken from those."""
        there = self.populations.get(plane)
        if there is None or not self._sees(there, sensors):
            return None
        names = self._names(there, sensors)
        seen = there.seen_by(names, [0.0] * len(names))
        return beside_own(seen, speed_rpm / self.test_speed_rpm, own)

    @staticmethod
    def _names(there: Population, sensors: Sequence[str]) -> tuple[str, ...]:
        """Return the card's names of sensors: a single one is the same whatever it is called."""
        return there.sensors if len(there.sensors) == 1 == len(sensors) else tuple(sensors)

    def _sees(self, there: Population, sensors: Sequence[str]) -> bool:
        return set(self._names(there, sensors)) <= set(there.sensors)


def card_here(
    shop: Workshop, model: str, sensors: Sequence[str], lags_deg: Sequence[float | None]
) -> CardHere | None:
    """Return the card of a model on a rig of these sensors, or None where none was taken."""
    card = card_of(shop, model)
    if card is None:
        return None
    lags = (*lags_deg, *[None] * len(sensors))[: len(sensors)]
    there = {p.name: p.population() for p in card.planes}
    return CardHere(there, card.test_speed_rpm, tuple(sensors), tuple(lags))
