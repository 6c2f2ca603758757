"""The work on one record of a report, from the file to its finished part: what any process can do."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from benchsweep.errors import BenchsweepError
from benchsweep.qualification.bulk import Item, RegradeJob

if TYPE_CHECKING:
    from benchsweep.records import Verdict
    from benchsweep.report import ReportPart, Texts

__all__ = ["Detail", "Placed", "ReportJob", "Reported", "report_records"]

Detail = Literal["full", "brief"]


@dataclass(frozen=True, slots=True)
class ReportJob:
    """How records are reported, as one text that any process understands.

    Parameters
    ----------
    grading
        Requirements, rule, length, conditions.
    budget
        Name of the uncertainty budget in place of those of the records; None: their own.
    by_pattern
        Names of the requirements that a pattern chose.
    sweep
        Of a series: which one; None: the last.
    language
        Name or file of the texts.
    detail
        How much is told of each.
    """

    grading: RegradeJob
    budget: str | None
    by_pattern: tuple[str, ...]
    sweep: int | None
    language: str
    detail: Detail

    def to_text(self) -> str:
        """Return everything as JSON."""
        rest = {name: getattr(self, name) for name in ("budget", "by_pattern", "sweep", "language", "detail")}
        return json.dumps({"grading": self.grading.to_text(), **rest})

    @staticmethod
    def from_text(text: str) -> ReportJob:
        """Return the job that `to_text` wrote."""
        return _read(text)


@lru_cache(maxsize=2)
def _read(text: str) -> ReportJob:
    told = json.loads(text)
    grading = RegradeJob.from_text(told.pop("grading"))
    return ReportJob(grading, **{**told, "by_pattern": tuple(told["by_pattern"])})


@dataclass(frozen=True, slots=True)
class Placed(Item):
    """A record, and the place of its part in the report."""

    place: int = 0


@dataclass(frozen=True, slots=True)
class Reported:
    """What came of one record.

    Parameters
    ----------
    item
        Which record.
    part
        Its part of the report; None where it could not be made.
    verdicts
        One for each requirement.
    error
        Why it could not be reported; None where it was.
    """

    item: Placed
    part: ReportPart | None = None
    verdicts: tuple[Verdict, ...] = ()
    error: BenchsweepError | None = None


def report_records(job: str, items: Sequence[Item]) -> list[Reported]:
    """Read, grade and draw some records, one after the other; one that cannot be reported stops no other.

    Parameters
    ----------
    job
        From `ReportJob.to_text`.
    items
        `Placed`.
    """
    from threadpoolctl import threadpool_limits

    told = ReportJob.from_text(job)
    # One process for a core: threads of the linear algebra would only stand in each other's way.
    with threadpool_limits(limits=1):
        return [_report(told, item) for item in items if isinstance(item, Placed)]


def _report(job: ReportJob, item: Placed) -> Reported:
    from benchsweep.cli._items import report_items
    from benchsweep.cli._series import grade_any
    from benchsweep.qualification import about_record, tell_superseded
    from benchsweep.report import report_part

    grading = job.grading
    try:
        graded, number = grade_any(
            item.source if "://" in item.source else Path(item.source),
            grading.requirements,
            sweep=job.sweep,
            length_m=grading.length_m,
            decision_rule=grading.decision_rule,
            budget=job.budget,
            conditions=grading.conditions,
            by_pattern=job.by_pattern,
        )
        with about_record(item.source):
            graded = tell_superseded(graded)
            made = report_items(
                graded, grading.requirements, conditions=grading.conditions, detail=job.detail
            )
            group = [replace(one, sweep=number) for one in made]
            part = report_part(group, _texts(job.language), place=item.place, detail=job.detail)
    except BenchsweepError as error:
        return Reported(item, error=error)
    return Reported(item, part, graded.verdicts)


@lru_cache(maxsize=1)
def _texts(language: str) -> Texts:
    from benchsweep.report import load_texts

    return load_texts(language)
