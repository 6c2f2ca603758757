"""Check many files in several processes; the results come in the order of the files."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Literal

from benchsweep.archive.check import FileFacts, check_file
from benchsweep.errors import ArchiveError, ArchiveUnreachable, RecordNewer
from benchsweep.qualification._worker_pool import cores, submit, worker_pool

__all__ = ["CheckedFile", "check_all"]

# Files that one process gets at once: a pipe costs less than a thousandth of reading them.
_CHUNK = 8
# After so long it is known how long the rest will take, be the files large or small, here or in a store.
_LOOKS_AFTER_S = 0.5
# Until other processes have started and read their program, and what their results cost.
_START_S = 1.0


@dataclass(frozen=True, slots=True)
class CheckedFile:
    """What came of one file.

    Parameters
    ----------
    source
        Its path or address.
    facts
        None when it could not be checked.
    trouble
        ``damaged``, ``newer``, or empty.
    reason
        Why, without the name of the file.
    """

    source: str
    facts: FileFacts | None
    trouble: Literal["", "damaged", "newer"] = ""
    reason: str = ""


_Work = Callable[[Sequence[Path | str]], list[CheckedFile]]


def check_all(
    sources: Sequence[Path | str], jobs: int | None = None, *, every_item: bool = False
) -> Iterator[CheckedFile]:
    """Check files, in `jobs` processes; None: in this one, and in one for each core where that ends sooner.

    A file on which the process that reads it dies is damaged; the others are checked all the same. Few files
    are under way at once, whatever their number. `every_item` as for `archive.check.check_file`.

    Raises
    ------
    ArchiveUnreachable
        The drive or the store went.
    """
    work = partial(_check_chunk, every_item=every_item)
    waiting = deque(sources[first : first + _CHUNK] for first in range(0, len(sources), _CHUNK))
    began, many, settled, jobs = time.monotonic(), len(waiting), jobs is not None, jobs or 1
    while waiting and jobs == 1:
        yield from work(waiting.popleft())
        took = time.monotonic() - began
        if not settled and took > _LOOKS_AFTER_S:
            settled, left_s = True, took * len(waiting) / (many - len(waiting))
            jobs = cores() if _START_S + left_s / cores() < left_s else 1
    while waiting:
        try:
            yield from _in_processes(work, waiting, jobs)
        except BrokenProcessPool:
            # One of the files under way killed its reader; those of the first chunk are tried one by one.
            yield from _one_by_one(work, waiting.popleft())


def _in_processes(work: _Work, waiting: deque[Sequence[Path | str]], jobs: int) -> Iterator[CheckedFile]:
    """Check the chunks from the left and drop each when its results are out."""
    with worker_pool(jobs) as pool:
        under_way: deque[Future[list[CheckedFile]]] = deque()
        ahead = iter(tuple(waiting))
        while waiting:
            # One more for each process, so that none waits for the next.
            while len(under_way) < 2 * jobs and (chunk := next(ahead, None)) is not None:
                under_way.append(submit(pool, work, chunk))
            results = under_way[0].result()
            under_way.popleft()
            waiting.popleft()
            yield from results


def _one_by_one(work: _Work, sources: Sequence[Path | str]) -> Iterator[CheckedFile]:
    """Check files in another process, in a new one after each at which it died."""
    left = deque(sources)
    while left:
        with worker_pool(1) as pool:
            try:
                while left:
                    yield submit(pool, work, [left[0]]).result()[0]
                    left.popleft()
            except BrokenProcessPool:
                yield CheckedFile(str(left.popleft()), None, "damaged", "the process that read it died")


def _check_chunk(sources: Sequence[Path | str], *, every_item: bool) -> list[CheckedFile]:
    return [_check(source, every_item) for source in sources]


def _check(source: Path | str, every_item: bool) -> CheckedFile:
    try:
        return CheckedFile(str(source), check_file(source, every_item=every_item))
    except ArchiveUnreachable:
        raise
    except RecordNewer as error:
        return CheckedFile(str(source), None, "newer", _without(source, error))
    except ArchiveError as error:
        return CheckedFile(str(source), None, "damaged", _without(source, error))


def _without(source: Path | str, error: ArchiveError) -> str:
    return error.message.removeprefix(f"{source}: ")
