"""Many workers, on this machine or on a Dask cluster: every chunk of work comes back once, whoever is lost.

A worker that dies loses nothing: the chunks it had are worked on again, each by itself, so that one that kills
its worker does not take others with it. Such a chunk is split, and the one item that kills comes back as such.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any

from ...quantities.errors import BadInput, SourceLost

MOST_DEATHS = 6
"""Times a worker may die over one chunk, alone, before the chunk is to blame: others kill workers too."""

ANSWER_S = 20.0
"""How long a Dask scheduler is waited for."""

Chunk = list[Any]
Work = Callable[[Chunk], list[Any]]
Died = Callable[[Any], Any]


def gang(
    work: Work, chunks: Iterable[Chunk], died: Died, *, workers: int = 0, scheduler: str = ""
) -> Iterator[list[Any]]:
    """Yield the results of chunks as they come, in any order.

    Parameters
    ----------
    work : callable
        A chunk to its results, one for each item; importable by name.
    died : callable
        Returns the result of an item whose worker dies every time.
    workers : int
        Processes here; as many as cores when 0. One works in this process itself.
    scheduler : str
        Address of a Dask scheduler; then its workers do it.
    """
    if scheduler:
        yield from _on_dask(work, chunks, died, scheduler)
    elif workers == 1:
        for chunk in chunks:
            yield work(chunk)
    else:
        yield from _here(work, chunks, died, workers or os.cpu_count() or 1)


def _here(work: Work, chunks: Iterable[Chunk], died: Died, workers: int) -> Iterator[list[Any]]:
    waiting = iter(chunks)
    held: dict[Future[list[Any]], Chunk] = {}
    pool = _pool(workers)
    try:
        while True:
            while len(held) < 2 * workers:
                chunk = next(waiting, None)
                if chunk is None:
                    break
                held[pool.submit(work, chunk)] = chunk
            if not held:
                return
            ready, _ = wait(held, return_when=FIRST_COMPLETED)
            lost: list[Chunk] = []
            for future in ready:
                chunk = held.pop(future)
                try:
                    yield future.result()
                except BrokenProcessPool:
                    lost.append(chunk)
            if lost:  # every chunk that was given out is lost with the pool, and one of them may be to blame
                lost += held.values()
                held.clear()
                pool.shutdown(wait=False, cancel_futures=True)
                for chunk in lost:
                    yield from _alone(work, chunk, died)
                pool = _pool(workers)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _alone(work: Work, chunk: Chunk, died: Died) -> Iterator[list[Any]]:
    """Yield the results of a chunk that is worked on by itself; split when its worker dies every time."""
    for _ in range(MOST_DEATHS):
        with _pool(1) as one:
            try:
                yield one.submit(work, chunk).result()
                return
            except BrokenProcessPool:
                continue
    if len(chunk) == 1:
        yield [died(chunk[0])]
        return
    for item in chunk:
        yield from _alone(work, [item], died)


def _pool(workers: int) -> ProcessPoolExecutor:
    """Return processes that begin clean, each with one thread: the cores are shared by processes."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def _on_dask(
    work: Work, chunks: Iterable[Chunk], died: Died, scheduler: str
) -> Iterator[list[Any]]:
    try:
        from dask.distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise BadInput(
            "Dask is not installed.", remedy="Install the extra: heavyspot[dask]."
        ) from None
    try:
        client: Any = Client(scheduler, timeout=ANSWER_S, set_as_default=False)  # type: ignore[no-untyped-call]  # untyped there
    except (OSError, TimeoutError) as fault:
        raise SourceLost(
            f"The scheduler {scheduler} does not answer ({fault}).",
            remedy="Start it, or check its address.",
        ) from None
    with client:
        waiting = iter(chunks)
        held: dict[Any, Chunk] = {}
        ahead = max(4, 3 * sum(client.nthreads().values()))
        flow: Any = as_completed(loop=client.loop)  # type: ignore[no-untyped-call]  # untyped there

        def give(chunk: Chunk) -> None:
            future = client.submit(work, chunk, pure=False)
            held[future.key] = chunk
            flow.add(future)

        for _ in range(ahead):
            chunk = next(waiting, None)
            if chunk is not None:
                give(chunk)
        for future in flow:
            chunk = held.pop(future.key)
            try:
                yield future.result()
            except KilledWorker:
                if len(chunk) == 1:
                    yield [died(chunk[0])]
                else:
                    for item in chunk:
                        give([item])
            future.release()
            more = next(waiting, None)
            if more is not None:
                give(more)
