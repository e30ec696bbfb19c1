"""Kinds of rotor, and rotors: added and found."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ...quantities.checks import serial_number
from ...quantities.errors import NotThere
from ...quantities.said import Said
from ...sources.toml_text import parse_toml, read_toml
from ..shop import Workshop
from .model_file import RotorFile, parse_rotor


def add_rotor_model(
    shop: Workshop, source: str | Path | dict[str, Any], *, text: bool = False, by: str = ""
) -> RotorFile:
    """Add a kind of rotor from a TOML file, its text or its keys; the same name again is a new version.

    Raises
    ------
    UnreadableFile
        A key is missing, unknown or out of range.
    Taken
        The name belongs to a cartridge model.
    """
    if isinstance(source, dict):
        content, name = source, "the rotor"
    elif text:
        content, name = parse_toml(str(source), name="The rotor"), "the rotor"
    else:
        content, name = read_toml(Path(source)), Path(source).name
    rotor = parse_rotor(content, name=name)
    kept = rotor.model_dump(mode="json", exclude_unset=True)
    shop.book.models.add(rotor.name, kept, kind="rotor", by=by)
    return rotor


def rotor_model(shop: Workshop, name: str) -> RotorFile:
    """Return a kind of rotor by name; raises `NotThere` listing those there are."""
    entry = shop.book.models.newest(name)
    if entry is None or entry.kind != "rotor":
        names = ", ".join(shop.book.models.names("rotor")) or "none yet"
        raise NotThere(
            Said("refusal.there_is_no_rotor", {"name": name}),
            remedy=Said("remedy.rotors", {"names": names}),
        )
    return parse_rotor(dict(entry.content), name=f'rotor "{name}"')


def add_rotor(
    shop: Workshop, serial: str, rotor: str, *, customer: str = "", invoice: str = "", by: str = ""
) -> str:
    """Add a rotor to the ledger; returns its id.

    Raises
    ------
    NotThere
        No such kind of rotor.
    Taken
        The serial is another piece's.
    """
    serial = serial_number(serial)
    rotor_model(shop, rotor)
    return shop.book.jobs.add_piece(serial, rotor, customer=customer, invoice=invoice, by=by)
