"""Grade every record of a selection again."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass, field
from typing import Any

from benchsweep.qualification.bulk._job import RegradeJob
from benchsweep.qualification.bulk._journal import Journal
from benchsweep.qualification.bulk._runners import Runner
from benchsweep.qualification.bulk._work import Graded, Item, grade_chunk
from benchsweep.records import Outcome

__all__ = ["Changed", "Regraded", "Sink", "exit_code_of_regrade", "regrade", "regrade_document"]

CHUNK = 16
"""How many records a worker gets at a time: as many are done again after a kill."""

Sink = Callable[[Iterator[Graded], Journal], None]
"""Takes what came of every graded record, in the order of the records.

The journal tells what of it an interrupted run has done.
"""


@dataclass(frozen=True, slots=True)
class Changed:
    """A verdict that is another one than the newest that was kept before against that requirement."""

    record: str
    specimen: str
    requirement: str
    before: str
    now: str


@dataclass(slots=True)
class Regraded:
    """What came of a bulk regrade.

    Parameters
    ----------
    records
        How many records were asked for.
    outcomes
        Requirement -> outcome -> how many records.
    damaged
        Record and why it cannot be read.
    not_graded
        Record and why it cannot be graded, though it can be read.
    compared
        How many verdicts there was a kept one to compare with.
    changed
        Those that are others than kept, in the order of the records.
    warnings
        Files that cannot be read and keep no record from being graded, and why.
    resumed
        How many were finished by an earlier, interrupted run.
    seconds
        How long this run took.
    """

    records: int
    outcomes: dict[str, Counter[str]]
    damaged: list[tuple[str, str]] = field(default_factory=list)
    not_graded: list[tuple[str, str]] = field(default_factory=list)
    compared: int = 0
    changed: list[Changed] = field(default_factory=list)
    warnings: list[tuple[str, str]] = field(default_factory=list)
    resumed: int = 0
    seconds: float = 0.0

    def add(self, result: Graded) -> None:
        """Count what came of one record."""
        if result.problem:
            (self.damaged if result.damaged else self.not_graded).append((result.item.source, result.problem))
        for (name, counts), outcome in zip(self.outcomes.items(), result.outcomes, strict=False):
            counts[outcome] += 1
            before = result.item.before.get(name)
            self.compared += before is not None
            if before not in (None, outcome):
                self.changed.append(Changed(result.item.source, result.specimen, name, before, outcome))


def regrade(
    items: Sequence[Item],
    job: RegradeJob,
    runner: Runner,
    *,
    archive_root: str,
    damaged: Sequence[tuple[str, str]] = (),
    sinks: Sequence[Sink] = (),
    afresh: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Regraded:
    """Grade records again; the records are not changed.

    The verdicts are those that `grade` gives, whoever does the work. An interrupted run (Ctrl-C, a kill, a
    power cut) goes on where it stopped when the same is asked for again: what is finished stands in a journal
    of this machine until all is done and the sinks have it.

    Parameters
    ----------
    items
        The records; the order is that of the results.
    archive_root
        Where they are from; part of what makes the job the same.
    damaged
        Records that are known already not to be readable, or folders that cannot be listed, and why.
    sinks
        Called one after the other when all is graded.
    afresh
        Forget what an interrupted run has finished.
    progress
        Called with how many records are done, and of how many.

    Raises
    ------
    UsageError
        The same job runs already, or a worker has other versions.
    """
    begun = time.monotonic()
    text = job.to_text()
    found = Regraded(len(items), {requirement.name: Counter() for requirement in job.requirements})
    journal = Journal({"archive": archive_root, "job": text}, afresh=afresh)
    try:
        waiting = [item for item in items if item not in journal]
        found.resumed = len(items) - len(waiting)
        for result in journal.results(item for item in items if item in journal):
            found.add(result)
        done = found.resumed
        # Closed at once when it is interrupted, and its workers with it.
        with closing(runner.run(grade_chunk, text, _chunks(waiting))) as chunks:
            for results in chunks:
                journal.add(results)
                done += len(results)
                for result in results:
                    found.add(result)
                if progress is not None:
                    progress(done, len(items))
        place = {item.source: number for number, item in enumerate(items)}
        found.damaged += damaged
        found.records += sum(source.endswith(".h5") for source, _ in damaged)
        for problems in (found.damaged, found.not_graded):
            problems.sort(key=lambda problem: place.get(problem[0], len(place)))
        found.changed.sort(key=lambda one: place[one.record])
        for sink in sinks:
            sink(journal.results(item for item in items if item in journal), journal)
    except BaseException:
        journal.close()
        raise
    journal.drop()
    found.seconds = time.monotonic() - begun
    return found


def _chunks(items: Iterable[Item]) -> Iterator[list[Item]]:
    chunk: list[Item] = []
    for item in items:
        chunk.append(item)
        if len(chunk) == CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


def regrade_document(found: Regraded) -> dict[str, Any]:
    """Return ``benchsweep.regrade/1``; ``outcomes`` counts verdicts, one for each record and requirement.

    ``records`` counts records alone, those that are damaged too; ``compared`` the verdicts that there was a
    kept one to compare with.
    """
    total: Counter[str] = Counter()
    for counts in found.outcomes.values():
        total.update(counts)
    graded = max((sum(counts.values()) for counts in found.outcomes.values()), default=0) - found.resumed
    return {
        "schema": "benchsweep.regrade/1",
        "records": found.records,
        "outcomes": _counted(total),
        "requirements": {name: _counted(counts) for name, counts in found.outcomes.items()},
        "seconds": round(found.seconds, 3),
        "records_per_second": round(graded / found.seconds, 1) if found.seconds > 0.0 else None,
        "compared": found.compared,
        "changed": [asdict(one) for one in found.changed],
        "resumed": found.resumed,
        "damaged": [{"record": record, "reason": reason} for record, reason in found.damaged],
        "not_graded": [{"record": record, "reason": reason} for record, reason in found.not_graded],
        "warnings": [{"file": file, "reason": reason} for file, reason in found.warnings],
    }


def _counted(counts: Counter[str]) -> dict[str, int]:
    return {str(outcome): counts[outcome] for outcome in Outcome}


def exit_code_of_regrade(found: Regraded) -> int:
    """Return 6 when a record is damaged, 1 when any fails, 3 when any is undecided or not graded, else 0."""
    if found.damaged:
        return 6
    seen = {outcome for counts in found.outcomes.values() for outcome in counts if counts[outcome]}
    if seen & {Outcome.FAIL, Outcome.CONDITIONAL_FAIL}:
        return 1
    return 3 if Outcome.UNDECIDED in seen or found.not_graded else 0
