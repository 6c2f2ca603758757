"""Several processes of this machine."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from benchsweep.errors import UsageError
from benchsweep.qualification._worker_pool import submit, worker_pool
from benchsweep.qualification.bulk._runners import Work
from benchsweep.qualification.bulk._work import Graded, Item

__all__ = ["Processes"]

_MOST_DEATHS = 3
"""So many records in a row at which a process dies: then it is not the records."""


class Processes:
    """A pool of processes, see `worker_pool`.

    Parameters
    ----------
    jobs
        How many.
    """

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs

    def run(self, work: Work, job: str, chunks: Iterator[list[Item]]) -> Generator[list[Any], None, None]:
        """Yield the results of each chunk as they come."""
        while True:
            lost: list[list[Item]] = []
            with worker_pool(self.jobs) as pool:
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
    ) -> Generator[list[Any], None, None]:
        """Yield results until all is done or a process died; `lost` gets what was under way then."""
        under_way: dict[Future[list[Any]], list[Item]] = {}
        while True:
            # One more for each process, so that none waits for the next.
            while not lost and len(under_way) < 2 * self.jobs and (chunk := next(chunks, None)):
                try:
                    under_way[submit(pool, work, job, chunk)] = chunk
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


def _one_by_one(work: Work, job: str, items: list[Item]) -> Generator[list[Any], None, None]:
    """Yield the results of records that were under way when a process died, each tried once more."""
    deaths = 0
    while items:
        with worker_pool(1) as pool:
            while items:
                item = items.pop(0)
                try:
                    results = submit(pool, work, job, [item]).result()
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
