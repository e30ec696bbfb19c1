"""From sample to painted frame in a real browser, with 4 channels' worth of load not included.

    python -m benchmarks.screen

Needs Debian's chromium. The browser's clock and the server's are the same machine's.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync"]  # fmt: skip
PORT = 8533


def main() -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        print("chromium is not installed; the screen was not measured.")
        return
    from playwright.sync_api import sync_playwright

    program = Path(sys.executable).with_name("heavyspot")
    url = f"http://127.0.0.1:{PORT}"
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen(
            [program, "--data", folder, "serve", "--demo-shop", "--port", str(PORT)],
            stdout=subprocess.DEVNULL,
        )
        try:
            while server.poll() is None:  # a year of the demo shop is written before it answers
                try:
                    urllib.request.urlopen(url, timeout=1).close()
                    break
                except OSError:
                    time.sleep(0.1)
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
                page = browser.new_page(viewport={"width": 1280, "height": 800})
                page.goto(f"{url}/find?q=bench-1")
                page.locator("[name=model]").select_option("Larch 52")
                page.locator("[data-next]").click()
                page.wait_for_url("**/bench/bench-1")
                page.reload()
                page.wait_for_load_state("networkidle")
                weight = page.evaluate(
                    "performance.getEntriesByType('resource').concat(performance.getEntriesByType"
                    "('navigation')).reduce((sum, e) => sum + e.decodedBodySize, 0)"
                )
                paint = page.evaluate(
                    "performance.getEntriesByName('first-contentful-paint')[0].startTime"
                )
                for what in ("guard", "oil"):
                    row = page.locator(f"form:has([name=what][value={what}])")
                    row.locator("button").click()
                    row.locator("button[aria-pressed=true]").wait_for()
                page.wait_for_selector("[data-next][data-hold]:not(.asleep)")
                page.locator("[data-next]").hover()
                page.mouse.down()
                page.wait_for_selector("#panel.spinning")
                page.mouse.up()
                ages: list[float] = []
                while page.locator("#panel.spinning").count():
                    time.sleep(0.5)
                    text = page.evaluate("(document.getElementById('bench').dataset.ages || '')")
                    page.evaluate("delete document.getElementById('bench').dataset.ages")
                    ages += [float(v) for v in text.split()]
                browser.close()
        finally:
            server.terminate()
            server.wait()
    table = Table("what", "measured", "asked", title="The bench in Chromium, one spin in real time")
    table.add_row("newest sample to painted frame, median", f"{np.median(ages):.0f} ms", "< 100 ms")
    table.add_row(
        "newest sample to painted frame, 99 %", f"{np.percentile(ages, 99):.0f} ms", "< 250 ms"
    )
    table.add_row("updates", f"{len(ages)}", "")
    table.add_row("first contentful paint", f"{paint:.0f} ms", "< 1000 ms")
    table.add_row("page weight", f"{weight / 1e3:.0f} kB", "< 1500 kB")
    Console(width=100, highlight=False).print(table)


if __name__ == "__main__":
    main()
