"""What a spin leaves on the disk until the ledger has it: found at the next start, set aside when it is damaged."""

from __future__ import annotations

import json
from pathlib import Path

from ...quantities.durable import remove, replace
from ...quantities.errors import HeavyspotError, LedgerFault
from ...sources.readers import open_recording
from ...sources.sidecar import load_sidecar
from ..cartridge import spin
from ..rotor import measure_signals
from ..shop import Workshop, find_piece
from ..stored import stored
from ..taking.disk_first import HEADER_BYTES, About

NOBODY = About("")
DAMAGED = "damaged"
"""Folder, beside the captures, of those that cannot be read."""

BESIDE = (".wav", ".json", ".about")


def remove_capture(path: Path) -> None:
    """Remove a capture's samples and what stands beside them."""
    for suffix in BESIDE:
        remove(path.with_suffix(suffix))


def unfinished(folder: Path) -> list[tuple[Path, About]]:
    """Return captures that never came into the ledger, with whose they are."""
    return [(p, _about_of(p)) for p in sorted(folder.glob("*.wav"))]


def _about_of(path: Path) -> About:
    """Return whose a capture is; nobody's when what stood beside it is not there or not whole."""
    try:
        content = json.loads(path.with_suffix(".about").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return NOBODY
    if not isinstance(content, dict):
        return NOBODY
    try:
        return stored(About, content, what=path.name)
    except LedgerFault:
        return NOBODY


def damage_of(path: Path) -> str:
    """Return why a capture cannot be read, in words; empty when the fault is not its own."""
    try:
        with path.open("rb") as file:
            head = file.read(4)
        size = path.stat().st_size
    except OSError:
        return ""  # no descriptors, a share that is away: it may be read later
    if size <= HEADER_BYTES or head not in (b"RIFF", b"RF64"):
        return "no samples are left in it"
    try:
        if load_sidecar(path) is None:
            return "what its channels are is lost"
    except HeavyspotError as fault:
        return fault.message.rstrip(".")
    return "" if _about_of(path) != NOBODY else "whose it is, is lost"


def set_aside(path: Path, why: str) -> str:
    """Move a damaged capture aside with all that stands beside it; returns in words where it is."""
    aside = path.parent / DAMAGED
    aside.mkdir(exist_ok=True)
    of = _about_of(path).serial
    for suffix in BESIDE:
        one = path.with_suffix(suffix)
        if one.exists():
            replace(one, aside / one.name)
    return _words(aside / path.name, of, why)


def _words(path: Path, serial: str, why: str) -> str:
    return f"A spin of {serial or 'a piece'} is damaged: {why}; it lies in {path}."


def set_damaged_aside(folder: Path) -> list[str]:
    """Set damaged captures aside; returns in words which lie there, of earlier times too."""
    for path, _ in unfinished(folder):
        if why := damage_of(path):
            set_aside(path, why)
    lost = [*folder.glob("*.unread"), *(folder / DAMAGED).glob("*.wav")]
    return [
        _words(path, _about_of(path).serial, damage_of(path) or "it could not be read")
        for path in sorted(lost)
    ]


def keep_captured(shop: Workshop, path: Path, about: About) -> str:
    """Read a captured file into the ledger; it goes only when the ledger has it, and is offered until then.

    Returns what went wrong, in words; nothing when it is kept.
    """
    if not shop.book.has_entry(path.stem):  # a stop between keeping and removing
        try:
            _read(shop, about, path)
        except HeavyspotError as fault:
            why = damage_of(path)
            return set_aside(path, why) if why else f"{fault.message} {fault.remedy}"
    remove_capture(path)
    return ""


def _read(shop: Workshop, about: About, path: Path) -> None:
    """Read a capture into the ledger: of a cartridge, or of a loose rotor on its supports."""
    serial, by, recording = about.serial, about.operator, open_recording(path)
    if find_piece(shop, serial).kind == "rotor":
        measure_signals(shop, serial, recording, by=by, run_id=path.stem)
    else:
        spin(shop, serial, recording, operator=by, run_id=path.stem)
