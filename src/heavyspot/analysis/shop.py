"""A shop's folder opened to look: its pieces and runs as iterators and frames."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np

from ..quantities.arrays import Array
from ..quantities.errors import NotThere
from ..workshop.job.every_run import RunOfPiece, curves_of_run, every_piece, every_run
from ..workshop.records import Piece
from ..workshop.shop import Workshop
from ..workshop.shop_file import load_shop_file
from .frames import Framed
from .run import Run
from .speed_curve import SpeedCurve, curve_of

T = TypeVar("T")


@dataclass(frozen=True, repr=False)
class Listing(Framed, Generic[T]):
    """Lines of a shop: iterated one by one, each time anew, or taken as a frame."""

    what: str
    _lines: Callable[[], Iterator[T]]
    _line: Callable[[T], Mapping[str, object]]

    def __iter__(self) -> Iterator[T]:
        return self._lines()

    def columns(self) -> Mapping[str, Array]:
        """Return a column a property, a line a piece or run."""
        rows = [self._line(one) for one in self]
        return {n: _column([r[n] for r in rows]) for n in (rows[0] if rows else ())}

    def __repr__(self) -> str:
        return f"<{self.what}; iterate, or take a frame>"


class Shop:
    """A shop that is open to look at; a context manager. Verbs that write take `workshop`.

    Attributes
    ----------
    workshop : Workshop
        As the other functions take it.
    """

    def __init__(self, workshop: Workshop) -> None:
        self.workshop = workshop

    @cached_property
    def folder(self) -> Path:
        """Its data folder."""
        return self.workshop.folder

    def pieces(self) -> Listing[Piece]:
        """Return every piece as it stands, in the order they were written down."""
        return Listing("pieces", lambda: every_piece(self.workshop), _piece_line)

    def runs(self, serial: str = "", *, model: str = "", verdict: str = "") -> Listing[Run]:
        """Return every run: of all cartridges, of a piece, a model or a verdict; curves come when asked for.

        Raises
        ------
        NotThere
            No piece of that serial; said when they are iterated.
        """

        def lines() -> Iterator[Run]:
            for found in every_run(self.workshop, serial):
                if model in ("", found.piece.model) and verdict in ("", found.run.result.verdict):
                    yield self._run(found)

        return Listing("runs", lines, _run_line)

    def close(self) -> None:
        """Close the ledger."""
        self.workshop.close()

    def __enter__(self) -> Shop:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Shop) and other.folder.resolve() == self.folder.resolve()

    def __hash__(self) -> int:
        return hash(self.folder.resolve())

    def __repr__(self) -> str:
        return f"<shop {self.folder}>"

    def _run(self, found: RunOfPiece) -> Run:
        result, entry = found.run.result, found.run.entry
        sensors = found.run.conditions.sensors

        def curves() -> tuple[SpeedCurve, ...]:
            return tuple(
                curve_of(c, i, name, simulated=found.simulated)
                for c in curves_of_run(self.workshop, found)
                for i, name in enumerate(sensors)
            )

        worst = result.worst
        return Run(
            found.piece.serial, sensors, result.findings, curves, id=entry.id, number=entry.number,
            model=found.piece.model, at=entry.at, by=entry.by, rig=entry.rig, verdict=result.verdict,
            reason=result.reason, ratio=worst.ratio if worst else None,
            worst_speed_rpm=worst.speed_rpm if worst else None, limit_g=worst.limit_g if worst else None,
            simulated=found.simulated, notes=result.notes,
        )  # fmt: skip


def open(folder: str | Path) -> Shop:
    """Open a shop's data folder to look; close it, or use it in a ``with``.

    Raises
    ------
    NotThere
        There is no shop in that folder: nothing is made in passing.

    Examples
    --------
    >>> import tempfile, heavyspot
    >>> folder = tempfile.mkdtemp()
    >>> heavyspot.Workshop(folder).close()
    >>> with heavyspot.open(folder) as shop:
    ...     list(shop.pieces())
    []
    """
    path = Path(folder)
    if not (path / "ledger.sqlite").exists() and not (
        path.is_dir() and load_shop_file(path).ledger_url
    ):
        raise NotThere(f"There is no shop in {folder}.", remedy="Name its data folder.")
    return Shop(Workshop(path))


def _piece_line(piece: Piece) -> dict[str, object]:
    return {
        "serial": piece.serial, "model": piece.model, "kind": piece.kind, "customer": piece.customer,
        "invoice": piece.invoice, "position": piece.position, "day": piece.day, "runs": piece.number,
        "verdict": piece.verdict, "ratio": piece.worst_ratio,
    }  # fmt: skip


def _run_line(run: Run) -> dict[str, object]:
    return {
        "serial": run.of, "model": run.model, "number": run.number, "at": run.at, "by": run.by, "rig": run.rig,
        "verdict": run.verdict, "ratio": run.ratio, "worst_speed_rpm": run.worst_speed_rpm, "limit_g": run.limit_g,
        "findings": " ".join(f.code for f in run.findings), "simulated": run.simulated, "id": run.id,
    }  # fmt: skip


def _column(values: list[object]) -> Array:
    """Return values as a column: numbers where all are, or are not known; else as they are."""
    known = [v for v in values if v is not None]
    if known and all(isinstance(v, float) for v in known):
        return np.array([np.nan if v is None else v for v in values], float)
    if known and len(known) == len(values) and all(type(v) is type(known[0]) for v in known):
        return np.array(
            values, bool if type(known[0]) is bool else int if type(known[0]) is int else object
        )
    return np.array(values, object)
