"""The build record: clearances as measured, beside the model's limits; out of limit is signed or not spun."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import reduce
from typing import Literal

from ...ledger.records import Piece, PieceEvent
from ...quantities.checks import finite
from ...quantities.errors import BadInput, LedgerFault
from ...quantities.said import Said
from ..model import ModelFile, find_model
from ..shop import Workshop, find_piece
from ..stored import stored

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

    def said(self) -> Said:
        """Return it with its limits, to be said."""
        name = self.name.replace("_", " ").capitalize()
        values = {"value": self.value, "low": self.low, "high": self.high}
        return Said("refused_noun.clearance", {"name": name, **values})

    def words(self) -> str:
        """Return the same in English."""
        return str(self.said())


@dataclass(frozen=True)
class BuildState:
    """Where a piece's build record stands.

    Attributes
    ----------
    state : str
        ``not asked`` when the model states no clearances; ``out`` until an inspector signed.
    measured : tuple of Measured
    record : PieceEvent or None
        The newest build record.
    signed : PieceEvent or None
        The signature that covers it.
    """

    state: State
    measured: tuple[Measured, ...] = ()
    record: PieceEvent | None = None
    signed: PieceEvent | None = None

    @property
    def blocks(self) -> bool:
        """Whether the piece must not be spun yet."""
        return self.state in ("missing", "out")

    def said(self) -> Said | str:
        """Return why it must not be spun yet, to be said; empty when it may."""
        if self.state == "missing":
            return Said("refusal.build_missing")
        if self.state == "out":
            each = [m.said() for m in self.measured if not m.inside]
            return Said("refusal.build_out", {"what": reduce(_both, each)})
        return ""

    def why(self) -> str:
        """Return the same in English."""
        return str(self.said())


def _both(first: Said, then: Said) -> Said:
    return Said("refused_noun.both", {"first": first, "then": then})


@dataclass(frozen=True)
class Built:
    """A build record as it is kept."""

    measured: tuple[Measured, ...]
    gauge: str = ""
    nut_torque_nm: float | None = None


def build_state(shop: Workshop, serial: str) -> BuildState:
    """Return where a piece's build record stands, against the limits it was written under."""
    piece = find_piece(shop, serial)
    if piece.kind != "cartridge":
        return BuildState("not asked")
    return build_state_of(shop, piece, find_model(shop, piece.model))


def build_state_of(shop: Workshop, piece: Piece, model: ModelFile) -> BuildState:
    """Return where the build record of a piece stands that was looked up already."""
    if not model.clearance_mm:
        return BuildState("not asked")
    events = shop.book.events.of_piece(piece.id)
    record = next((e for e in reversed(events) if e.kind == "build"), None)
    if record is None:
        return BuildState("missing")
    measured = stored(Built, record.content, what="The build record").measured
    signed = next(
        (e for e in events if e.kind == "signed" and e.content.get("of") == record.id), None
    )
    if all(m.inside for m in measured):
        return BuildState("good", measured, record, signed)
    return BuildState("signed" if signed else "out", measured, record, signed)


def write_build(
    shop: Workshop,
    serial: str,
    values: Mapping[str, float | str | None],
    *,
    gauge: str = "",
    nut_torque_nm: float | str | None = None,
    by: str = "",
) -> BuildState:
    """Write a piece's build record: one value for each clearance of its model, mm.

    Raises
    ------
    BadInput
        A value is missing or no number, or the model states no clearances.
    """
    piece = find_piece(shop, serial)
    model = find_model(shop, piece.model)
    if not model.clearance_mm:
        raise BadInput(
            Said("refusal.states_no_clearances", {"name": model.name}),
            remedy=Said("remedy.add_clearance_mm_to_the"),
        )
    missing = [n for n in model.clearance_mm if values.get(n) in (None, "")]
    if missing:
        names = ", ".join(n.replace("_", " ") for n in missing)
        raise BadInput(
            Said("refusal.not_measured", {"names": names}),
            remedy=Said("remedy.fill_in_every_clearance"),
        )
    built = Built(
        measured=tuple(
            Measured(n, finite(n.replace("_", " "), values[n]), low, high)
            for n, (low, high) in model.clearance_mm.items()
        ),
        gauge=gauge.strip(),
        nut_torque_nm=(
            None if nut_torque_nm in (None, "") else finite("nut torque", nut_torque_nm)
        ),
    )
    shop.book.events.add(piece.id, "build", asdict(built), by=by)
    return build_state_of(shop, piece, model)


def sign_build(shop: Workshop, serial: str, *, why: str, by: str = "") -> BuildState:
    """Let a piece be spun although its build record is out of limit: an inspector says why.

    Raises
    ------
    BadInput
        Nothing is out of limit, or no reason is given.
    """
    state = build_state(shop, serial)
    if state.state != "out" or state.record is None:
        raise BadInput(
            Said("refusal.nothing_is_waiting_for_a"), remedy=Said("remedy.look_at_the_build_record")
        )
    if not why.strip():
        raise BadInput(
            Said("refusal.a_signature_needs_a_reason"), remedy=Said("remedy.say_why_it_may_be")
        )
    piece = find_piece(shop, serial)
    content = {"of": state.record.id, "why": why.strip()}
    shop.book.events.add(piece.id, "signed", content, by=by)
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
            Said("refusal.cannot_be_written_down", {"kind": repr(kind)}),
            remedy=Said("remedy.known", {"known": ", ".join(TOLD)}),
        )
    if not text.strip():
        raise BadInput(Said("refusal.there_is_no_text"), remedy=Said("remedy.say_what_happened"))
    if len(text) > 2000:
        raise BadInput(Said("refusal.the_text_is_too_long"), remedy=Said("remedy.at_most_letters"))
    shop.book.events.add(find_piece(shop, serial).id, kind, {"text": text.strip()}, by=by)


def refuse_unbuilt(shop: Workshop, serial: str) -> None:
    """Raise `LedgerFault` when a piece must not be spun yet."""
    state = build_state(shop, serial)
    if state.blocks:
        raise LedgerFault(
            state.said(),
            remedy=Said("remedy.write_the_build_record_down"),
        )
