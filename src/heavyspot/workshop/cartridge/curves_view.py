"""All of a piece's runs on one speed axis, ready to draw."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...quantities.angles import angle_of
from ...quantities.arrays import Array
from ..shop import Workshop
from .past import past_runs, vector_at

POINTS = 301


def curves_view(shop: Workshop, serial: str) -> dict[str, Any]:
    """Return speeds, limit, each run's amplitude, and the last advice's prediction.

    Values outside a curve are None, so that nothing is drawn there.
    """
    piece = shop.piece(serial)
    model = shop.model(piece["model"])
    runs = [r for r in past_runs(shop.book, piece["id"]) if r.curves]
    top = max([model.test_speed_rpm, *(float(r.curves[0].speed_rpm[-1]) for r in runs)])
    speed = np.linspace(0.0, top * 1.01, POINTS)
    predicted = runs[-1].row["result"]["advice"]["predicted"] if runs else None
    return {
        "speed_rpm": [round(float(s)) for s in speed],
        "limit_g": _values(model.house_limit().at(speed)),
        "from_rpm": model.from_rpm,
        "test_speed_rpm": model.test_speed_rpm,
        "runs": [
            {
                "number": r.number,
                "amplitude_g": _on(speed, r.curves[0].speed_rpm, np.abs(r.curves[0].vector[0])),
            }
            for r in runs
        ],
        "predicted": predicted
        and {
            k: _on(speed, np.array(predicted["speed_rpm"]), np.array(predicted[k]))
            for k in ("amplitude_g", "low_g", "high_g")
        },
    }


def path_view(shop: Workshop, serial: str) -> list[dict[str, Any]]:
    """Return each run's vector at the last run's worst speed: the path to the centre.

    Each is ``{"number", "angle_deg", "share"}``, share of twice the limit there.
    """
    piece = shop.piece(serial)
    limit = shop.model(piece["model"]).house_limit()
    runs = [r for r in past_runs(shop.book, piece["id"]) if r.curves and r.row["result"]["worst"]]
    if not runs:
        return []
    speed = np.array([runs[-1].row["result"]["worst"]["speed_rpm"]])
    out = []
    for r in runs:
        vector = complex(vector_at(r.curves[0], speed)[0])
        share = abs(vector) / (2 * float(limit.at(speed)[0]))
        out.append({"number": r.number, "angle_deg": float(angle_of(vector)), "share": share})
    return out


def _on(speed: Array, x: Array, y: Array) -> list[float | None]:
    return _values(np.interp(speed, x, y, left=np.nan, right=np.nan))


def _values(values: Array) -> list[float | None]:
    return [round(float(v), 4) if np.isfinite(v) else None for v in values]
