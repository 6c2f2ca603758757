"""A Dask cluster that is there already."""

from __future__ import annotations

import time
from collections.abc import Callable, Generator, Iterator
from importlib import import_module
from typing import Any

from benchsweep.errors import UsageError
from benchsweep.qualification.bulk._runners import Work
from benchsweep.qualification.bulk._work import Graded, Item

__all__ = ["Cluster"]

_ANSWER_S = 8.0
_LOOK_S = 5.0
_WITHOUT_WORKERS_S = 60.0
_FOR_EACH_WORKER = 3
"""Chunks under way for each thread of a worker, so that none waits for the network."""


def _client_class(dask: Any) -> Any:
    """Return the client of Dask without what it does when it is forgotten.

    One that never reached its scheduler waits twenty seconds for it then, and ends in a traceback. `Cluster`
    closes its own.
    """

    class Client(dask.Client):  # type: ignore[misc]
        def __del__(self) -> None:
            return None

    return Client


class Cluster:
    """The workers of a Dask scheduler; they need the versions of benchsweep, numpy and scipy of this program.

    Parameters
    ----------
    address
        Of the scheduler, for example ``tcp://head:8786``.
    progress
        Told when there are no workers, so that it waits for one.

    Raises
    ------
    UsageError
        Dask is not installed, or nobody answers.
    """

    def __init__(self, address: str, *, progress: Callable[[str], None] = lambda _: None) -> None:
        self._progress = progress
        self._waits = False
        try:
            self._dask: Any = import_module("distributed")
        except ImportError as error:
            raise UsageError(
                "Dask is not installed, which a cluster needs",
                hint="`pip install 'benchsweep[cluster]'` installs it.",
            ) from error
        self.address = address
        try:
            self._client = _client_class(self._dask)(address, timeout=_ANSWER_S, set_as_default=False)
        except Exception as error:  # whoever answers there may say anything, and be believed
            words = " ".join(str(error).split())[:200]
            raise UsageError(
                f"no Dask scheduler answers at {address}: {words}",
                hint="Check the address; it begins with tcp:// or tls://.",
            ) from error

    def run(self, work: Work, job: str, chunks: Iterator[list[Item]]) -> Generator[list[Any], None, None]:
        """Yield the results of each chunk as they come."""
        under_way: dict[Any, list[Item]] = {}
        try:
            while True:
                threads = self._threads()
                most = _FOR_EACH_WORKER * max(threads, 1)
                while len(under_way) < most and (chunk := next(chunks, None)):
                    under_way[self._client.submit(work, job, chunk, pure=False)] = chunk
                if not under_way:
                    return
                self._say_once(threads)
                for future in self._finished(list(under_way)):
                    chunk = under_way.pop(future)
                    yield from self._results(future, work, job, chunk)
        finally:
            self._client.cancel(list(under_way))
            self._client.close()

    def _threads(self) -> int:
        """Return how many threads all workers have."""
        return sum(self._client.nthreads().values())

    def _say_once(self, threads: int) -> None:
        if not threads and not self._waits:
            self._progress(
                f"the cluster at {self.address} has no workers: waiting {_WITHOUT_WORKERS_S:.0f} s for one"
            )
        self._waits = not threads

    def _finished(self, futures: list[Any]) -> list[Any]:
        """Return those that are done, at least one.

        Raises
        ------
        UsageError
            The cluster has had no worker for a minute.
        """
        seen = time.monotonic()
        while True:
            try:
                with self._client.as_current():  # a program that uses Dask itself keeps its own
                    waited = self._dask.wait(futures, timeout=_LOOK_S, return_when="FIRST_COMPLETED")
                return list(waited.done)
            except TimeoutError:
                threads = self._threads()
                self._say_once(threads)
                if threads:
                    seen = time.monotonic()
                elif time.monotonic() - seen > _WITHOUT_WORKERS_S:
                    raise UsageError(
                        f"the cluster at {self.address} has no workers",
                        hint="Start workers; what was finished is kept.",
                    ) from None

    def _results(
        self, future: Any, work: Work, job: str, chunk: list[Item]
    ) -> Generator[list[Any], None, None]:
        try:
            yield future.result()
        except self._dask.KilledWorker:
            # Dask itself tried it on several workers.
            for item in chunk:
                try:
                    alone = self._client.submit(work, job, [item], pure=False)
                    self._finished([alone])
                    yield alone.result()
                except self._dask.KilledWorker:
                    yield [Graded(item, problem="every worker that read it died")]
        except ImportError as error:
            raise UsageError(
                f"a worker of {self.address} lacks what is needed: {error}",
                hint="Install the same versions of benchsweep, numpy and scipy on every worker.",
            ) from error
