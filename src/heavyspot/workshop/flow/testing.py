"""Flow tests of pieces: readings judged against the model's windows, nozzles fitted, where the stop belongs."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ...flow.nozzles import NozzleCurve, fit_nozzle, set_stop
from ...quantities.checks import finite
from ...quantities.errors import BadInput
from ...quantities.said import Said, said_json
from ...quantities.typed import to_float
from ..model import FlowWindowFile, ModelFile, find_model
from ..shop import Workshop, find_piece
from .bench import Computed, Read, bench_of, compute, parse_read
from .kept import FlowTestKept, flow_tests_of_piece
from .leak import leak_of

COVERAGE_K = 2.0
MOST_READINGS = 500

NUMBERS = (
    "upstream_kpa", "temperature_c", "humidity", "drop_kpa", "flow_kg_s", "position", "in_kpa", "in_c", "out_kpa",
    "out_c",
)  # fmt: skip


def keep_flow_test(
    shop: Workshop,
    serial: str,
    rig: str,
    readings: Sequence[dict[str, Any]],
    *,
    housings: str = "",
    stop_at: float | None = None,
    leak: Mapping[str, float] | None = None,
    by: str = "",
) -> FlowTestKept:
    """Judge and keep a flow test.

    Parameters
    ----------
    readings : sequence of dict
        Keys as `flow_bench.Read`.
    housings : str
        Whose housings it was tested with.
    stop_at : float, optional
        Where the stop stands now, in positions.
    leak : mapping, optional
        Keys as `leak.LeakTest`, of a closed test.

    Raises
    ------
    LedgerFault, BadInput
        No such piece or bench, no reading, or one that cannot be.
    """
    piece = find_piece(shop, serial)
    model = find_model(shop, piece.model)
    bench = bench_of(shop, rig)
    if not readings or len(readings) > MOST_READINGS:
        raise BadInput(
            Said("refusal.readings_are_given", {"readings": len(readings)}),
            remedy=Said("remedy.one_to_most", {"most": MOST_READINGS}),
        )
    reads = [parse_read(r) for r in readings]
    found = [compute(bench, r) for r in reads]
    curve = _curve(reads, found)
    leaking = leak_of(bench, leak) if leak else None
    windows = [_window(w, reads, found, curve) for w in model.flow]
    content: dict[str, Any] = {
        "bench": bench.model_dump(mode="json"),
        "housings": housings.strip(),
        "rig_record": dict(record.content) if (record := shop.book.rigs.newest(rig)) else {},
        "reference": bench.reference.words(),
        "readings": [
            {**r.model_dump(mode="json", exclude_none=True), **asdict(f)}
            for r, f in zip(reads, found, strict=True)
        ],
        "windows": windows,
        "curve": _told(curve),
        "stop": _stop(model, curve, stop_at),
        "leak_kg_s": leaking.kg_s if leaking else None,
        "leak_u_kg_s": leaking.u_kg_s if leaking else None,
    }
    verdict = _verdict([str(w.get("verdict")) for w in windows])
    shop.book.flow.add(piece.id, rig, verdict, _finite(content), by=by)
    return flow_tests_of_piece(shop, piece.id)[-1]


def _curve(reads: list[Read], found: list[Computed]) -> NozzleCurve | None:
    placed = [(r, f) for r, f in zip(reads, found, strict=True) if r.position is not None]
    if len({r.position for r, _ in placed}) < 2 or len(placed) < 3:
        return None
    try:
        return fit_nozzle(
            [float(r.position or 0.0) for r, _ in placed],
            [f.corrected for _, f in placed],
            [r.way for r, _ in placed],
            u_kg_s=max(f.corrected_u for _, f in placed),
        )
    except BadInput:
        return None  # the readings stand; a nozzle that does not move is seen in them


def _window(
    window: FlowWindowFile, reads: list[Read], found: list[Computed], curve: NozzleCurve | None
) -> dict[str, Any]:
    """Return a window with what was measured in it and its verdict."""
    told: dict[str, Any] = window.model_dump(mode="json")
    at = [
        f for r, f in zip(reads, found, strict=True)
        if window.position is None or (r.position is not None and abs(r.position - window.position) < 1e-9)
    ]  # fmt: skip
    if at:
        flow = sum(f.corrected for f in at) / len(at)
        wide = COVERAGE_K * max(
            f.corrected_u for f in at
        )  # mostly common to all: it does not average out
    elif (
        curve is not None
        and window.position is not None
        and curve.low <= window.position <= curve.high
    ):
        flow = curve.flow_kg_s(window.position)
        wide = curve.factor(window.position) * curve.flow_u(window.position)
    else:
        return told | {"corrected": None, "u": None, "verdict": "undecided"}
    if flow + wide < window.low_kg_s or flow - wide > window.high_kg_s:
        verdict = "fail"
    elif window.low_kg_s <= flow - wide and flow + wide <= window.high_kg_s:
        verdict = "pass"
    else:
        verdict = "undecided"
    return told | {"corrected": flow, "u": wide, "verdict": verdict}


def _verdict(each: list[str]) -> str:
    if "fail" in each:
        return "fail"
    return "pass" if each and all(v == "pass" for v in each) else "undecided"


def _stop(model: ModelFile, curve: NozzleCurve | None, at: float | None) -> dict[str, Any] | None:
    if model.stop is None or curve is None or at is None:
        return None
    finite("stop", at)
    s = model.stop
    try:
        advice = set_stop(curve, s.wanted_kg_s, at=at, per_turn=s.per_turn, in_is_up=s.in_is_up)
    except BadInput:  # its one reason here: the model's file has been checked
        return said_json("why", Said("stop.far", {"wanted_kg_s": s.wanted_kg_s}))
    return {**asdict(advice), "at": at, "wanted_kg_s": s.wanted_kg_s}


def _told(curve: NozzleCurve | None) -> dict[str, Any] | None:
    if curve is None:
        return None
    kept = ("coefficients", "low", "high", "spread_kg_s", "hysteresis_kg_s", "repeat_kg_s")
    return {k: getattr(curve, k) for k in kept}


def _finite(value: Any) -> Any:
    """Return a value as JSON can hold it: no infinity, nothing that is not a number."""
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def readings_of_table(text: str) -> list[dict[str, Any]]:
    """Return readings from a table whose first line names the columns as `Read` does.

    Raises
    ------
    BadInput
        A column is not known, or a cell is no number.
    """
    lines = [line for line in text.strip().splitlines() if line.strip()]
    if len(lines) < 2:
        raise BadInput(
            Said("refusal.the_table_has_no_readings"), remedy=Said("remedy.a_line_of_column_names")
        )
    separator = max(";\t,", key=lines[0].count)
    rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=separator))
    names = [c.strip() for c in rows[0]]
    unknown = [n for n in names if n not in (*NUMBERS, "way")]
    if unknown:
        raise BadInput(
            Said("refusal.column_is_not_known", {"unknown": unknown[0]}),
            remedy=Said("remedy.known", {"known": ", ".join((*NUMBERS, "way"))}),
        )
    out = []
    for i, row in enumerate(rows[1:], start=2):
        cells = {n: c.strip() for n, c in zip(names, row, strict=False) if c.strip()}
        try:
            out.append({n: _cell(n, c, separator) for n, c in cells.items()})
        except ValueError:
            raise BadInput(
                Said("refusal.line_a_cell_is_no", {"i": i}), remedy=Said("remedy.correct_it")
            ) from None
    return out


def add_to_table(path: Path, reading: dict[str, Any]) -> None:
    """Add a reading to a table that `readings_of_table` reads; the table is made when it is not there.

    Raises
    ------
    BadInput
        The table has other columns.
    """
    names = sorted(reading)
    there = path.exists() and path.stat().st_size > 0
    if there:
        with path.open(encoding="utf-8") as file:
            names = file.readline().strip().split(",")
        if set(reading) != set(names):
            raise BadInput(
                Said("refusal.has_other_columns", {"name": path.name}),
                remedy=Said("remedy.begin_a_new_table"),
            )
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        if not there:
            writer.writerow(names)
        writer.writerow([reading[n] for n in names])


def _cell(name: str, text: str, separator: str) -> Any:
    if name == "way":
        return text
    return float(text) if separator == "," else to_float(text)
