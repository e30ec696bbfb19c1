"""Handing a spin to the server: begun, gone on with, proved; never twice, never removed without proof."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import UTC, datetime

from ...quantities.clock import utc_text
from ...quantities.errors import BadInput, HeavyspotError, SourceLost
from .line import Line, Whole
from .spins import Going, Sent, Spin, Spins, Whose, sha256_of

WRONG_CLOCK_S = 60.0
"""A clock that is further off than this from the server's says no times (ours)."""

TRIES = 3
"""Times an upload is begun anew in one go: the server forgot it, or it was cut in the middle."""


def send(
    spins: Spins,
    line: Line,
    spin: Spin,
    *,
    rig: str,
    clock_off_s: float,
    between: Callable[[], None],
) -> Sent:
    """Hand a spin over and keep the server's proof.

    Parameters
    ----------
    clock_off_s : float
        The server's clock less this computer's.
    between : callable
        Called between two parts.

    Raises
    ------
    SourceLost
        The line is down; it goes on from there next time.
    BadInput
        The server does not want it: no such piece, no such key, nothing that can be read.
    """
    for _ in range(TRIES):
        going = spin.going
        if going is None or (going.serial, going.size) != (spin.whose.serial, spin.size):
            going = _begin(spins, line, spin, rig, clock_off_s)
        whole = Whole(spin.path, going.sidecar)
        offset = line.offset(going.place)
        if offset is None or offset > whole.length:
            spin = spins.anew(spin)
            continue
        became: dict[str, object] | None = None
        while became is None:
            said = line.part(going.place, whole, offset)
            if isinstance(said, dict):
                became = said
            else:
                offset = said
                between()
        return _proved(spins, spin, going, became)
    raise SourceLost("The server forgets what was begun.", remedy="It is tried again.")


def _begin(spins: Spins, line: Line, spin: Spin, rig: str, clock_off_s: float) -> Going:
    sidecar = sidecar_of(spin, clock_off_s)
    whole = Whole(spin.path, sidecar)
    place = line.begin(spin.whose.serial, whole, rig=rig, operator=spin.whose.operator)
    going = Going(place, spin.whose.serial, sidecar, sha256_of(spin.path), spin.size)
    spins.begun(spin, going)
    return going


def _proved(spins: Spins, spin: Spin, going: Going, became: dict[str, object]) -> Sent:
    sha256, run, number = became.get("sha256"), became.get("run"), became.get("number")
    if sha256 != going.sha256 or not isinstance(run, str) or not isinstance(number, int):
        raise BadInput(
            "The server's answer does not prove that it has this spin.",
            remedy="It is kept here. Look at the piece there, and at the server's program.",
        )
    sent = Sent(going.serial, run, number, going.sha256, time.time())
    spins.proved(spin, sent)
    return sent


def sidecar_of(spin: Spin, clock_off_s: float) -> str:
    """Return what stands beside a spin, with when it began as far as that is known.

    A time by this computer's clock is left out where that clock is wrong now: it was then too, by as much as nobody
    knows.
    """
    try:
        content = json.loads(spin.path.with_suffix(".json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise BadInput(
            f"What stood beside {spin.path.name} is lost: which channels are which.",
            remedy="Lay a sidecar beside it, then start the agent again.",
        ) from None
    content.pop("recorded_at", None)
    content.pop("operator", None)
    if spin.whose.begun_at and (spin.whose.server_s or abs(clock_off_s) <= WRONG_CLOCK_S):
        content |= {"recorded_at": spin.whose.begun_at}
    if spin.whose.operator:
        content |= {"operator": spin.whose.operator}
    return json.dumps(content)


def begun_now(serial: str, operator: str, server: tuple[float, float] | None) -> Whose:
    """Return whose a spin is that begins now.

    Parameters
    ----------
    server : (float, float) or None
        The server's time, s since 1970, at a moment of this computer's monotonic clock.
    """
    if server is None:
        return Whose(serial, operator, utc_text(datetime.now(UTC)), False)
    at = server[0] + time.monotonic() - server[1]
    return Whose(serial, operator, utc_text(datetime.fromtimestamp(at, UTC)), True)


def still_there(line: Line, sent: Sent) -> bool:
    """Whether the server still has a run that it proved to have; nothing is removed here before it says so."""
    from urllib.parse import quote

    try:
        found = line.ask("GET", f"/api/v1/pieces/{quote(sent.serial)}").json()
    except HeavyspotError:
        return False
    runs = found.get("runs")
    return isinstance(runs, list) and any(
        isinstance(run, dict) and run.get("run") == sent.run for run in runs
    )
