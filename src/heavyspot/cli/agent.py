"""``heavyspot agent``: captures beside a rig and hands its spins to the shop's server."""

from __future__ import annotations

import os
import signal
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .common import named

if TYPE_CHECKING:
    from ..workshop.agent.agent import Agent

KEY = "HEAVYSPOT_KEY"


def agent(
    rig: Annotated[Path, typer.Argument(help="Rig file of the rig beside this computer.")],
    to: Annotated[str, typer.Option("--to", help="Address of the shop's server.")] = "",
    keep: Annotated[
        Path, typer.Option("--keep", help="Folder on this computer's own disk for the spins.")
    ] = Path("spins"),
    key_file: Annotated[
        Path | None,
        typer.Option("--key-file", help=f"File with a key of the scope write; else {KEY}."),
    ] = None,
    operator: Annotated[
        str, typer.Option("--operator", help="Who spins, where the server asks for no login.")
    ] = "",
    tls: Annotated[
        Path | None,
        typer.Option("--tls-certificate", help="PEM, when the server signs its own."),
    ] = None,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="The whole line is the shop's own net: http:// may be used."),
    ] = False,
    grace_days: Annotated[
        float,
        typer.Option(
            "--grace-days",
            help="How long a spin stays here after the server proved to have it.",
            min=0,
        ),
    ] = 7.0,
    show: Annotated[
        bool, typer.Option("--spins", help="List the spins that lie here, and end.")
    ] = False,
    whose: Annotated[
        list[str] | None,
        typer.Option("--whose", help="ID=SERIAL: say whose a spin is, try it again, and end."),
    ] = None,
) -> None:
    """Capture beside a rig, line or no line, and hand each spin to the shop's server; type what is on it."""
    from ..quantities.errors import BadInput
    from ..sources.devices.slow import slow_channels
    from ..sources.sound_card import load_rig_file
    from ..workshop.agent.agent import Agent
    from ..workshop.agent.line import Line
    from ..workshop.agent.spins import Spins
    from ..workshop.station import refuse_clear

    if show or whose:
        spins = Spins(keep)
        for one in whose or ():
            spins.belongs(*named(one))
        for spin in spins.all():
            sent = f"run {spin.sent.number} of {spin.sent.serial}" if spin.sent else "not sent"
            told = spin.refused or sent
            typer.echo(f"{spin.id}  {spin.whose.begun_at}  {spin.whose.serial or '?'}  {told}")
        return
    file = load_rig_file(rig)
    if not to:
        raise BadInput("No server was named.", remedy="Give its address: --to https://...")
    refuse_clear(to, own_net=lan)
    key = key_file.read_text(encoding="utf-8").strip() if key_file else os.environ.get(KEY, "")
    line = Line(to, key, tls.read_text(encoding="utf-8") if tls else "")
    started = Agent(
        file,
        keep,
        line,
        operator=operator,
        slow=slow_channels(file.slow),
        grace_s=86_400 * grace_days,
        say=lambda w: typer.echo(w),
    )
    ends = threading.Event()
    for asked in (signal.SIGINT, signal.SIGTERM):
        signal.signal(asked, lambda *_: ends.set())
    started.start()
    typer.echo(f"{started.words()} (stop with Ctrl-C)")
    threading.Thread(target=_typed, args=(started,), daemon=True).start()
    ends.wait()
    typer.echo("Ends: what is captured is written to the end.")
    started.stop()


def _typed(one: Agent) -> None:
    """Take what is typed or scanned: a serial; an empty line asks how it stands."""
    for text in sys.stdin:
        if serial := text.strip():
            one.put_on(serial)
        typer.echo(one.words())
