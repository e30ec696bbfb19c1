"""Entries made by hand, where a test needs a ledger whose numbers are known."""

from typing import Any

from heavyspot.ledger.records import Cut, Piece, Run
from heavyspot.workshop.cartridge.story import CartridgeStory, KeptRun
from heavyspot.workshop.reading.kept import result_of

CONDITIONS = {
    "program": "0", "rotation": "clockwise", "recording": {}, "from_rpm": 10_000.0,
    "test_speed_rpm": 150_000.0, "limit": {"speed_rpm": [0.0], "limit_g": [0.5]}, "model": {},
}  # fmt: skip
CUT = {
    "plane": "nut", "angle_deg": 10.0, "clock": "12:20", "mass_mg": 20.0, "unbalance_gmm": 0.11,
    "depth_mm": 0.1,
}  # fmt: skip


def advice_json(**changes):
    usual = {
        "action": "cut", "cuts": [CUT], "predicted": None, "chance_of_pass": 0.0, "expected_ratio": 1.0,
        "trial": False, "why": "", "computed_chance": None,
    }  # fmt: skip
    return usual | changes


def run_of(piece_id="p", number=1, verdict="fail", ratio=2.0, *, by="", **advice):
    result = {
        "verdict": verdict, "margin": 1 - ratio, "worst": None, "reason": "", "findings": [], "notes": [],
        "advice": advice_json(**advice),
    }  # fmt: skip
    return Run(
        piece_id=piece_id, number=number, verdict=verdict, worst_ratio=ratio, result=result, by=by,
        recording="", recording_sha256="", conditions=CONDITIONS,
    )  # fmt: skip


def cut_of(piece_id="p", after_run=1, kind="made", **changes):
    usual: dict[str, Any] = {
        "plane": "nut", "angle_deg": 10.0, "unbalance_gmm": 0.11, "mass_mg": 20.0, "depth_mm": 0.1,
    }  # fmt: skip
    return Cut(piece_id=piece_id, after_run=after_run, kind=kind, **usual | changes)


def story_of(model, runs=(), cuts=()):
    piece = Piece(id="p", serial="P-1", model=model.name, kind="cartridge", job_id="j", at="")
    return CartridgeStory(piece, model, tuple(KeptRun(r, result_of(r)) for r in runs), tuple(cuts))
