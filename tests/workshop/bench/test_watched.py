"""What a spin is held against comes from the piece's own runs: the first that was whole and can be trusted."""

from dataclasses import replace
from typing import Any

import pytest
from workshop.entries import run_of

from heavyspot import add_piece, cartridge_story
from heavyspot.ledger.records import Learnt
from heavyspot.workshop.bench.watched import first_share_of, watch_of

WORST = {
    "speed_rpm": 98_000.0,
    "amplitude_g": 0.7,
    "uncertainty_g": 0.02,
    "limit_g": 0.5,
    "ratio": 1.4,
}


def run_with(piece_id, number, **more):
    entry = run_of(piece_id)
    return replace(
        entry, number=number, result={**entry.result, "worst": WORST, "covered": 1.0, **more}
    )


def test_the_first_whole_run_is_the_measure(shop):
    piece_id = add_piece(shop, "T-1", "Larch 52")
    dead = {"code": "sensor.dead", "severity": "block", "text": "", "do": ""}
    cases: tuple[dict[str, Any], ...] = (
        {"covered": 0.6},  # stopped at 93,000 rpm: what came after it is not known
        {"findings": [dead], "worst": {**WORST, "ratio": 0.01}},
        {},
        {"worst": {**WORST, "ratio": 0.9}},
    )
    for number, more in enumerate(cases, 1):
        shop.book.cartridges.add_run(run_with(piece_id, number, **more), b"", [], Learnt())
    assert first_share_of(cartridge_story(shop, "T-1")) == pytest.approx(1.4)
    watch = watch_of(shop, "T-1")
    assert watch is not None and watch.first_share == pytest.approx(1.4)


def test_without_one_nothing_is_compared(shop):
    add_piece(shop, "T-2", "Larch 52")
    assert first_share_of(cartridge_story(shop, "T-2")) == float("inf")
