"""Re-reading an archive: cost of a recording from 100 to 10,000, with one worker and two."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.table import Table

from heavyspot.ledger.store.entries import add_entries, transaction
from heavyspot.ledger.store.identity import new_id
from heavyspot.ledger.store.tables import runs
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.keep.reread import Settings, begin_reread, go_on
from heavyspot.workshop.shop import Workshop, find_piece

SPIN = SpinSettings(run_up_s=6.0, hold_s=0.5, coast_s=3.0, sample_rate_hz=25_600.0)
KINDS = 20


def fill(shop, count):
    """Twenty spins, each under many names of its own: files by hard link, runs as entries."""
    originals = []
    for seed in range(KINDS):
        add_piece(shop, f"B-{seed}", "Larch 52")
        spin(shop, f"B-{seed}", simulated_recording(make_cartridge("Larch 52", seed), seed, SPIN))
        piece = find_piece(shop, f"B-{seed}")
        (run,) = shop.book.cartridges.runs(piece.id)
        originals.append((run, shop.book.cartridges.curves(piece.id)[1]))
    copies = []
    for n in range(count - KINDS):
        (run, curves), made = originals[n % KINDS], new_id()
        name = f"recordings/2026/01/{made}.flac"
        to = shop.book.folder / name
        to.parent.mkdir(parents=True, exist_ok=True)
        os.link(shop.folder / run.recording, to)
        os.link((shop.folder / run.recording).with_suffix(".json"), to.with_suffix(".json"))
        copy = replace(run, id=made, number=2 + n // KINDS, recording=name)
        copies.append(copy.values() | {"curves": curves})
    for at in range(0, len(copies), 2000):
        with transaction(shop.book._engine) as c:
            add_entries(c, runs, copies[at : at + 2000])


def main(counts):
    """Print the table."""
    table = Table(
        "recordings",
        "1 worker, s",
        "ms each",
        "2 workers, s",
        "ms each x 2",
        "efficiency",
        title="Re-reading",
    )
    for count in counts:
        with tempfile.TemporaryDirectory() as folder:
            shop = Workshop(Path(folder))
            furnish(shop)
            fill(shop, count)
            took = {}
            for workers in (1, 2):
                made = begin_reread(shop, Settings(gain=1.02))
                start = time.perf_counter()
                told = go_on(shop, made, workers=workers)
                took[workers] = time.perf_counter() - start
                assert told.done == count and told.unreadable == 0
            shop.close()
        table.add_row(
            f"{count:,}", f"{took[1]:.1f}", f"{1e3 * took[1] / count:.1f}", f"{took[2]:.1f}",
            f"{2e3 * took[2] / count:.1f}", f"{100 * took[1] / (2 * took[2]):.0f} %",
        )  # fmt: skip
    Console(width=110).print(table)


if __name__ == "__main__":
    main([int(n) for n in sys.argv[1].split(",")] if len(sys.argv) > 1 else [100, 1000, 10_000])
