"""Who does the work: this process, several, or a cluster. The results are the same, whoever does it."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from typing import Any, Protocol

from benchsweep.qualification._worker_pool import cores
from benchsweep.qualification.bulk._work import Item

__all__ = ["Runner", "ThisProcess", "Work", "runner_for"]

Work = Callable[[str, Sequence[Item]], list[Any]]
"""The text of a job and some records to what came of each; `Graded` where a worker died at it."""

_WORTH_A_PROCESS = 128
"""With fewer records for each, other processes take longer to start than this one to do the work."""


class Runner(Protocol):
    """Does the work on chunks of records."""

    def run(self, work: Work, job: str, chunks: Iterator[list[Item]]) -> Generator[list[Any], None, None]:
        """Yield the results of each chunk, in any order; take chunks only as fast as they are worked on.

        A record at which a worker dies is tried once more, by itself; when it happens again its result says
        so and the others go on.
        """


class ThisProcess:
    """One chunk after the other, here."""

    def run(self, work: Work, job: str, chunks: Iterator[list[Item]]) -> Generator[list[Any], None, None]:
        """Yield the results of each chunk in order."""
        for chunk in chunks:
            yield work(job, chunk)


def runner_for(
    records: int,
    *,
    jobs: int | None = None,
    scheduler: str = "",
    worth: int = _WORTH_A_PROCESS,
    progress: Callable[[str], None] = lambda _: None,
) -> Runner:
    """Return who should do the work on so many records.

    Parameters
    ----------
    jobs
        How many processes; None: one for each core that this process may use, as far as it is worth it.
    scheduler
        Address of a Dask scheduler; empty: this machine.
    worth
        With `jobs` None: how many records make another process worth its start.
    progress
        Told in words what is waited for.

    Raises
    ------
    UsageError
        Dask is not installed, or nobody answers there.
    """
    if scheduler:
        from benchsweep.qualification.bulk._cluster import Cluster

        return Cluster(scheduler, progress=progress)
    if jobs is None:
        jobs = min(cores(), records // worth)
    if jobs <= 1:
        return ThisProcess()
    from benchsweep.qualification.bulk._pool import Processes

    return Processes(jobs)
