"""Vectors and tables as people write them: ``12@40``, and CSV files of parts and of trial runs."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ...quantities.angles import phasor
from ...quantities.arrays import Array
from ...quantities.errors import BadInput, UnreadableFile
from ...quantities.typed import to_float

Pair = tuple[float, float]


def read_text(path: str | Path) -> str:
    """Return a text file's content; raises `UnreadableFile` when it is not there or no UTF-8."""
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise UnreadableFile(
            f"{path} cannot be read ({fault.strerror}).", remedy="Check the name of the file."
        ) from None
    except UnicodeDecodeError:
        raise UnreadableFile(f"{path} is not UTF-8 text.", remedy="Save it as UTF-8.") from None


def read_pair(text: str) -> Pair:
    """Return amount and angle from ``amount@degrees``.

    Raises
    ------
    BadInput
        It is not of that form.

    Examples
    --------
    >>> read_pair("12.5@40")
    (12.5, 40.0)
    """
    amount, at, angle = text.strip().partition("@")
    try:
        return to_float(amount), to_float(angle) if at else 0.0
    except ValueError:
        raise BadInput(
            f'"{text}" is no amount at an angle.', remedy='Write it like "12.5@40".'
        ) from None


def read_pairs(text: str) -> list[Pair]:
    """Return amounts and angles from words apart by spaces, semicolons or new lines."""
    return [read_pair(w) for w in text.replace(";", " ").split()]


def read_numbers(text: str) -> list[float]:
    """Return numbers from words apart by spaces, semicolons or new lines; commas may be decimal."""
    try:
        return [to_float(w) for w in text.replace(";", " ").split()]
    except ValueError:
        raise BadInput(
            f'"{text.strip()}" holds something that is no number.',
            remedy="Write the readings apart by spaces.",
        ) from None


def _rows(text: str, needed: Sequence[str]) -> list[dict[str, str]]:
    try:
        dialect: type[csv.Dialect] = csv.Sniffer().sniff(text[:2000], delimiters=",;\t")
    except csv.Error:
        dialect = csv.excel
    rows = list(csv.DictReader(io.StringIO(text.strip()), dialect=dialect))
    rows = [{(k or "").strip(): (v or "").strip() for k, v in r.items()} for r in rows]
    if not rows or any(k not in rows[0] for k in needed):
        raise BadInput(
            "The table lacks a column.",
            remedy="Its first line names them: " + ", ".join(needed) + ".",
        )
    return rows


def read_parts(text: str) -> dict[str, list[tuple[str, float, float]]]:
    """Return parts by kind from a table with columns kind, name, amount_gmm, angle_deg.

    Raises
    ------
    BadInput
        A column is missing, or a value is no number; says in which line.
    """
    kinds: dict[str, list[tuple[str, float, float]]] = {}
    for line, row in enumerate(_rows(text, ("kind", "name", "amount_gmm", "angle_deg")), start=2):
        try:
            amount, angle = (to_float(row[k]) for k in ("amount_gmm", "angle_deg"))
        except ValueError:
            raise BadInput(
                f"Line {line}: amount or angle is no number.", remedy="Correct that line."
            ) from None
        kinds.setdefault(row.get("kind", ""), []).append((row.get("name", ""), amount, angle))
    return kinds


def read_trials(text: str) -> tuple[Array, Array, tuple[str, ...]]:
    """Return amounts added, readings and sensor names from a table of trial runs.

    Columns ``plane1``, ``plane2`` ... hold what was added, all others what was read, each as ``amount@degrees``.

    Returns
    -------
    added : ndarray, shape (runs, planes), complex
    readings : ndarray, shape (runs, sensors), complex
    names : tuple of str
    """
    rows = _rows(text, ("plane1",))
    planes = [k for k in rows[0] if k.startswith("plane")]
    sensors = [k for k in rows[0] if k and k not in planes and k != "run"]
    if not sensors:
        raise BadInput("The table has no sensor.", remedy="Add a column for each sensor's reading.")

    def column(k: str) -> Array:
        pairs = np.array([read_pair(r[k] or "0") for r in rows])
        return phasor(pairs[:, 0], pairs[:, 1])

    return (
        np.stack([column(k) for k in planes], axis=1),
        np.stack([column(k) for k in sensors], axis=1),
        tuple(sensors),
    )
