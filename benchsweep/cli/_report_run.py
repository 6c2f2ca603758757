"""All records of a report, by one process or several, put together in order."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence

from benchsweep.cli._report_work import Placed, Reported, ReportJob, report_records
from benchsweep.errors import ArchiveError, BenchsweepError
from benchsweep.qualification.bulk import Graded, Item

__all__ = ["report_all"]

_WORTH_A_PROCESS = 16
"""With fewer records for each, other processes take longer to start than this one to do the work."""

_MOST_AT_ONCE = 5
_PORTIONS = 16
_EVERY_S = 2.0
_FEW = 8


def report_all(
    job: ReportJob,
    sources: Sequence[str],
    *,
    jobs: int | None,
    progress: Callable[[str], None],
) -> list[Reported]:
    """Return what came of each record, in order.

    Parameters
    ----------
    jobs
        How many processes; None: one for each core, as far as it is worth it.
    progress
        Told which records are done.

    Raises
    ------
    BenchsweepError
        That of the first record that cannot be reported; of others the `progress` is told.
    """
    from benchsweep.qualification import runner_for

    items = [Placed(source, "", place=place) for place, source in enumerate(sources, start=1)]
    jobs = None if jobs is None else max(1, min(jobs, len(items)))
    runner = runner_for(len(items), jobs=jobs, worth=_WORTH_A_PROCESS)
    found: dict[int, Reported] = {}
    tell = _teller(len(items), progress)
    for results in runner.run(report_records, job.to_text(), _chunks(items)):
        for one in results:
            reported = one if isinstance(one, Reported) else _died(one)
            found[reported.item.place] = reported
            tell(reported.item.source)
    in_order = [found[item.place] for item in items]
    _refuse(in_order, progress)
    return in_order


def _died(found: Graded) -> Reported:
    """Return what a runner says of a record at which a process died."""
    assert isinstance(found.item, Placed)  # noqa: S101 - those that it was given
    return Reported(found.item, error=ArchiveError(f"{found.item.source}: {found.problem}"))


def _chunks(items: Sequence[Placed]) -> Iterator[list[Item]]:
    """Yield the items in portions, so small that no process waits long for the last one."""
    size = max(1, min(_MOST_AT_ONCE, len(items) // _PORTIONS))
    for begin in range(0, len(items), size):
        yield list(items[begin : begin + size])


def _teller(total: int, progress: Callable[[str], None]) -> Callable[[str], None]:
    """Return what tells of each record of a few, of many now and then."""
    done = 0
    last = time.monotonic()

    def tell(source: str) -> None:
        nonlocal done, last
        done += 1
        if total <= _FEW or done == total or time.monotonic() - last > _EVERY_S:
            last = time.monotonic()
            progress(f"record {done} of {total}: {source}")

    return tell


def _refuse(found: Sequence[Reported], progress: Callable[[str], None]) -> None:
    errors: list[BenchsweepError] = [one.error for one in found if one.error is not None]
    for error in errors[1:]:
        progress(f"this cannot be reported either: {error.message}")
    if errors:
        raise errors[0]
