"""How a rig counts its angles, as its page says it."""

from __future__ import annotations

from ....balance.angle_sense import SenseFound
from ....workshop.rig.record import AnglesRecord
from ...formats import as_code, day
from ...speaking import told

RUN_NAMES = {"moved": ("before", "moved"), "cuts": ("before", "after_one", "after_two")}


def record_words(known: AnglesRecord | None) -> tuple[str, ...]:
    """Return what the rig's record says, a sentence each."""
    if known is None:
        return (told("angles.unknown"),)
    how = told(f"angles.how.{as_code(known.how)}")
    at = day(known.checked_at) if known.checked_at else ""
    said = told(f"angles.known.{known.sense}", how=f"{how}, {at}" if at else how)
    if known.zero_deg is None:
        return said, told("angles.no_zero")
    return said, told("angles.zero_at", angle_deg=known.zero_deg)


def way_words(way: str, rows: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Return each run's name and the rows that are typed of it."""
    names = (told(f"angles.run.{n}") for n in RUN_NAMES[way])
    return tuple(zip(names, rows, strict=True))


def found_words(found: SenseFound | None, known: AnglesRecord | None) -> tuple[str, ...]:
    """Return what a check says, and that the record says otherwise where it does."""
    if found is None:
        return ()
    values = {
        "turned_deg": found.turned_deg,
        "expected_deg": found.expected_deg,
        "within_deg": 2 * found.uncertainty_deg,
    }
    said = (told(f"angles.found.{found.sense}"), told("angles.turned", **values))
    if known is not None and known.sense != found.sense:
        return (*said, told("angles.otherwise"))
    return said
