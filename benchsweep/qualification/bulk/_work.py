"""The work on a chunk of records: a plain function of texts and names, which any worker can run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from threadpoolctl import threadpool_limits

from benchsweep import archive
from benchsweep.errors import ArchiveError, ArchiveUnreachable, BenchsweepError
from benchsweep.qualification._reduction import Evaluation, evaluate, judge_evaluation
from benchsweep.qualification.bulk._job import RegradeJob
from benchsweep.qualification.bulk._plain import read_corrections, to_plain
from benchsweep.records import Verdict

__all__ = ["Graded", "Item", "grade_chunk"]


@dataclass(frozen=True, slots=True)
class Item:
    """One record of a chunk.

    Parameters
    ----------
    source
        Path or URL.
    content_hash
        As the index of the archive has it.
    corrections
        What was corrected of it afterwards, as `corrections_text` writes it; empty when nothing was.
    before
        Requirement -> outcome of the newest grading that was kept before. It makes no other record: a run
        that is interrupted while it keeps its own verdicts still has those before them when it goes on.
    superseded
        That another record took its place, in words; empty when none did.
    """

    source: str
    content_hash: str
    corrections: str = ""
    before: Mapping[str, str] = field(default_factory=dict, compare=False)
    superseded: str = ""


@dataclass(frozen=True, slots=True)
class Graded:
    """What came of one record.

    Parameters
    ----------
    item
        Which record.
    outcomes
        One for each requirement; empty where it could not be graded.
    verdicts
        The verdicts as `to_plain` writes them; empty where it could not be graded.
    problem
        Why it could not be graded; empty where it was.
    damaged
        True where the file is to blame: damaged, locked, newer.
    specimen, lot, product, created_at
        Of the record, as corrected.
    corrections
        What was corrected of it afterwards, in words.
    """

    item: Item
    outcomes: tuple[str, ...] = ()
    verdicts: str = ""
    problem: str = ""
    damaged: bool = False
    specimen: str = ""
    lot: str = ""
    product: str = ""
    created_at: str = ""
    corrections: tuple[str, ...] = ()


def grade_chunk(job: str, items: Sequence[Item]) -> list[Graded]:
    """Read and grade some records, one after the other; a record that cannot be graded stops no other.

    Parameters
    ----------
    job
        From `RegradeJob.to_text`.

    Raises
    ------
    UsageError
        This worker has other versions than who asked.
    ArchiveUnreachable
        The store does not answer: no record is to blame.
    """
    told = RegradeJob.from_text(job)
    # One worker for a core: threads of the linear algebra would only stand in each other's way.
    with threadpool_limits(limits=1):
        return [_grade(told, item) for item in items]


def _grade(job: RegradeJob, item: Item) -> Graded:
    try:
        evaluation, verdicts = _verdicts(job, item)
    except ArchiveUnreachable:
        raise
    except BenchsweepError as error:
        return Graded(item, problem=error.message, damaged=isinstance(error, ArchiveError))
    if item.superseded:
        verdicts = tuple(replace(one, notes=(item.superseded, *one.notes)) for one in verdicts)
    measurement = evaluation.measurement
    return Graded(
        item,
        tuple(str(verdict.outcome) for verdict in verdicts),
        to_plain(verdicts),
        specimen=measurement.specimen.identifier,
        lot=measurement.specimen.lot,
        product=measurement.specimen.product,
        created_at=measurement.created_at,
        corrections=evaluation.noted.words,
    )


def _verdicts(job: RegradeJob, item: Item) -> tuple[Evaluation, tuple[Verdict, ...]]:
    """Return the verdicts of one record as corrected, the same that `grade` gives, and what they are made of.

    What needs a length that nobody gave is undecided: nobody named the record.

    Raises
    ------
    ArchiveError, DefinitionError, FixtureError, UsageError
    """
    read = archive.read_record if job.every_byte else archive.read_reduced
    measurement = read(job.place_of(item.source))
    if job.budget_toml:
        measurement = replace(measurement, budget_toml=job.budget_toml)
    evaluation = evaluate(
        measurement,
        length_m=job.length_m,
        notes=read_corrections(item.content_hash, item.corrections),
        parameters=job.parameters,
    )
    return evaluation, tuple(
        judge_evaluation(
            evaluation,
            requirement,
            record=item.source,
            decision_rule=job.decision_rule,
            conditions=job.conditions,
            missing_length="undecided",
        )
        for requirement in job.requirements
    )
