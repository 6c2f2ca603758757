"""A comparison and a study as their reports need them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchsweep.qualification.comparisons import FieldTesterView, StudyView
    from benchsweep.report import ComparisonItem, StudyItem

__all__ = ["comparison_item", "study_item"]


def comparison_item(
    view: FieldTesterView, number: int | None, *, progress: Callable[[str], None]
) -> ComparisonItem:
    """Return what is reported of a comparison.

    Parameters
    ----------
    view
        The tester.
    number
        Of the comparison in its history, from 1; None: the last.
    progress
        Told what is being done.

    Raises
    ------
    UsageError
        There is no such comparison.
    """
    from benchsweep.qualification.comparisons import accuracy_at, comparison_traces, read_channel
    from benchsweep.report import ComparisonItem

    progress("reading the record and the tester's file")
    traces = comparison_traces(view, number)
    chosen = view.compared[traces.number - 1]
    channel = read_channel(view.folder, chosen.comparison.channel)
    return ComparisonItem(
        comparison=chosen.comparison,
        number=traces.number,
        tester=replace(view.registered, accuracy=accuracy_at(view, traces.number)),
        channel=channel.registered,
        repairs=chosen.repairs,
        differences=traces.differences,
        uncertainties=traces.uncertainties,
        earlier=tuple(each.comparison for each in view.compared[: traces.number - 1]),
        drift=view.drift if traces.number == len(view.compared) else None,
        due=(view.due, channel.due),
        digest=view.digest,
        temperature_degc=traces.temperature_degc,
        measured_at=traces.measured_at,
        simulated=traces.simulated,
        software=traces.software,
        standing=view.doubts,
    )


def study_item(view: StudyView) -> StudyItem:
    """Return what is reported of a study."""
    from benchsweep.report import StudyItem

    return StudyItem(
        view.planned, view.measured, view.results, view.units, view.digest, view.doubts, view.summary
    )
