"""The build record: clearances as measured, beside the model's limits; out of limit is signed or not spun."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from ...ledger.store.entries import Row
from ...quantities.checks import finite
from ...quantities.errors import BadInput, LedgerFault
from ..cartridge.model_file import ModelFile
from ..shop import Workshop

State = Literal["not asked", "missing", "good", "out", "signed"]


@dataclass(frozen=True)
class Measured:
    """One clearance: what was measured, and its limits, mm."""

    name: str
    value: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether it is within its limits."""
        return self.low <= self.value <= self.high

    def words(self) -> str:
        """Return it in words."""
        name = self.name.replace("_", " ").capitalize()
        return f"{name} {self.value:g} mm; the model asks for {self.low:g} to {self.high:g}"


@dataclass(frozen=True)
class BuildState:
    """Where a piece's build record stands.

    Attributes
    ----------
    state : str
        ``not asked`` when the model states no clearances; ``out`` until an inspector signed.
    measured : tuple of Measured
    record : dict or None
        The newest build record.
    signed : dict or None
        The signature that covers it.
    """

    state: State
    measured: tuple[Measured, ...] = ()
    record: Row | None = None
    signed: Row | None = None

    @property
    def blocks(self) -> bool:
        """Whether the piece must not be spun yet."""
        return self.state in ("missing", "out")

    def why(self) -> str:
        """Return why it must not be spun yet, in words; empty when it may."""
        if self.state == "missing":
            return "The build record is missing."
        if self.state == "out":
            return (
                "Out of limit: " + "; ".join(m.words() for m in self.measured if not m.inside) + "."
            )
        return ""


def build_state(shop: Workshop, serial: str) -> BuildState:
    """Return where a piece's build record stands, against the limits it was written under."""
    piece = shop.piece(serial)
    if shop.kind_of(piece["model"]) != "cartridge" or not shop.model(piece["model"]).clearance_mm:
        return BuildState("not asked")
    rows = shop.book.papers.happenings(piece["id"])
    record = next((r for r in reversed(rows) if r["kind"] == "build"), None)
    if record is None:
        return BuildState("missing")
    measured = tuple(
        Measured(m["name"], m["value"], m["low"], m["high"]) for m in record["content"]["measured"]
    )
    signed = next(
        (r for r in rows if r["kind"] == "signed" and r["content"]["of"] == record["id"]), None
    )
    if all(m.inside for m in measured):
        return BuildState("good", measured, record, signed)
    return BuildState("signed" if signed else "out", measured, record, signed)


def write_build(
    shop: Workshop,
    serial: str,
    values: Mapping[str, Any],
    *,
    gauge: str = "",
    nut_torque_nm: Any = None,
    by: str = "",
) -> BuildState:
    """Write a piece's build record: one value for each clearance of its model, mm.

    Raises
    ------
    BadInput
        A value is missing or no number, or the model states no clearances.
    """
    piece = shop.piece(serial)
    model: ModelFile = shop.model(piece["model"])
    if not model.clearance_mm:
        raise BadInput(
            f"{model.name} states no clearances.", remedy="Add clearance_mm to the model first."
        )
    missing = [n for n in model.clearance_mm if values.get(n) in (None, "")]
    if missing:
        names = ", ".join(n.replace("_", " ") for n in missing)
        raise BadInput(f"Not measured: {names}.", remedy="Fill in every clearance.")
    measured = [
        {"name": n, "value": finite(n.replace("_", " "), values[n]), "low": low, "high": high}
        for n, (low, high) in model.clearance_mm.items()
    ]
    content: dict[str, Any] = {"measured": measured, "gauge": gauge.strip()}
    if nut_torque_nm not in (None, ""):
        content["nut_torque_nm"] = finite("nut torque", nut_torque_nm)
    shop.book.papers.add_happening(piece["id"], "build", content, by=by)
    return build_state(shop, serial)


def sign_build(shop: Workshop, serial: str, *, why: str, by: str = "") -> BuildState:
    """Let a piece be spun although its build record is out of limit: an inspector says why.

    Raises
    ------
    BadInput
        Nothing is out of limit, or no reason is given.
    """
    state = build_state(shop, serial)
    if state.state != "out" or state.record is None:
        raise BadInput("Nothing is waiting for a signature.", remedy="Look at the build record.")
    if not why.strip():
        raise BadInput("A signature needs a reason.", remedy="Say why it may be spun.")
    piece = shop.piece(serial)
    content = {"of": state.record["id"], "why": why.strip()}
    shop.book.papers.add_happening(piece["id"], "signed", content, by=by)
    return build_state(shop, serial)


TOLD = ("returned", "claim", "note")
"""What may be written of a piece by hand."""


def tell(shop: Workshop, serial: str, kind: str, text: str, *, by: str = "") -> None:
    """Write down that a piece came back, a claim, or a note.

    Raises
    ------
    BadInput
        The kind is not known, or there is no text.
    """
    if kind not in TOLD:
        raise BadInput(
            f"{kind!r} cannot be written down.", remedy="Known: " + ", ".join(TOLD) + "."
        )
    if not text.strip():
        raise BadInput("There is no text.", remedy="Say what happened.")
    if len(text) > 2000:
        raise BadInput("The text is too long.", remedy="At most 2,000 letters.")
    shop.book.papers.add_happening(shop.piece(serial)["id"], kind, {"text": text.strip()}, by=by)


def refuse_unbuilt(shop: Workshop, serial: str) -> None:
    """Raise `LedgerFault` when a piece must not be spun yet."""
    state = build_state(shop, serial)
    if state.blocks:
        raise LedgerFault(
            state.why(),
            remedy="Write the build record down, or have an inspector sign why it may be spun.",
        )
