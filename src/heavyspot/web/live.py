"""Live data: a websocket that sends the newest snapshot, and the curve's new points.

Messages, JSON, ten to twenty times a second: ``{"t", "speed_rpm", "amplitude_g", "angle_deg", "overall_g",
"pickup", "lost", "age_ms", "sampled_unix_ms", "share", "say": {"state", "line", "sub", "alarm"}}``, and
``"curve": [[speed, amplitude], ...]`` at most four times a second; values are null while there is no trusted speed.
While no samples come, or a rig's agent sends none, ``{"quiet": true}`` twice a second, so that a page knows who is
silent; when the rotor has stopped ``{"reading": true}``; at the end ``{"end": true}``.
"""

from __future__ import annotations

import asyncio
import math
import time

from fastapi import APIRouter, WebSocket, WebSocketDisconnect

from ..quantities.said import in_words
from ..workshop.bench.bench import Bench
from ..workshop.bench.benches import Benches
from ..workshop.bench.capture import Capture, Snapshot
from ..workshop.bench.remote_spin import RemoteSpin
from .access import socket_person
from .speaking import language

router = APIRouter()
CURVE_EVERY_S = 0.25


@router.websocket("/bench/{serial:path}/live")
async def live(socket: WebSocket, serial: str) -> None:
    """Send snapshots of a piece's spin until it ends."""
    origin = socket.headers.get("origin")
    if origin is not None and origin.split("://", 1)[-1] != socket.headers.get("host"):
        await socket.close(4403)
        return
    if socket_person(socket) is None:
        await socket.close(4401)
        return
    await socket.accept()
    benches: Benches = socket.app.state.benches
    bench = benches.of(serial)
    capture = bench.capture
    try:
        if capture is not None and capture.about.serial == serial:
            number, drawn_at = 0, 0.0
            while not capture.finished.is_set():
                shot = await asyncio.to_thread(capture.wait_for, number, 0.5)
                if shot.number > number:
                    number = shot.number
                    draw = time.monotonic() - drawn_at > CURVE_EVERY_S
                    drawn_at = time.monotonic() if draw else drawn_at
                    await socket.send_json(message(shot, with_curve=draw))
                else:
                    await socket.send_json({"quiet": True})
            await _until_read(socket, bench, capture, serial)
        elif (spin := bench.agent.spin_of(serial)) is not None:
            await _by_its_agent(socket, spin)
        while bench.capture is None and bench.spins(serial):  # by another program on this folder
            await asyncio.sleep(1.0)
            await socket.send_json({"quiet": True})
        await socket.send_json({"end": True})
        await socket.close()
    except WebSocketDisconnect:
        return


async def _by_its_agent(socket: WebSocket, spin: RemoteSpin) -> None:
    """Send what a rig's agent sends; figures that came too late are none."""
    number, drawn_at = 0, 0.0
    while spin.running:
        shot = await asyncio.to_thread(spin.wait_for, number, 0.5)
        if shot is None:
            await socket.send_json({"quiet": True})
            continue
        number = shot.number
        draw = time.monotonic() - drawn_at > CURVE_EVERY_S
        drawn_at = time.monotonic() if draw else drawn_at
        await socket.send_json(message(shot, with_curve=draw))


async def _until_read(socket: WebSocket, bench: Bench, capture: Capture, serial: str) -> None:
    """Wait until a spin is in the ledger, and say now and then that nobody is dead."""
    await socket.send_json({"reading": True})
    waited = 0
    while bench.capture is capture or bench.reading == serial:
        await asyncio.sleep(0.05)
        waited += 1
        if waited % 10 == 0:
            await socket.send_json({"quiet": True})


def message(shot: Snapshot, *, with_curve: bool) -> dict[str, object]:
    """Return a snapshot as a message."""
    out: dict[str, object] = {
        "t": round(shot.time_s, 3),
        "speed_rpm": _number(shot.speed_rpm),
        "amplitude_g": _number(shot.amplitude_g),
        "angle_deg": _number(shot.angle_deg),
        "overall_g": _number(shot.overall_g),
        "pickup": _number(shot.pickup),
        "lost": shot.lost_samples,
        "age_ms": round(1e3 * (time.monotonic() - shot.sampled_at_s), 1),
        "sampled_unix_ms": round(1e3 * (time.time() - time.monotonic() + shot.sampled_at_s), 1),
    }
    seen = shot.seen
    out["share"] = _number(seen.share)
    out["say"] = {
        "state": seen.state,
        "line": in_words(seen.line, language()),
        "sub": in_words(seen.sub, language()) if seen.sub else "",
        "alarm": seen.alarm,
    }
    if with_curve:
        out["curve"] = [[round(float(a)), round(float(b), 4)] for a, b in shot.curve.T]
    return out


def _number(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None
