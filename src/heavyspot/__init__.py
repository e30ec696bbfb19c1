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

from ._version import __version__

if TYPE_CHECKING:
    from .analysis.run import Run, read
    from .analysis.shop import Listing, Shop, open
    from .analysis.simulated import simulate
    from .analysis.speed_curve import SpeedCurve
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
    from .balance.rotor.rigid import parts_of, transfer
    from .balance.rotor.tooling import index_method as index
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
    from .signal.curve import Curve
    from .signal.tracker import Tracker
    from .sources.curve_reading import StatedTable, table_from_file, table_from_pasted
    from .sources.curve_table import CurveTable
    from .sources.exchange import from_signals, to_signals
    from .sources.readers import open_recording
    from .sources.recording import Channel, Recording
    from .sources.sidecar import Stated
    from .sources.writers import write_recording
    from .workshop.cartridge.answering import looked
    from .workshop.cartridge.grinding import ground, ground_as_advised, unground
    from .workshop.cartridge.overruling import overrule
    from .workshop.cartridge.spinning import spin
    from .workshop.cartridge.story import cartridge_story
    from .workshop.cartridge.tabled.spinning import spin_table
    from .workshop.flow.kept import flow_tests_of
    from .workshop.flow.testing import keep_flow_test
    from .workshop.job.editing import add_job, amend_job, amend_piece
    from .workshop.job.lookup import search_pieces
    from .workshop.job.pieces import add_piece, all_pieces
    from .workshop.job.story import whole_story
    from .workshop.model.models import add_model, find_model
    from .workshop.reading.reading import ReadResult, read_recording
    from .workshop.reading.results import SpinResult
    from .workshop.rig.record import add_rig, find_rig
    from .workshop.rotor.kept import rotor_story
    from .workshop.rotor.machine_proofs import match
    from .workshop.rotor.measuring import (
        corrected,
        corrected_as_advised,
        measure_signals,
        measure_typed,
    )
    from .workshop.rotor.models import add_rotor, add_rotor_model, rotor_model
    from .workshop.rotor.sums import Tolerance, tolerance
    from .workshop.sheets.issue import issue_flow_sheet, issue_rotor_sheet, issue_sheet
    from .workshop.sheets.verify import verify_sheet
    from .workshop.shop import Workshop, find_piece

_HOMES = {
    "Advice": "balance.cut.advice_case",
    "AdvisedCut": "balance.cut.candidates",
    "BadInput": "quantities.errors",
    "Channel": "sources.recording",
    "Curve": "signal.curve",
    "CurveTable": "sources.curve_table",
    "Cutter": "balance.geometry",
    "Finding": "quantities.finding",
    "HeavyspotError": "quantities.errors",
    "Judgement": "balance.limits",
    "LedgerAway": "quantities.errors",
    "LedgerFault": "quantities.errors",
    "Limit": "balance.limits",
    "Listing": "analysis.shop",
    "NotAllowed": "quantities.errors",
    "NotInstalled": "quantities.errors",
    "NotThere": "quantities.errors",
    "OldLedger": "quantities.errors",
    "ReadResult": "workshop.reading.reading",
    "Recording": "sources.recording",
    "Run": "analysis.run",
    "Shop": "analysis.shop",
    "SignalTooPoor": "quantities.errors",
    "Solution": "balance.influence",
    "SourceLost": "quantities.errors",
    "SpeedCurve": "analysis.speed_curve",
    "SpinResult": "workshop.reading.results",
    "Stale": "quantities.errors",
    "Stated": "sources.sidecar",
    "StatedTable": "sources.curve_reading",
    "Taken": "quantities.errors",
    "Tolerance": "workshop.rotor.sums",
    "Tracker": "signal.tracker",
    "UnreadableFile": "quantities.errors",
    "Workshop": "workshop.shop",
    "add_job": "workshop.job.editing",
    "add_model": "workshop.model.models",
    "add_piece": "workshop.job.pieces",
    "add_rig": "workshop.rig.record",
    "add_rotor": "workshop.rotor.models",
    "add_rotor_model": "workshop.rotor.models",
    "all_pieces": "workshop.job.pieces",
    "amend_job": "workshop.job.editing",
    "amend_piece": "workshop.job.editing",
    "angle_of": "quantities.angles",
    "calibrate": "balance.rotor.calibration",
    "cartridge_story": "workshop.cartridge.story",
    "corrected": "workshop.rotor.measuring",
    "corrected_as_advised": "workshop.rotor.measuring",
    "find_model": "workshop.model.models",
    "find_piece": "workshop.shop",
    "find_rig": "workshop.rig.record",
    "flow_tests_of": "workshop.flow.kept",
    "four_run": "balance.influence",
    "from_signals": "sources.exchange",
    "ground": "workshop.cartridge.grinding",
    "ground_as_advised": "workshop.cartridge.grinding",
    "index": "balance.rotor.tooling:index_method",
    "influence": "balance.influence:influence_coefficients",
    "issue_flow_sheet": "workshop.sheets.issue",
    "issue_rotor_sheet": "workshop.sheets.issue",
    "issue_sheet": "workshop.sheets.issue",
    "keep_flow_test": "workshop.flow.testing",
    "least_squares": "balance.influence:solve_least_squares",
    "looked": "workshop.cartridge.answering",
    "match": "workshop.rotor.machine_proofs",
    "measure_signals": "workshop.rotor.measuring",
    "measure_typed": "workshop.rotor.measuring",
    "min_max": "balance.influence:solve_min_max",
    "open": "analysis.shop",
    "open_recording": "sources.readers",
    "overrule": "workshop.cartridge.overruling",
    "parts_of": "balance.rotor.rigid",
    "read": "analysis.run",
    "read_recording": "workshop.reading.reading",
    "rotor_model": "workshop.rotor.models",
    "rotor_story": "workshop.rotor.kept",
    "search_pieces": "workshop.job.lookup",
    "simulate": "analysis.simulated",
    "spin": "workshop.cartridge.spinning",
    "spin_table": "workshop.cartridge.tabled.spinning",
    "split_over": "balance.rotor.places",
    "table_from_file": "sources.curve_reading",
    "table_from_pasted": "sources.curve_reading",
    "to_signals": "sources.exchange",
    "tolerance": "workshop.rotor.sums",
    "transfer": "balance.rotor.rigid",
    "unground": "workshop.cartridge.grinding",
    "vector": "quantities.angles:phasor",
    "verify_sheet": "workshop.sheets.verify",
    "whole_story": "workshop.job.story",
    "write_recording": "sources.writers",
}
"""Name to its module; behind a colon what it is called there."""

__all__ = [
    "Advice",
    "AdvisedCut",
    "BadInput",
    "Channel",
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
    "add_job",
    "add_model",
    "add_piece",
    "add_rig",
    "add_rotor",
    "add_rotor_model",
    "all_pieces",
    "amend_job",
    "amend_piece",
    "angle_of",
    "calibrate",
    "cartridge_story",
    "corrected",
    "corrected_as_advised",
    "find_model",
    "find_piece",
    "find_rig",
    "flow_tests_of",
    "four_run",
    "from_signals",
    "ground",
    "ground_as_advised",
    "index",
    "influence",
    "issue_flow_sheet",
    "issue_rotor_sheet",
    "issue_sheet",
    "keep_flow_test",
    "least_squares",
    "looked",
    "match",
    "measure_signals",
    "measure_typed",
    "min_max",
    "open",
    "open_recording",
    "overrule",
    "parts_of",
    "read",
    "read_recording",
    "rotor_model",
    "rotor_story",
    "search_pieces",
    "simulate",
    "spin",
    "spin_table",
    "split_over",
    "table_from_file",
    "table_from_pasted",
    "to_signals",
    "tolerance",
    "transfer",
    "unground",
    "vector",
    "verify_sheet",
    "whole_story",
    "write_recording",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'heavyspot' has no attribute {name!r}")
    from importlib import import_module

    module, _, there = home.partition(":")
    return getattr(import_module(f".{module}", __name__), there or name)


def __dir__() -> list[str]:
    return __all__
