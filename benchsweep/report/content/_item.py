"""One graded measurement of a report, and several of one measurement together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import (
    BudgetRow,
    Comment,
    End,
    LimitCurve,
    Measurement,
    Parameter,
    Trace,
    Verdict,
)
from benchsweep.report.content._findings import Findings, KeptOutcome

__all__ = ["ReportItem", "TraceKey", "findings_of", "grouped", "trace_key"]

TraceKey: TypeAlias = tuple[Parameter, End | None, tuple[str, ...]]


@dataclass(frozen=True)
class ReportItem:
    """One graded measurement of a report. Items of one measurement that follow each other share a section.

    Parameters
    ----------
    measurement
        What was measured.
    traces
        The parameters computed from it.
    verdict
        How they were graded.
    limits
        The limit line of each parameter on the grid, for the charts.
    content_hash
        Hash that names the content of the record; empty when it is not stored.
    sweep
        Number of the sweep when the record is a series; else None.
    budget
        The uncertainty budget at the points that matter; empty when there is none.
    not_counting
        Of a trace: ``(n_freq,)`` bool, True where its limit does not count for it; traces not named count.
    graded
        The traces as the requirement grades them, where that is not as measured: brought to another length or
        temperature.
    findings
        What else was found out about the specimen; None: nothing was looked for.
    comments
        What was said of the record afterwards, in time order.
    bands
        For the worst trace of each parameter and end: how far the true values may lie below and above it,
        ``(n_freq,)`` float64 each, k = 2, in the unit of the trace; traces not named have none.
    title, edition
        Of the requirement.
    kept
        What kept gradings say of the specimen against the same requirement, in the order of their making.
    """

    measurement: Measurement
    traces: Sequence[Trace]
    verdict: Verdict
    limits: Mapping[Parameter, LimitCurve] = field(default_factory=dict)
    content_hash: str = ""
    sweep: int | None = None
    budget: Sequence[BudgetRow] = ()
    not_counting: Mapping[TraceKey, NDArray[np.bool_]] = field(default_factory=dict)
    graded: Sequence[Trace] = ()
    findings: Findings | None = None
    comments: Sequence[Comment] = ()
    bands: Mapping[TraceKey, tuple[NDArray[np.float64], NDArray[np.float64]]] = field(default_factory=dict)
    title: str = ""
    edition: str = ""
    kept: Sequence[KeptOutcome] = ()


def grouped(items: Sequence[ReportItem]) -> list[tuple[ReportItem, ...]]:
    """Return the items in order, those of one measurement that follow each other together."""
    groups: list[list[ReportItem]] = []
    for item in items:
        last = groups[-1][-1] if groups else None
        if last is not None and last.measurement is item.measurement and last.sweep == item.sweep:
            groups[-1].append(item)
        else:
            groups.append([item])
    return [tuple(group) for group in groups]


def findings_of(group: Sequence[ReportItem]) -> Findings:
    """Return what was found out about the specimen; nothing when nothing was looked for."""
    return next((item.findings for item in group if item.findings is not None), None) or Findings()


def trace_key(trace: Trace) -> TraceKey:
    """Return what names a trace among those of a measurement."""
    return trace.parameter, trace.end, trace.pairs
