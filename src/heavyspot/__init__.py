"""Heavyspot: reads a balancing rig, says where to grind and how deep, and keeps the record.

The public face. Names are imported when first used, so that ``import heavyspot`` costs nothing::

    import heavyspot
    shop = heavyspot.Workshop("data")
    shop.add_model("larch52.toml")
    shop.add_piece("L52-0001", "Larch 52", customer="Fjord Haulage", invoice="2608-114")
    result = shop.spin("L52-0001", "spin1.wav", operator="Ines")
    for cut in result.advice.cuts:
        shop.ground("L52-0001", cut.plane, cut.angle_deg, depth_mm=cut.depth_mm)
    heavyspot.issue_sheet(shop, "L52-0001", "sheet.pdf")
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ._version import __version__

if TYPE_CHECKING:
    from .balance.cut.advice_case import Advice
    from .balance.cut.candidates import AdvisedCut
    from .balance.geometry import Cutter
    from .balance.limits import Judgement, Limit
    from .quantities.errors import (
        BadInput,
        HeavyspotError,
        LedgerFault,
        SignalTooPoor,
        SourceLost,
        UnreadableFile,
    )
    from .quantities.finding import Finding
    from .signal.curve import Curve
    from .signal.tracker import Tracker
    from .sources.readers import open_recording
    from .sources.recording import Channel, Recording
    from .sources.writers import write_recording
    from .workshop.cartridge.reading import ReadResult, read_recording
    from .workshop.cartridge.results import SpinResult
    from .workshop.rotor.machine_proofs import match
    from .workshop.rotor.measuring import (
        add_rotor,
        add_rotor_model,
        corrected,
        corrected_as_advised,
        measure_signals,
        measure_typed,
        rotor_story,
    )
    from .workshop.sheets.issue import issue_rotor_sheet, issue_sheet
    from .workshop.shop import Workshop

_HOMES = {
    "Advice": "balance.cut.advice_case",
    "AdvisedCut": "balance.cut.candidates",
    "BadInput": "quantities.errors",
    "Channel": "sources.recording",
    "Curve": "signal.curve",
    "Cutter": "balance.geometry",
    "Finding": "quantities.finding",
    "HeavyspotError": "quantities.errors",
    "Judgement": "balance.limits",
    "LedgerFault": "quantities.errors",
    "Limit": "balance.limits",
    "ReadResult": "workshop.cartridge.reading",
    "Recording": "sources.recording",
    "SignalTooPoor": "quantities.errors",
    "SourceLost": "quantities.errors",
    "SpinResult": "workshop.cartridge.results",
    "Tracker": "signal.tracker",
    "UnreadableFile": "quantities.errors",
    "Workshop": "workshop.shop",
    "add_rotor": "workshop.rotor.measuring",
    "add_rotor_model": "workshop.rotor.measuring",
    "corrected": "workshop.rotor.measuring",
    "corrected_as_advised": "workshop.rotor.measuring",
    "issue_rotor_sheet": "workshop.sheets.issue",
    "issue_sheet": "workshop.sheets.issue",
    "match": "workshop.rotor.machine_proofs",
    "measure_signals": "workshop.rotor.measuring",
    "measure_typed": "workshop.rotor.measuring",
    "open_recording": "sources.readers",
    "read_recording": "workshop.cartridge.reading",
    "rotor_story": "workshop.rotor.measuring",
    "write_recording": "sources.writers",
}

__all__ = [
    "Advice",
    "AdvisedCut",
    "BadInput",
    "Channel",
    "Curve",
    "Cutter",
    "Finding",
    "HeavyspotError",
    "Judgement",
    "LedgerFault",
    "Limit",
    "ReadResult",
    "Recording",
    "SignalTooPoor",
    "SourceLost",
    "SpinResult",
    "Tracker",
    "UnreadableFile",
    "Workshop",
    "__version__",
    "add_rotor",
    "add_rotor_model",
    "corrected",
    "corrected_as_advised",
    "issue_rotor_sheet",
    "issue_sheet",
    "match",
    "measure_signals",
    "measure_typed",
    "open_recording",
    "read_recording",
    "rotor_story",
    "write_recording",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'heavyspot' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f".{home}", __name__), name)


def __dir__() -> list[str]:
    return __all__
