"""What is drawn of a piece: its runs on one speed axis, and the way of its vector."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class DrawnRun:
    """A run's amplitude on the view's speeds; None outside its curve."""

    number: int
    amplitude_g: tuple[float | None, ...]


@dataclass(frozen=True)
class DrawnPrediction:
    """The last advice's prediction on the view's speeds."""

    amplitude_g: tuple[float | None, ...]
    low_g: tuple[float | None, ...]
    high_g: tuple[float | None, ...]


@dataclass(frozen=True)
class DrawnSensor:
    """What a further sensor says of the last run, on the view's speeds, with its own limit."""

    sensor: str
    limit_g: tuple[float | None, ...]
    amplitude_g: tuple[float | None, ...]


@dataclass(frozen=True)
class DrawnTier:
    """A further tier on the view's speeds; `kept`: the last run stays under it where the limit holds."""

    name: str
    limit_g: tuple[float | None, ...]
    kept: bool


@dataclass(frozen=True)
class CurvesView:
    """All of a piece's runs on one speed axis; values outside a curve are None, so that nothing is drawn there.

    `sensor` is the one drawn, empty where there is only one; `others` are the further ones. What was
    `predicted` is there as long as nothing else than what was advised has been ground.
    """

    speed_rpm: tuple[int, ...]
    limit_g: tuple[float | None, ...]
    from_rpm: float
    test_speed_rpm: float
    runs: tuple[DrawnRun, ...]
    predicted: DrawnPrediction | None
    sensor: str = ""
    others: tuple[DrawnSensor, ...] = ()
    tiers: tuple[DrawnTier, ...] = ()


@dataclass(frozen=True)
class PathPoint:
    """A run's vector at the last run's worst speed; `share` is of twice the limit there."""

    number: int
    angle_deg: float
    share: float
