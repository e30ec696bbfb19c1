"""Heavyspot: reads a balancing rig, says where to grind and how deep, and keeps the record.

The public face: what analysts read with (`read`, `open`, `simulate`, the sums of the trade), and for those who
work the shop from programs an open shop and verbs that take it first. Names are imported when first used, so that
``import heavyspot`` costs nothing::

    import heavyspot

    with heavyspot.Workshop("data") as shop:
        heavyspot.add_model(shop, "larch52.toml")
        heavyspot.add_piece(shop, "L52-0001", "Larch 52", customer="Fjord Haulage", invoice="2608-114")
        result = heavyspot.spin(shop, "L52-0001", "spin1.wav", operator="Ines")
        for cut in result.advice.cuts:
            heavyspot.ground(shop, "L52-0001", cut.plane, cut.angle_deg, depth_mm=cut.depth_mm)
        heavyspot.issue_sheet(shop, "L52-0001", "sheet.pdf")
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ._homes import HOMES
from ._version import __version__

if TYPE_CHECKING:
    from .analysis.run import Run, read
    from .analysis.shop import Listing, Shop, open
    from .analysis.simulated import simulate
    from .analysis.speed_curve import SpeedCurve
    from .balance.amplitude_only import three_runs
    from .balance.cut.advice_case import Advice
    from .balance.cut.candidates import AdvisedCut
    from .balance.geometry import Cutter
    from .balance.influence import Solution, four_run
    from .balance.influence import influence_coefficients as influence
    from .balance.influence import solve_least_squares as least_squares
    from .balance.influence import solve_min_max as min_max
    from .balance.limits import Judgement, Limit
    from .balance.rotor.calibration import calibrate
    from .balance.rotor.places import split_over
    from .balance.rotor.rigid import couple_pair, parts_of, transfer
    from .balance.rotor.tooling import Contribution, budget
    from .balance.rotor.tooling import clearance_gmm as clearance
    from .balance.rotor.tooling import half_key_gmm as half_key
    from .balance.rotor.tooling import index_method as index
    from .balance.rotor.tooling import runout_gmm as runout
    from .quantities.angles import angle_of
    from .quantities.angles import phasor as vector
    from .quantities.errors import (
        BadInput,
        HeavyspotError,
        LedgerAway,
        LedgerFault,
        NotAllowed,
        NotInstalled,
        NotThere,
        OldLedger,
        SignalTooPoor,
        SourceLost,
        Stale,
        Taken,
        UnreadableFile,
    )
    from .quantities.finding import Finding
    from .sheet.label import label_pdf
    from .signal.curve import Curve
    from .signal.tracker import Tracker
    from .sources.curve_reading import StatedTable, table_from_file, table_from_pasted
    from .sources.curve_table import CurveTable
    from .sources.exchange import from_signals, to_signals
    from .sources.readers import open_recording
    from .sources.recording import Channel, Recording
    from .sources.sidecar import Stated
    from .sources.sound_card import input_devices
    from .sources.writers import write_recording
    from .workshop.cartridge.answering import looked
    from .workshop.cartridge.card_units import response_card
    from .workshop.cartridge.grinding import ground, ground_as_advised, unground
    from .workshop.cartridge.overruling import overrule
    from .workshop.cartridge.spinning import spin
    from .workshop.cartridge.story import cartridge_story
    from .workshop.cartridge.tabled.spinning import spin_table
    from .workshop.flow.bench import flow_benches, set_bench
    from .workshop.flow.kept import flow_tests_of
    from .workshop.flow.testing import keep_flow_test
    from .workshop.heads import new_head
    from .workshop.hooks.registry import add_hook, end_hook, renew_secret
    from .workshop.hooks.waiting import again, deliveries_of, hook_states, queue_test
    from .workshop.job.editing import add_job, amend_job, amend_piece
    from .workshop.job.lookup import search_pieces
    from .workshop.job.pieces import add_piece, all_pieces
    from .workshop.job.story import whole_story
    from .workshop.keep.backup import back_up, restore
    from .workshop.keep.ledger_state import check_ledger, reindex
    from .workshop.keep.reread import begin_reread, call_back, go_on, newest_rereads
    from .workshop.keep.retention import hand_recordings_over, retire_recordings, waiting_recordings
    from .workshop.model.card import cards, drop_card, take_card
    from .workshop.model.models import add_model, find_model, model_names
    from .workshop.old_book.bring import bring_in
    from .workshop.reading.reading import ReadResult, read_recording
    from .workshop.reading.results import SpinResult
    from .workshop.rig.angle_check import check_two_cuts, keep_angles
    from .workshop.rig.health import check_shaker, compare_rigs, rig_words, run_study
    from .workshop.rig.input_delay import check_inputs
    from .workshop.rig.record import add_rig, all_rigs, find_rig, rig_names
    from .workshop.rotor.assembly import compare_assembly
    from .workshop.rotor.kept import rotor_story
    from .workshop.rotor.machine_calibration import calibrate_machine, store_arbor
    from .workshop.rotor.machine_proofs import (
        match,
        prove_compensator,
        prove_reduction,
        prove_residual,
    )
    from .workshop.rotor.machines import machine_names, newest_rotors, proofs_of
    from .workshop.rotor.measuring import (
        corrected,
        corrected_as_advised,
        measure_signals,
        measure_typed,
    )
    from .workshop.rotor.models import add_rotor, add_rotor_model, rotor_model
    from .workshop.rotor.sums import Tolerance, tolerance
    from .workshop.sheets.issue import issue_flow_sheet, issue_rotor_sheet, issue_sheet
    from .workshop.sheets.label import label_of
    from .workshop.sheets.proof import prove_sheet
    from .workshop.sheets.reissue import reissue
    from .workshop.sheets.verify import verify_sheet
    from .workshop.shop import Workshop, find_piece

__all__ = [
    "Advice",
    "AdvisedCut",
    "BadInput",
    "Channel",
    "Contribution",
    "Curve",
    "CurveTable",
    "Cutter",
    "Finding",
    "HeavyspotError",
    "Judgement",
    "LedgerAway",
    "LedgerFault",
    "Limit",
    "Listing",
    "NotAllowed",
    "NotInstalled",
    "NotThere",
    "OldLedger",
    "ReadResult",
    "Recording",
    "Run",
    "Shop",
    "SignalTooPoor",
    "Solution",
    "SourceLost",
    "SpeedCurve",
    "SpinResult",
    "Stale",
    "Stated",
    "StatedTable",
    "Taken",
    "Tolerance",
    "Tracker",
    "UnreadableFile",
    "Workshop",
    "__version__",
    "add_hook",
    "add_job",
    "add_model",
    "add_piece",
    "add_rig",
    "add_rotor",
    "add_rotor_model",
    "again",
    "all_pieces",
    "all_rigs",
    "amend_job",
    "amend_piece",
    "angle_of",
    "back_up",
    "begin_reread",
    "bring_in",
    "budget",
    "calibrate",
    "calibrate_machine",
    "call_back",
    "cards",
    "cartridge_story",
    "check_inputs",
    "check_ledger",
    "check_shaker",
    "check_two_cuts",
    "clearance",
    "compare_assembly",
    "compare_rigs",
    "corrected",
    "corrected_as_advised",
    "couple_pair",
    "deliveries_of",
    "drop_card",
    "end_hook",
    "find_model",
    "find_piece",
    "find_rig",
    "flow_benches",
    "flow_tests_of",
    "four_run",
    "from_signals",
    "go_on",
    "ground",
    "ground_as_advised",
    "half_key",
    "hand_recordings_over",
    "hook_states",
    "index",
    "influence",
    "input_devices",
    "issue_flow_sheet",
    "issue_rotor_sheet",
    "issue_sheet",
    "keep_angles",
    "keep_flow_test",
    "label_of",
    "label_pdf",
    "least_squares",
    "looked",
    "machine_names",
    "match",
    "measure_signals",
    "measure_typed",
    "min_max",
    "model_names",
    "new_head",
    "newest_rereads",
    "newest_rotors",
    "open",
    "open_recording",
    "overrule",
    "parts_of",
    "proofs_of",
    "prove_compensator",
    "prove_reduction",
    "prove_residual",
    "prove_sheet",
    "queue_test",
    "read",
    "read_recording",
    "reindex",
    "reissue",
    "renew_secret",
    "response_card",
    "restore",
    "retire_recordings",
    "rig_names",
    "rig_words",
    "rotor_model",
    "rotor_story",
    "run_study",
    "runout",
    "search_pieces",
    "set_bench",
    "simulate",
    "spin",
    "spin_table",
    "split_over",
    "store_arbor",
    "table_from_file",
    "table_from_pasted",
    "take_card",
    "three_runs",
    "to_signals",
    "tolerance",
    "transfer",
    "unground",
    "vector",
    "verify_sheet",
    "waiting_recordings",
    "whole_story",
    "write_recording",
]


def __getattr__(name: str) -> Any:
    home = HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'heavyspot' has no attribute {name!r}")
    from importlib import import_module

    module, _, there = home.partition(":")
    return getattr(import_module(f".{module}", __name__), there or name)


def __dir__() -> list[str]:
    return __all__
