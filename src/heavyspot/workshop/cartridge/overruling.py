"""An inspector lets a verdict stand that a finding made undecided, with a reason that is printed."""

from __future__ import annotations

from ...ledger.store.entries import Row
from ...quantities.errors import BadInput
from ..shop import Workshop


def overrule(shop: Workshop, serial: str, *, why: str, by: str = "") -> Row:
    """Let what the curve of a piece's last run says stand, against the finding that blocks it.

    The run and its finding stay as they are; the entry says who overruled it and why, and the sheet prints that.

    Returns
    -------
    dict
        ``serial``, ``number``, ``verdict``, ``finding``, ``why``, ``by``.

    Raises
    ------
    BadInput
        No reason, no run, nothing that could be judged, or nothing to overrule.
    """
    piece = shop.piece(serial)
    if not why.strip():
        raise BadInput("An overruling needs a reason.", remedy="Say why the finding does not hold.")
    rows = shop.book.runs(piece["id"])
    last = rows[-1] if rows else None
    blocking = [f for f in last["result"]["findings"] if f["severity"] == "block"] if last else []
    if last is None or not blocking or last["result"].get("overruled"):
        raise BadInput(
            f"Nothing stands against the last run of {serial}.", remedy="Look it up with show."
        )
    measured = last["result"].get("measured")
    if not measured:
        raise BadInput(
            "The last run gave no curve that could be judged.",
            remedy="Mend what is said, and spin again.",
        )
    finding = " ".join(f["text"] for f in blocking)[:400]
    entry = {
        "piece_id": piece["id"], "run_id": last["id"], "number": last["number"], "verdict": measured,
        "finding": finding, "by": by, "why": why.strip(),
    }  # fmt: skip
    shop.book.overruled.add(entry)
    kept = ("number", "verdict", "finding", "why", "by")
    return {"serial": serial, **{k: entry[k] for k in kept}}
