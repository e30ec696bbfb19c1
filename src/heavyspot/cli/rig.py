"""``heavyspot rig health`` and its checks."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from ..quantities.checks import iso_date
from .cartridge.curves import angles
from .common import By, Json, emit, open_workshop, say

rig_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Rigs and their calibration."
)

Rig = Annotated[str, typer.Argument(help="Name of the rig.")]


@rig_app.command("add")
@rig_app.command("new", hidden=True)
def rig_add(
    name: Annotated[str, typer.Argument(help="Name of the rig, as recordings give it.")],
    certificate: Annotated[str, typer.Option(help="Calibration certificate of the sensor.")] = "",
    calibrated: Annotated[str, typer.Option(help="Date of calibration, YYYY-MM-DD.")] = "",
    due: Annotated[str, typer.Option(help="Next calibration due, YYYY-MM-DD.")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Add a rig, or a new calibration of it."""
    for label, date in (("calibrated", calibrated), ("due", due)):
        if date:
            iso_date(f"--{label}", date)
    content = {"certificate": certificate, "calibrated_at": calibrated, "due": due}
    from ..workshop.rig.record import add_rig as write_rig

    write_rig(open_workshop(), name, {k: v for k, v in content.items() if v}, by=by)
    say({"rig": name}, f"Rig {name} recorded.", json)


@rig_app.command("list")
def rig_list(json: Json = False) -> None:
    """List the rigs, machines and benches that were written down, and when each is due."""
    from ..workshop.rig.record import all_rigs

    found = all_rigs(open_workshop())
    if json:
        emit([{"rig": n, "kind": r.kind, "due": r.next_due()} for n, r in found.items()])
        return
    for name, r in found.items():
        typer.echo(f"{name:<28} {r.kind}{f', due {due}' if (due := r.next_due()) else ''}")


@rig_app.command()
def health(rig: Rig, json: Json = False) -> None:
    """Say what speaks against judging pieces on a rig; 1 when something does."""
    from ..workshop.rig.health import master_state, rig_words

    shop = open_workshop()
    words, state = rig_words(shop, rig), master_state(shop, rig)
    if json:
        master = (
            {"serial": state.serial, "spins": state.spins, "outside": state.outside}
            if state
            else None
        )
        emit({"rig": rig, "words": words, "master": master})
    else:
        for w in words or ["Nothing speaks against judging pieces on it."]:
            typer.echo(w)
    if words:
        raise typer.Exit(1)


@rig_app.command()
def shaker(
    rig: Rig,
    reads: Annotated[float | None, typer.Option(help="What the rig reads, m/s² rms.")] = None,
    recording: Annotated[Path | None, typer.Option(help="A recording of the shaker.")] = None,
    by: By = "",
    json: Json = False,
) -> None:
    """Judge and keep a check with a hand-held shaker (10 m/s² rms at 159.155 Hz); 1 when it is over 3 %."""
    from ..workshop.rig.health import check_shaker

    told = check_shaker(open_workshop(), rig, reads_m_s2=reads, recording=recording, by=by)
    if json:
        emit(asdict(told))
    else:
        good = (
            "good"
            if told.good
            else f"over 3 %; readings since have to be multiplied by {told.gain:.4f}"
        )
        typer.echo(f"{told.reads_m_s2:.3f} m/s², {100 * told.deviation:+.1f} %: {good}.")
    if not told.good:
        raise typer.Exit(1)


@rig_app.command()
def inputs(
    rig: Rig,
    recording: Annotated[
        Path | None, typer.Argument(help="One noise or sweep on all inputs at once.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Correct every later run by it.")] = False,
    by: By = "",
    json: Json = False,
) -> None:
    """Measure by how much each sensor's input is late behind the pickup's; without a recording, how to make one."""
    from ..workshop.rig.input_delay import STEPS, check_inputs

    if recording is None:
        for number, step in enumerate(STEPS, start=1):
            typer.echo(f"{number}. {step}")
        typer.echo(f'Then: heavyspot rig inputs "{rig}" RECORDING --keep')
        return
    found = check_inputs(open_workshop(), rig, recording, keep=keep, by=by)
    if json:
        emit([asdict(d) | {"turned_deg": d.turned_deg} for d in found])
        return
    for d in found:
        late, plus = 1e6 * d.found.delay_s, 2e6 * d.found.standard_s
        typer.echo(
            f"{d.sensor}: {late:+.2f} µs (± {plus:.2f}) behind the pickup's input, "
            f"{d.turned_deg:+.1f}° at 150,000 rpm."
        )
    corner = max(d.found.high_pass_hz for d in found)
    if corner:
        typer.echo(f"The pickup's input is AC-coupled: corner {corner:.1f} Hz.")
    typer.echo(
        "Kept: later runs are corrected." if keep else "Not kept; add --keep to correct later runs."
    )


@rig_app.command()
def compare(
    rig: Rig, other: Annotated[str, typer.Argument(help="The other rig.")], json: Json = False
) -> None:
    """Compare two rigs on the pieces spun on both with no cut between."""
    from ..workshop.rig.health import compare_rigs

    agreed, pairs = compare_rigs(open_workshop(), rig, other)
    if json:
        emit(asdict(agreed) | {"differs": agreed.differs, "pairs": [asdict(p) for p in pairs]})
        return
    typer.echo(
        f"{agreed.n} pieces: {rig} reads {agreed.mean:+.3f} of the limit against {other}, "
        f"95 of 100 between {agreed.low:+.3f} and {agreed.high:+.3f}; "
        f"{'more than chance explains' if agreed.differs else 'within chance'}."
    )


@rig_app.command()
def study(
    rig: Rig,
    serials: Annotated[list[str], typer.Argument(help="The pieces of the study.")],
    since: Annotated[str, typer.Option(help="Day it began.")],
    by: By = "",
    json: Json = False,
) -> None:
    """Compute and keep a gauge study from spins made for it: each operator, each piece, equally often."""
    from ..workshop.rig.health import run_study

    found, told = run_study(open_workshop(), rig, serials, since=since, by=by)
    if json:
        emit(told)
        return
    typer.echo(
        f"{found.operators} operators, {found.parts} pieces, {found.trials} trials: "
        f"repeatability {found.repeat:.4f} g, reproducibility {found.reproduce:.4f} g, "
        f"together {found.gauge:.4f} g ({found.gauge_low:.4f} to {found.gauge_high:.4f}), "
        f"{100 * found.share:.1f} % of the spread, {found.categories} categories."
    )


rig_app.command()(angles)
