"""Several processes of this machine."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

from benchsweep.errors import UsageError
from benchsweep.qualification.bulk._runners import Work
from benchsweep.qualification.bulk._work import Graded, Item

__all__ = ["Processes"]

_MOST_DEATHS = 3
"""So many records in a row at which a process dies: then it is not the records."""


class Processes:
    """A pool of processes.

    Each of them is a fresh interpreter (a fork would copy threads and locks in the middle of something), is
    deaf to Ctrl-C, which is for the process that hands out the work, and ends when that process is gone.

    Parameters
    ----------
    jobs
        How many.
    """

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs

    def run(self, work: Work, job: str, chunks: Iterator[list[Item]]) -> Generator[list[Graded], None, None]:
        """Yield the results of each chunk as they come."""
        while True:
            lost: list[list[Item]] = []
            with _pool(self.jobs) as pool:
                yield from self._until_broken(pool, work, job, chunks, lost)
            if not lost:
                return
            yield from _one_by_one(work, job, [item for chunk in lost for item in chunk])

    def _until_broken(
        self,
        pool: ProcessPoolExecutor,
        work: Work,
        job: str,
        chunks: Iterator[list[Item]],
        lost: list[list[Item]],
    ) -> Generator[list[Graded], None, None]:
        """Yield results until all is done or a process died; `lost` gets what was under way then."""
        under_way: dict[Future[list[Graded]], list[Item]] = {}
        while True:
            # One more for each process, so that none waits for the next.
            while not lost and len(under_way) < 2 * self.jobs and (chunk := next(chunks, None)):
                try:
                    under_way[_submit(pool, work, job, chunk)] = chunk
                except BrokenProcessPool:
                    lost.append(chunk)
            if not under_way:
                return
            finished, _ = wait(under_way, return_when=FIRST_COMPLETED)
            for future in finished:
                chunk = under_way.pop(future)
                try:
                    yield future.result()
                except BrokenProcessPool:
                    lost.append(chunk)


def _one_by_one(work: Work, job: str, items: list[Item]) -> Generator[list[Graded], None, None]:
    """Yield the results of records that were under way when a process died, each tried once more."""
    deaths = 0
    while items:
        with _pool(1) as pool:
            while items:
                item = items.pop(0)
                try:
                    results = _submit(pool, work, job, [item]).result()
                    deaths = 0
                except BrokenProcessPool:
                    deaths += 1
                    if deaths == _MOST_DEATHS:
                        raise UsageError(
                            f"processes that do the work die one after the other, the last at {item.source}",
                            hint="Is there memory for so many? Try --jobs 1.",
                        ) from None
                    yield [
                        Graded(item, problem="the process that read it died, and once more when tried alone")
                    ]
                    break
                yield results


@contextmanager
def _pool(jobs: int) -> Iterator[ProcessPoolExecutor]:
    pool = ProcessPoolExecutor(
        jobs, mp_context=multiprocessing.get_context("spawn"), initializer=_begin_worker
    )
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _submit(pool: ProcessPoolExecutor, work: Work, job: str, items: Sequence[Item]) -> Future[list[Graded]]:
    """Hand out a chunk; processes that start for it inherit that Ctrl-C is kept from them from the start."""
    if not hasattr(signal, "pthread_sigmask"):
        return pool.submit(work, job, items)
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        return pool.submit(work, job, items)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
