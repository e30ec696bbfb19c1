"""While the rotor still climbs: what other units of its model say of the speeds to come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...balance.cut.early import Early, early_word, possible_responses
from ...balance.cut.history import Scatter
from ...quantities.arrays import Array
from ..cartridge import CartridgeStory
from ..model import known_of
from ..rig import known_rig
from ..shop import Workshop

POINTS = 100
"""Speeds at which it is foretold, from where the limit counts to test speed."""


@dataclass(frozen=True)
class Foreseer:
    """What is known before a spin begins: the limit, and the responses that other units let expect.

    Attributes
    ----------
    speed_rpm, limit_g : ndarray, shape (n,)
    responses : ndarray, shape (draws, n, planes), complex, or None
        Of the first sensor, as a unit of the model may have; None where too few units are known.
    """

    speed_rpm: Array
    limit_g: Array
    responses: NDArray[np.complex128] | None
    scatter: Scatter

    def word(self, speed_rpm: Array, vector: NDArray[np.complex128]) -> Early | None:
        """Return what the speeds to come will be; None where too little is seen.

        Parameters
        ----------
        speed_rpm : ndarray, shape (k,), ascending
        vector : ndarray, shape (k,), complex
            The first sensor's, g.
        """
        if self.responses is None or speed_rpm.size < 2 or speed_rpm[0] > self.speed_rpm[1]:
            return None
        seen = int(np.searchsorted(self.speed_rpm, speed_rpm[-1], side="right"))
        at = np.interp(self.speed_rpm[:seen], speed_rpm, vector)
        return early_word(self.speed_rpm, self.limit_g, at, self.responses, self.scatter)


def foreseer_of(shop: Workshop, story: CartridgeStory, rig: str) -> Foreseer:
    """Return who foresees a piece's coming spin on a rig; where nothing is known it stays silent."""
    model = story.model
    speed = np.linspace(model.from_rpm, model.test_speed_rpm, POINTS)
    serviced_at = known_rig(shop, rig).serviced_at
    priors, _ = known_of(
        shop, model, speed, rig=rig, serviced_at=serviced_at, not_piece=story.piece.id
    )
    limit, responses = model.house_limit().at(speed), possible_responses(speed, priors)
    return Foreseer(speed, limit, responses, model.as_scatter())
