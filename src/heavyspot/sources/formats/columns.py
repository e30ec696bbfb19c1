"""What the head of a column says: its name, its unit, and whether it is the time."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ...quantities.units import ACCELERATION_IN_G
from ..sidecar import KNOWN_UNITS, TIME_UNITS

_BRACKETS = re.compile(r"^(?P<name>.*?)\s*[\[(](?P<unit>[^\])]*)[\])]$")
_SLASH = re.compile(r"^(?P<name>.*\S)\s+/\s+\(?(?P<unit>[^()]+?)\)?$")
_TIME_NAME = re.compile(r"^(time|zeit|temps|tiempo|t|timestamp|seconds)$")
_WITH_UNIT = re.compile(r"^(?P<name>time|zeit|t)[_ ](?P<unit>[a-zµμ]+)$")
_OTHER_UNITS = {
    "rpm", "1/min", "hz", "khz", "bar", "k", "c", "degc", "deg", "°", "volt", "volts", "nm", "mm", "um",
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column of numbers.

    Attributes
    ----------
    name : str
    unit : str
        As written; empty where none stands there.
    """

    name: str
    unit: str = ""

    @property
    def seconds(self) -> float | None:
        """What one of its unit is in seconds; None where the unit is no time."""
        return TIME_UNITS.get(self.unit)

    @property
    def is_time(self) -> bool:
        """Whether its name or its unit says that it is the time."""
        return self.seconds is not None or bool(_TIME_NAME.match(self.name.lower()))


def column_of(cell: str) -> Column:
    """Return what a cell of a header says: ``name [unit]``, ``name (unit)``, ``name / unit``, ``time_ms``."""
    cell = cell.strip().strip("\"'").strip()
    for form in (_BRACKETS, _SLASH):
        if found := form.match(cell):
            return Column(found["name"].strip(), found["unit"].strip())
    found = _WITH_UNIT.match(cell.lower())
    if found and found["unit"] in TIME_UNITS:
        return Column(cell, found["unit"])
    return Column(cell)


def is_unit(cell: str) -> bool:
    """Return whether a cell is a unit and no name: of a row of units below the names."""
    text = cell.strip().strip("\"'[]()").strip()
    known = {*KNOWN_UNITS, *ACCELERATION_IN_G, *TIME_UNITS}
    return text in known or text.lower() in _OTHER_UNITS


def are_units(cells: list[str]) -> bool:
    """Return whether a row holds units and nothing else, at least one of them."""
    said = [c for c in cells if c.strip().strip("\"'[]()-").strip()]
    return bool(said) and all(is_unit(c) for c in said)
