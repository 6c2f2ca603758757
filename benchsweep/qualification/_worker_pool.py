"""Processes that do a part of the work and end with the one that started them."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.context import SpawnContext, SpawnProcess
from typing import Any, TypeVar

__all__ = ["cores", "submit", "worker_pool"]

T = TypeVar("T")

# What asks a program to stop. It reaches all its processes at once, from a terminal, a service manager or a
# batch system. A worker that ends by it while it tells a result leaves the pool waiting for the rest of it.
_STOPS = {signal.SIGINT, signal.SIGTERM}


class _Worker(SpawnProcess):
    """A process deaf to what asks it to stop: the pool, when it gives up, ends it for certain."""

    def terminate(self) -> None:
        self.kill()


class _Context(SpawnContext):
    Process = _Worker


def cores() -> int:
    """Return how many cores this process may use: of a container that may be fewer than the machine has."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def worker_pool(jobs: int) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of fresh interpreters: a fork would copy threads and locks in the middle of something.

    Each is deaf to Ctrl-C and SIGTERM, which are for the process that hands out the work, and ends when that
    one is gone, however it ended.
    """
    pool = ProcessPoolExecutor(jobs, _Context(), initializer=_begin)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def submit(pool: ProcessPoolExecutor, work: Callable[..., T], *arguments: Any) -> Future[T]:
    """Hand out work; processes that start for it inherit that no stop reaches them from the start."""
    if not hasattr(signal, "pthread_sigmask"):
        return pool.submit(work, *arguments)
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _STOPS)
    try:
        return pool.submit(work, *arguments)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    for stop in _STOPS:
        signal.signal(stop, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
