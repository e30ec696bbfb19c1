"""The demo: a shop of our own invention balances a simulated cartridge, from first spin to sheet."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from ...balance.cut.advice_case import Advice
from ...quantities.angles import Rotation
from ...quantities.durable import remove_folder
from ...quantities.errors import BadInput
from ...sheet.before_after import curve_svg
from ...sheet.cut_dial import cut_dial_svg
from ...signal.curve import read_curves
from ...signal.tracker import Tracker
from ...sim.cartridge import SIZES, Cartridge, Size, make_cartridge
from ...sources.recording import Recording
from ...sources.simulated import simulated_recording
from ...workshop.cartridge.answering import looked, newest_cuts
from ...workshop.cartridge.grinding import ground
from ...workshop.cartridge.spinning import spin
from ...workshop.cartridge.story import cartridge_story
from ...workshop.demo.rigs import furnish
from ...workshop.job.pieces import add_piece
from ...workshop.reading.kept import KeptAdvice
from ...workshop.reading.results import SpinResult
from ...workshop.sheets.cartridge import make_report
from ...workshop.sheets.issue import issue_sheet
from ...workshop.shop import Workshop
from ..cartridge.show import advice_lines, console, findings_text, plot, verdict_line

CUSTOMERS = ("Fjord Haulage", "Brackwater Boats", "Nine Mills Farm")
EARLIER_UNITS = 3
MOST_RUNS = 6


@dataclass
class Bench:
    """The simulated rig's side: the cartridge as it really is, and the hand that grinds."""

    unit: Cartridge
    rng: np.random.Generator
    seed: int
    spins: int = 0

    def spin(self) -> Recording:
        """Return the next spin's recording."""
        self.spins += 1
        return simulated_recording(self.unit, self.seed * 100 + self.spins)

    def grind(self, plane: str, angle_deg: float, unbalance_gmm: float) -> None:
        """Grind as a hand does: 8 % of the amount and 3 degrees off, one sigma."""
        self.unit = self.unit.ground(
            plane,
            angle_deg + 3.0 * self.rng.standard_normal(),
            unbalance_gmm * (1 + 0.08 * self.rng.standard_normal()),
        )


def run_demo(folder: Path, *, seed: int, size: str, fast: bool) -> None:
    """Run the demo; leaves ledger, sheet and plots in `folder`."""
    if size not in SIZES:
        raise BadInput(f"There is no size {size!r}.", remedy="Sizes: " + ", ".join(SIZES) + ".")
    folder = folder.resolve()
    _clear(folder)
    out = console()
    slow = not fast and out.is_terminal
    shop = Workshop(folder / "data")
    kind = SIZES[size]
    furnish(shop)
    out.print(Panel(Text(f"Saltmarsh Turbo Works, a shop that does not exist. Model {kind.name}.")))
    out.print(
        f"Its ledger already knows {EARLIER_UNITS} units of the model (balancing them now) ..."
    )
    for i in range(EARLIER_UNITS):
        runs = _balance_quietly(shop, kind, seed * 1000 + i, f"{kind.name[0]}-{100 + i}")
        out.print(f"  {kind.name[0]}-{100 + i}: {runs} runs", style="dim")
    serial = f"{kind.name[0]}-{100 + EARLIER_UNITS}"
    add_piece(
        shop,
        serial,
        kind.name,
        customer=CUSTOMERS[0],
        invoice="2608-114",
        position="front",
        by="Ines",
    )
    bench = Bench(make_cartridge(kind, seed, peak_g=1.9), np.random.default_rng(seed), seed)
    result = _balance_visibly(shop, bench, serial, out, slow=slow)
    _leave(shop, serial, folder, out, result)
    shop.close()


def _clear(folder: Path) -> None:
    """Empty the demo folder; refuses one that is not a demo's."""
    if folder.exists() and any(folder.iterdir()):
        if not (folder / ".heavyspot-demo").exists():
            raise BadInput(f"{folder} is not empty.", remedy="Name another folder with --folder.")
        remove_folder(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / ".heavyspot-demo").touch()


def _balance_quietly(shop: Workshop, size: Size, seed: int, serial: str) -> int:
    add_piece(
        shop, serial, size.name, customer=CUSTOMERS[seed % 3], invoice=f"2607-{seed % 900:03d}"
    )
    bench = Bench(make_cartridge(size, seed, peak_g=1.4), np.random.default_rng(seed), seed)
    for run in range(1, MOST_RUNS + 1):
        result = spin(shop, serial, bench.spin(), operator="Tomas")
        advice = _after_a_look(shop, serial, result)
        if advice.action != "cut":
            return run
        _grind_as_advised(shop, bench, serial, advice)
    return MOST_RUNS


def _next(advice: Advice | KeptAdvice, rotation: Rotation) -> Panel:
    return Panel(advice_lines(advice, rotation), title="next", title_align="left")


def _after_a_look(shop: Workshop, serial: str, result: SpinResult) -> Advice | KeptAdvice:
    """Return the advice; where a look at the last cut is asked for first: what it is after that."""
    if result.advice.action == "fix" and newest_cuts(cartridge_story(shop, serial)):
        last = looked(shop, serial, by="Ines").last
        if last is not None:
            return last.result.advice
    return result.advice


def _grind_as_advised(
    shop: Workshop, bench: Bench, serial: str, advice: Advice | KeptAdvice
) -> None:
    for cut in advice.cuts:
        bench.grind(cut.plane, cut.angle_deg, cut.unbalance_gmm)
        ground(shop, serial, cut.plane, cut.angle_deg, depth_mm=cut.depth_mm, by="Ines")


def _balance_visibly(
    shop: Workshop, bench: Bench, serial: str, out: Console, *, slow: bool
) -> SpinResult:
    for run in range(1, MOST_RUNS + 1):
        recording = bench.spin()
        out.print()
        out.print(Text(f"Run {run} of {serial}", style="bold"))
        if slow:
            _show_live(recording, out)
        result = spin(shop, serial, recording, operator="Ines")
        main = result.curves[0]
        for line in plot(main.speed_rpm, np.abs(main.vector[0]), 0.5):
            out.print(line)
        out.print(verdict_line(result))
        if result.findings:
            out.print(findings_text(result.findings), end="")
        out.print(_next(result.advice, result.rotation))
        advice = _after_a_look(shop, serial, result)
        if advice is not result.advice:
            out.print("Looked: it is there.", style="dim")
            out.print(_next(advice, result.rotation))
        if advice.action != "cut":
            return result
        if slow:
            time.sleep(2.5)
        _grind_as_advised(shop, bench, serial, advice)
        out.print("Ground it, as advised (a hand is a few per cent and degrees off).", style="dim")
    return result


def _show_live(recording: Recording, out: Console) -> None:
    """Feed the tracker in small pieces and draw the curve as it grows, faster than real time."""
    scale = np.array([recording.channels[0].g_per_stored])
    tracker = Tracker(
        sample_rate_hz=recording.sample_rate_hz,
        phase_channel=1,
        vibration_channels=(0,),
        frame_windows=4,
    )
    with Live(console=out, refresh_per_second=12, transient=True) as live:
        for block in recording.blocks(int(recording.sample_rate_hz / 3)):
            tracker.feed(block.data)
            reading = read_curves(tracker.so_far(), scale=scale)
            speed = reading.blocks.speed_rpm
            now = float(speed[-1]) if speed.size and np.isfinite(speed[-1]) else 0.0
            drawn: list[RenderableType] = [Text(f"{now:>9,.0f} rpm", style="bold")]
            if reading.curves and reading.curves[0].speed_rpm.size > 8:
                c = reading.curves[0]
                drawn += plot(c.speed_rpm, np.abs(c.vector[0]), 0.5)
            live.update(Group(*drawn))
            time.sleep(0.07)


def _leave(shop: Workshop, serial: str, folder: Path, out: Console, result: SpinResult) -> None:
    sheet = folder / f"sheet-{serial}.pdf"
    issued = issue_sheet(shop, serial, sheet, by="Ines")
    report = make_report(shop, serial, number=issued.number)
    curve = folder / "curve.svg"
    curve.write_text(curve_svg(report), encoding="utf-8")
    dial = folder / "dial.svg"
    dial.write_text(cut_dial_svg(report.cuts, report.rotation), encoding="utf-8")
    out.print()
    out.print(f"{serial}: {result.verdict} after {result.number} runs. Left for you in {folder}:")
    for name, what in (
        (sheet.name, "the customer's sheet"),
        (curve.name, "the curve"),
        (dial.name, "the dial with the cuts"),
        ("data/", "the ledger and all recordings"),
    ):
        out.print(f"  {name:<18} {what}")
    shown = folder.relative_to(Path.cwd()) if folder.is_relative_to(Path.cwd()) else folder
    out.print(f"Look at the piece again:  .venv/bin/heavyspot --data {shown}/data show {serial}")
