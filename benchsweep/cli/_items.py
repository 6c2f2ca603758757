from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchsweep.qualification import Qualified
    from benchsweep.report import ReportItem

__all__ = ["report_items"]


def report_items(result: Qualified) -> list[ReportItem]:
    """Return what the report needs of a graded specimen: one item for each requirement."""
    from benchsweep.qualification import budget_rows, record_hash
    from benchsweep.report import ReportItem

    digest = record_hash(result.record)
    return [
        ReportItem(
            measurement=result.evaluation.measurement,
            traces=result.evaluation.traces,
            verdict=graded.verdict,
            limits=graded.limits,
            content_hash=digest,
            budget=budget_rows(result.evaluation, graded.verdict) if result.evaluation.model else (),
        )
        for graded in result.graded
    ]
