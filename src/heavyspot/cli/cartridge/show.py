"""What commands print for people: plain sentences, a plot in the terminal, tables."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from ...balance.cut.advice_case import Advice
from ...quantities.angles import Rotation, clock_text
from ...quantities.arrays import Array
from ...quantities.clock import utc_minute
from ...quantities.finding import Finding
from ...quantities.said import in_words
from ...sources.recording import Recording
from ...workshop.cartridge.grinding import Ground
from ...workshop.cartridge.story import CartridgeStory, KeptRun
from ...workshop.model.model_file import ModelFile
from ...workshop.reading import budget_table
from ...workshop.reading.kept import KeptAdvice
from ...workshop.reading.reading import ReadResult
from ...workshop.reading.results import SpinResult, percent
from ...workshop.records import Piece

VERDICT_WORDS = {"pass": "PASS", "fail": "FAIL", "undecided": "UNDECIDED"}
_STYLE = {"pass": "bold green", "fail": "bold red", "undecided": "bold yellow"}
_SEVERITY = {"note": "note", "warn": "LOOK AT THIS", "block": "NOT UNBALANCE"}

BLOCKS = " ▁▂▃▄▅▆▇█"


def console() -> Console:
    """Return the console for standard output."""
    return Console(highlight=False)


def plot(
    speed_rpm: Array,
    amplitude_g: Array,
    limit_g: float | None,
    *,
    width: int = 72,
    height: int = 9,
) -> list[Text]:
    """Return a curve as lines of text: columns of eighths, the limit as a dotted line."""
    edges = np.linspace(speed_rpm[0], speed_rpm[-1], width + 1)
    index = np.clip(np.searchsorted(edges, speed_rpm, side="right") - 1, 0, width - 1)
    column = np.zeros(width)
    np.maximum.at(column, index, amplitude_g)
    for i in range(1, width):
        if column[i] == 0:
            column[i] = column[i - 1]
    top = max(float(column.max()), 1.15 * (limit_g or 0.0)) or 1.0
    lines = []
    limit_row = round((limit_g / top) * height - 0.5) if limit_g else -1
    for row in range(height - 1, -1, -1):
        label = (
            f"{top * (row + 1) / height:5.2f} ┤"
            if row in (height - 1, height // 2, 0)
            else "      │"
        )
        text = Text(label)
        if row == limit_row:
            text = Text("limit ┤", style="red")
        for value in column:
            eighths = int(np.clip((value / top * height - row) * 8, 0, 8))
            if eighths == 0 and row == limit_row:
                text.append("┄", style="red")
            else:
                over = limit_g is not None and value > limit_g
                text.append(BLOCKS[eighths], style="red" if over else "cyan")
        lines.append(text)
    left, right = f"{speed_rpm[0]:,.0f}", f"{speed_rpm[-1]:,.0f} rpm"
    lines.append(Text("      └" + "─" * width))
    lines.append(Text("       " + left + " " * max(1, width - len(left) - len(right)) + right))
    return lines


def findings_text(findings: Sequence[Finding]) -> Text:
    """Return findings, each with what to do."""
    text = Text()
    for f in findings:
        style = "bold red" if f.severity == "block" else "yellow" if f.severity == "warn" else "dim"
        text.append(f"{_SEVERITY[f.severity]}: ", style=style)
        text.append(f"{f.text} {f.do}\n")
    return text


def verdict_line(result: SpinResult) -> Text:
    """Return the verdict and its reason."""
    text = Text()
    text.append(f" {VERDICT_WORDS[result.verdict]} ", style=_STYLE[result.verdict] + " reverse")
    text.append("  " + result.reason)
    return text


def advice_lines(a: Advice | KeptAdvice, rotation: Rotation) -> Text:
    """Return the advice in one big sentence, and why."""
    text = Text()
    if a.action == "cut":
        for cut in a.cuts:
            text.append("Grind ", style="bold")
            text.append(
                f"{cut.plane}, {cut.depth_mm:.2f} mm deep, at {cut.angle_deg:.0f}° "
                f"({clock_text(cut.angle_deg, rotation)} o'clock, mark at 12)",
                style="bold",
            )
            text.append(f"   {cut.mass_mg:.1f} mg = {cut.unbalance_gmm:.3f} g·mm\n")
        if not a.trial:
            text.append(f"Chance that the next run passes: {percent(a.chance_of_pass or 0.0)}. ")
    else:
        words = {
            "spin_again": "Spin again.",
            "fix": "Do not cut yet.",
            "stop": "Stop here.",
        }
        text.append(words[a.action] + " ", style="bold")
    text.append(a.reason if isinstance(a, Advice) else a.why)
    return text


def show_spin(result: SpinResult) -> None:
    """Print a spin."""
    out = console()
    out.print(Text(f"Run {result.number} of {result.serial}", style="bold"))
    if result.curves:
        main, j = result.curves[0], result.judgement
        place = result.sensors.index(j.sensor) if j and j.sensor else 0
        for line in plot(
            main.speed_rpm, np.abs(main.vector[place]), j.worst.limit_g if j else None
        ):
            out.print(line)
    out.print(verdict_line(result))
    for e in result.judgement.each if result.judgement else ():
        out.print(
            f"   {e.sensor}: {e.worst.amplitude_g:.2f} g at {e.worst.speed_rpm:,.0f} rpm of "
            f"{e.worst.limit_g:g} g, {VERDICT_WORDS[e.verdict].lower()}"
        )
    if result.findings:
        out.print(findings_text(result.findings), end="")
    out.print(Panel(advice_lines(result.advice, result.rotation), title="next", title_align="left"))
    for note in result.notes:
        out.print(Text(note, style="dim"))


def show_read(result: ReadResult, recording: Recording) -> None:
    """Print a reading without a ledger."""
    out = console()
    if result.curve is None:
        out.print("No curve.")
    else:
        c = result.curve
        passes = f"{len(result.curves)} pass{'es' if len(result.curves) != 1 else ''}."
        for name, vector in zip(result.channels, c.vector, strict=True):
            amplitude = np.abs(vector)
            for line in plot(c.speed_rpm, amplitude, None):
                out.print(line)
            k = int(amplitude.argmax())
            out.print(
                f'Channel "{name}": highest {amplitude[k]:.3f} g at {c.speed_rpm[k]:,.0f} rpm; {passes}'
            )
    if result.findings:
        out.print(findings_text(result.findings), end="")
    for note in recording.notes:
        out.print(Text(note, style="dim"))


def show_model(model: ModelFile) -> None:
    """Print a model as stored."""
    out = console()
    out.print(
        f"{model.name}: {model.rotation} seen from the nut, test {model.test_speed_rpm:,.0f} rpm, "
        f"rated {model.rated_speed_rpm:,.0f} rpm."
    )
    for name, speed in model.tip_speeds_m_s().items():
        out.print(
            f"Tip speed of the {name} wheel at test speed: {speed:.0f} m/s (maker's limit decides)."
        )
    table = Table("plane", "cut", "deepest mm", "one cut g·mm", "budget mg")
    for p in model.plane:
        plane = p.as_plane()
        table.add_row(
            p.name,
            f"{p.cutter}, r {p.radius_mm:g} mm",
            f"{plane.max_depth_mm:.2f}" + ("" if "max_depth_mm" in plane.stated else " *"),
            f"{plane.cap_gmm():.3f}",
            f"{plane.budget_mg:.0f}" + ("" if "budget_mg" in plane.stated else " *"),
        )
    out.print(table)
    if any({"max_depth_mm", "budget_mg"} - p.as_plane().stated for p in model.plane):
        out.print(
            "* Not stated in the model file: 15 % of the radius deep, a budget of eight such cuts. "
            "The maker's figures decide."
        )


def show_cut(ground: Ground) -> None:
    """Print a recorded cut."""
    out, cut = console(), ground.cut
    out.print(
        f"Recorded: {cut.plane} at {cut.angle_deg:.0f}°, {cut.depth_mm:.2f} mm, "
        f"{cut.mass_mg:.1f} mg, {cut.unbalance_gmm:.3f} g·mm."
    )
    if ground.left_mg < 0:
        out.print(
            f"This plane is now {-ground.left_mg:.0f} mg over its material budget.",
            style="bold red",
        )
    else:
        out.print(f"{ground.left_mg:.0f} mg may still come off this plane.")


def show_pieces(pieces: Sequence[Piece]) -> None:
    """Print the list of pieces."""
    table = Table("serial", "model", "customer", "invoice", "position", "runs", "verdict")
    for p in pieces:
        runs, verdict = str(p.number or 0), p.verdict or "-"
        table.add_row(p.serial, p.model, p.customer, p.invoice, p.position, runs, verdict)
    console().print(table)


def show_story(story: CartridgeStory) -> None:
    """Print a piece's story."""
    out, piece = console(), story.piece
    out.print(Text(f"{piece.serial}  {piece.model}", style="bold"))
    invoice = f"invoice {piece.invoice}" if piece.invoice else ""
    said = [s for s in (piece.customer, invoice, piece.position) if s]
    if said:
        out.print(", ".join(said))
    table = Table("", "when (UTC)", "what", "result")
    for run in story.runs:
        _show_run(table, run)
        for cut in story.made_after(run.number):
            what = f"{cut.plane} {cut.angle_deg:.0f}° {cut.depth_mm:.2f} mm"
            table.add_row("cut", utc_minute(cut.at), what, f"{cut.mass_mg:.1f} mg")
    out.print(table)
    show_next(story)


def show_budget(story: CartridgeStory) -> None:
    """Print where the uncertainty of the last run's highest value comes from."""
    found = budget_table(story.last.result) if story.last else None
    if found is None:
        console().print("No uncertainty budget: the last run has no highest value.")
        return
    table = Table("source", "type", "value", "sensitivity", "adds, g", "degrees of freedom")
    for p in found.lines:
        value = f"{100 * p.value:.1f} %" if p.relative else f"{p.value:.4f} g"
        sensitivity = f"{p.sensitivity:.3f} g" if p.relative else "1"
        degrees = "" if p.degrees is None else f"{p.degrees:.0f}"
        table.add_row(
            in_words(p.source), p.kind, value, sensitivity, f"{p.standard_g:.4f}", degrees
        )
    degrees = "" if found.degrees is None else f"{found.degrees:.0f}"
    table.add_row("combined", "", "", "", f"{found.standard_g:.4f}", degrees)
    table.add_row("stated, 95 %", "", f"k = {found.k:.2f}", "", f"{found.expanded_g:.4f}", "")
    console().print(table)


def show_next(story: CartridgeStory) -> None:
    """Print what is to be done next."""
    if story.last is None:
        return
    advice = story.last.result.advice
    for c in advice.cuts:
        console().print(
            f"Grind {c.plane} {c.depth_mm:.2f} mm deep at {c.angle_deg:.0f}°, {c.clock} o'clock."
        )
    console().print("Next: " + advice.why)


def _show_run(table: Table, run: KeptRun) -> None:
    worst = run.result.worst
    seen = f"{worst.amplitude_g:.2f} g at {worst.speed_rpm:,.0f} rpm" if worst else "no curve"
    codes = ", ".join(f.code for f in run.result.findings)
    verdict = run.result.verdict
    table.add_row(
        f"run {run.number}",
        utc_minute(run.entry.at),
        seen + (f"  [{codes}]" if codes else ""),
        Text(VERDICT_WORDS[verdict], style=_STYLE[verdict]),
    )
