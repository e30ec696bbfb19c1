"""The program on a real ledger, and Debian's Chromium."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

PROGRAM = Path(sys.executable).with_name("heavyspot")
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


SHOP = """name = "Saltmarsh Turbo Works"
address = "Quay Lane 4, Saltmarsh"
scan_gap_ms = 200
"""


class Server:
    """The program as a user starts it, on a free port; the simulated rig runs faster than real."""

    def __init__(
        self,
        data: Path,
        pace: float = 3.0,
        more: tuple[str, ...] = (),
        *,
        demo: bool = True,
        path: Path | None = None,
    ) -> None:
        self.data, self.pace = data, pace
        self.more = ("--demo-shop", *more) if demo else more
        self.env = {**os.environ, **({"PYTHONPATH": str(path)} if path else {})}
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            self.port = s.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        if not (data / "shop.toml").exists():  # keys come slower from a test than from a scanner
            data.mkdir(parents=True, exist_ok=True)
            (data / "shop.toml").write_text(SHOP, encoding="utf-8")
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [str(PROGRAM), "--data", str(self.data), "serve", "--port", str(self.port),
             "--pace", str(self.pace), *self.more],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=self.env,
        )  # fmt: skip
        # a busy machine is given its time; a program that ended is told at once
        until = time.monotonic() + 300.0
        while self.process.poll() is None and time.monotonic() < until:
            try:
                urllib.request.urlopen(self.url, timeout=10).close()
                return
            except OSError:
                time.sleep(0.1)
        self.kill()
        raise RuntimeError(f"the server did not answer (exit {self.process.returncode})")

    def kill(self) -> None:
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.kill()
