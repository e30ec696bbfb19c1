"""A rig's samples are taken in a process of their own: nothing slow in this program can cost one of them.

The child opens the device, writes to the disk and passes each block on through a pipe; a thread of its own does the
passing on, so that a reader who lags costs memory and never a sample. When this program dies, the child ends the
capture in order: what came is on the disk and is offered at the next start.
"""

from __future__ import annotations

import contextlib
import queue
import signal
import struct
import threading
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from ...sources.live import LiveBlock, LiveSource
from ...sources.sound_card import RigFile, open_live
from .disk_first import Beside, DiskFirst, Give
from .hands_free import HandsFree

HEAD = struct.Struct("<qqqd")
"""Before a block's samples: first sample, channels, lost, the moment (monotonic, s) it was complete."""

GONE_S = 30.0
"""A child that was asked to end and has not for so long is ended: its driver hangs (ours)."""


@dataclass(frozen=True)
class Order:
    """What the child is to take.

    Attributes
    ----------
    waits : bool
        It begins when the mark moves, and ends when that has stopped.
    waits_s : float, optional
        How long it waits for that.
    """

    rig: RigFile
    path: Path
    beside: Beside
    waits: bool = False
    waits_s: float | None = None


class OwnProcess:
    """Takes a rig's samples in a process of its own; see `Taking`."""

    def __init__(self, order: Order, give: Give) -> None:
        self.error = ""
        self.sampled = self.lost = 0
        self._give = give
        self._stopping = threading.Event()
        context = get_context("spawn")
        self._here, self._there = context.Pipe()
        self._process = context.Process(
            target=take, args=(self._there, order), name=order.rig.name, daemon=True
        )
        self._thread = threading.Thread(target=self._receive, name="receive", daemon=True)
        self._guard = threading.Lock()

    @property
    def pid(self) -> int | None:
        """The child's number, None before it is started."""
        return self._process.pid

    @property
    def running(self) -> bool:
        """Whether samples may still come."""
        return self._thread.is_alive()

    def start(self) -> None:
        """Begin; returns when the child is on its way."""
        try:
            self._process.start()
        except OSError as fault:
            self.error = f"Capturing did not begin: {fault}."
        finally:
            self._there.close()  # the child's end alone, so that its death is seen here
        self._thread.start()

    def stop(self) -> None:
        """Ask the child to end; one whose driver hangs is ended after a while."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        with self._guard, contextlib.suppress(OSError):
            self._here.send_bytes(b"stop")
        watch = threading.Thread(target=self._end_one_that_hangs, daemon=True)
        watch.start()

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until all that came is on the disk."""
        self._thread.join(timeout_s)

    def _end_one_that_hangs(self) -> None:
        self._thread.join(GONE_S)
        if self._thread.is_alive():
            self.error = "The driver did not end, and was ended."
            self._process.kill()

    def _receive(self) -> None:
        whole = False
        try:
            while not whole:
                message = self._here.recv_bytes()
                whole = message[:1] == b"E"
                if whole:
                    self.sampled, self.lost = struct.unpack("<qq", message[1:17])
                    self.error = message[17:].decode()
                else:
                    block = _block_of(message[1:])
                    self.sampled += block.data.shape[0]
                    self.lost += block.lost
                    self._give(block)
        except (EOFError, OSError):
            self.error = self.error or (
                "The capture's own process ended; what it had written is kept."
            )
        finally:
            self._give(None)
            if self._process.pid is not None:
                self._process.join(GONE_S)
            self._here.close()


def take(pipe: Connection, order: Order) -> None:
    """Take the samples: what the child does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C goes to all; the program itself says when
    waiting: queue.SimpleQueue[LiveBlock | None] = queue.SimpleQueue()
    try:
        source: LiveSource = open_live(order.rig)
        if order.waits:
            source = HandsFree(source, waits_s=order.waits_s)
        taking = DiskFirst(source, order.path, order.beside, waiting.put)
    except Exception as fault:  # a driver of somebody's own may raise anything
        _end(pipe, 0, 0, str(fault))
        return
    threading.Thread(target=_listen, args=(pipe, taking), daemon=True).start()
    taking.start()
    there = True
    while (block := waiting.get()) is not None:
        if there:
            there = _send(pipe, b"B" + _message(block))
    taking.join()
    _end(pipe, taking.sampled, taking.lost, taking.error)


def _listen(pipe: Connection, taking: DiskFirst) -> None:
    """End when it is asked, and when nobody is there any more to ask."""
    with contextlib.suppress(EOFError, OSError):
        pipe.recv_bytes()
    taking.stop()


def _end(pipe: Connection, sampled: int, lost: int, error: str) -> None:
    _send(pipe, b"E" + struct.pack("<qq", sampled, lost) + error.encode())


def _send(pipe: Connection, message: bytes) -> bool:
    try:
        pipe.send_bytes(message)
    except OSError:  # the program died: the disk has it all
        return False
    return True


def _message(block: LiveBlock) -> bytes:
    data = np.ascontiguousarray(block.data, np.float32)
    head = HEAD.pack(block.first_sample, data.shape[1], block.lost, block.host_time_s)
    return head + data.tobytes()


def _block_of(message: bytes) -> LiveBlock:
    first, channels, lost, at_s = HEAD.unpack_from(message)
    data = np.frombuffer(message, np.float32, offset=HEAD.size).reshape(-1, channels)
    return LiveBlock(first, data, at_s, lost)
