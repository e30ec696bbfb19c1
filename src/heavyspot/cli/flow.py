"""``heavyspot flow``: the flow bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ..quantities.errors import BadInput, UnreadableFile
from .common import By, Json, Language, Why, emit, named, open_workshop, say_issued, say_names

flow_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="The flow bench.")
Serial = Annotated[str, typer.Argument(help="Serial number on the piece.")]
Rig = Annotated[str, typer.Option("--rig", help="Name of the bench.")]


@flow_app.command("list")
def flow_list(json: Json = False) -> None:
    """List the flow benches."""
    from ..workshop.flow.bench import flow_benches

    say_names(flow_benches(open_workshop()), json)


@flow_app.command("bench")
def bench(
    rig: Annotated[str, typer.Argument(help="Name of the bench.")],
    keys: Annotated[
        list[str] | None,
        typer.Argument(help="KEY=VALUE of its element, as docs/reference/flow.md lists them."),
    ] = None,
    by: By = "",
    json: Json = False,
) -> None:
    """Write down what measures the flow on a bench, or show it."""
    from ..workshop.flow.bench import bench_of, set_bench

    shop = open_workshop()
    content: dict[str, object] = {}
    for name, value in map(named, keys or []):
        try:
            content[name] = float(value)
        except ValueError:
            content[name] = value
    found = set_bench(shop, rig, content, by=by) if content else bench_of(shop, rig)
    told = found.model_dump(exclude_none=True)
    if json:
        emit(told)
        return
    for k, v in told.items():
        typer.echo(f"{k:18} {v}")


@flow_app.command("test")
def test(
    serial: Serial,
    rig: Rig,
    table: Annotated[
        Path, typer.Option("--table", help="CSV: a line of column names, one line a reading.")
    ],
    housings: Annotated[str, typer.Option(help="Whose housings.")] = "",
    stop_at: Annotated[
        float | None, typer.Option(help="Where the stop stands now, in positions.")
    ] = None,
    leak: Annotated[
        list[str] | None,
        typer.Option(
            help="volume_l=, from_kpa=, to_kpa=, seconds=, temperature_c= of a closed test; if known "
            "volume_u_l=, drift_u_k=."
        ),
    ] = None,
    by: By = "",
    json: Json = False,
) -> None:
    """Judge and keep a flow test of a piece."""
    from ..workshop.flow.testing import COVERAGE_K, keep_flow_test, readings_of_table
    from ..workshop.sheets.flow import stop_words

    try:
        text = table.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise UnreadableFile(
            f"{table} cannot be read ({fault.strerror}).", remedy="Check the name."
        ) from None
    told = keep_flow_test(
        open_workshop(), serial, rig, readings_of_table(text), housings=housings, stop_at=stop_at,
        leak=_leak(leak), by=by,
    )  # fmt: skip
    if json:
        emit(told.flow_json())
        return
    flow = told.flow
    for r in flow.readings:
        at = f"position {r.position:g}, {r.way}: " if r.position is not None else ""
        wide = COVERAGE_K * r.corrected_u
        typer.echo(f"{at}{r.corrected:.5g} ± {wide:.2g} kg/s corrected")
        if r.efficiency is not None:
            typer.echo(
                f"  efficiency {r.efficiency:.3f} ± {COVERAGE_K * (r.efficiency_u or 0):.2g}"
            )
    for w in flow.windows:
        measured = (
            "not measured" if w.corrected is None else f"{w.corrected:.5g} ± {w.u or 0:.2g} kg/s"
        )
        typer.echo(f"{w.name}: {measured}, {w.low_kg_s:g} to {w.high_kg_s:g} asked: {w.verdict}")
    if flow.leak_kg_s is not None:
        wide = 1000 * COVERAGE_K * (flow.leak_u_kg_s or 0)
        typer.echo(f"Leak {1000 * flow.leak_kg_s:.3g} ± {wide:.2g} g/s")
    if flow.stop:
        typer.echo(stop_words(flow.stop))
    typer.echo(f"{told.entry.verdict.upper()}, corrected to {flow.reference}.")


@flow_app.command("read")
def read(
    rig_file: Annotated[
        Path, typer.Option("--rig-file", help="Rig file of the bench's interface.")
    ],
    seconds: Annotated[float, typer.Option(help="How long to read.")] = 5.0,
    position: Annotated[float | None, typer.Option(help="Of the actuator or stop.")] = None,
    way: Annotated[str, typer.Option(help="opening or closing.")] = "opening",
    zero: Annotated[list[str] | None, typer.Option(help="CHANNEL=VALUE at rest.")] = None,
    append: Annotated[Path | None, typer.Option(help="Table the reading is added to.")] = None,
    json: Json = False,
) -> None:
    """Read the bench live, through the same sources as the balancing rig."""
    from ..sources.sound_card import load_rig_file, open_live
    from ..workshop.flow.live import read_live
    from ..workshop.flow.testing import add_to_table

    try:
        at_rest = {k: float(v) for k, v in map(named, zero or [])}
    except ValueError:
        raise BadInput(
            "A value at rest is no number.", remedy="Write it like drop_kpa=0.02."
        ) from None
    got = read_live(open_live(load_rig_file(rig_file)), seconds, at_rest)
    told: dict[str, float | str] = dict(got.values)
    if position is not None:
        told |= {"position": position, "way": way}
    if append:
        add_to_table(append, told)
    if json:
        emit(told)
        return
    for name, value in got.values.items():
        typer.echo(f"{name:16} {value:.5g} ± {got.spread[name]:.2g}")


@flow_app.command("sheet")
def sheet(
    serial: Serial,
    out: Annotated[Path, typer.Option("-o", "--output", "--out", help="PDF file to write.")],
    language: Language = "",
    why: Why = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Write the sheet of a piece's last flow test; as heavyspot sheet."""
    from ..workshop.sheets.issue import sheet_now

    shop = open_workshop()
    issued = sheet_now(shop, serial, out, kind="flow", by=by, language=language, why=why)
    say_issued(issued, out, json)


def _leak(words: list[str] | None) -> dict[str, float] | None:
    if not words:
        return None
    found = dict(map(named, words))
    try:
        return {k: float(v) for k, v in found.items()}
    except ValueError:
        raise BadInput("A value of the leak test is no number.", remedy="Correct it.") from None
