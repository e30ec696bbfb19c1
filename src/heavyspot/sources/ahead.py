"""Reading ahead: the next blocks are decoded on another core while this one is worked on."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from typing import TypeVar

T = TypeVar("T")

MOST = 2
"""Blocks that wait at most: memory stays flat."""


def ahead(blocks: Iterator[T]) -> Iterator[T]:
    """Yield the same, made by a thread of its own; its errors are raised here, and it ends when this is left.

    Decoders work outside the interpreter's lock, so that this is worth a core.
    """
    waiting: queue.Queue[tuple[T | None, BaseException | None]] = queue.Queue(MOST)
    left = threading.Event()

    def put(item: tuple[T | None, BaseException | None]) -> bool:
        while not left.is_set():
            try:
                waiting.put(item, timeout=0.1)
            except queue.Full:
                continue
            return True
        return False

    def work() -> None:
        try:
            for block in blocks:
                if not put((block, None)):
                    return
            put((None, None))
        except BaseException as fault:  # whatever it is, it belongs to who asked
            put((None, fault))

    thread = threading.Thread(target=work, name="decoding", daemon=True)
    thread.start()
    try:
        while True:
            block, fault = waiting.get()
            if fault is not None:
                raise fault
            if block is None:
                return
            yield block
    finally:
        left.set()
        thread.join()
