"""The traces behind the worst margins of the reels of a lot, for plots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from benchsweep import limits
from benchsweep.errors import ArchiveLocked, ArchiveUnreachable, BenchsweepError
from benchsweep.qualification._reduction import conditions_of, evaluate, limit_curves
from benchsweep.qualification.lots._reading import LotRecord, conditions_told, place_of, read_for_lot
from benchsweep.qualification.lots._requirement_text import requirement_of
from benchsweep.qualification.lots._view import LotView
from benchsweep.records import LimitCurve, Parameter, ReelAdded, ReelMargin, Trace

__all__ = ["LotTraces", "lot_traces"]

_BINS = 200


@dataclass(frozen=True, slots=True, eq=False)
class LotTraces:
    """The worst trace of each parameter and end of every reel of a sample.

    Parameters
    ----------
    reels
        Reel -> its traces, as they are held against the limits (brought to length and temperature of the
        requirement), thinned: of each of 200 parts of the band or fewer the smallest and the largest value,
        and the point of the worst margin.
    limits
        Parameter -> the limit on the grid of the first reel.
    notes
        Why reels are missing, in words.
    simulated
        Reels that were measured on the simulated bench.
    software
        Packages that took part in each record, with their versions; different ones once.
    """

    reels: Mapping[str, tuple[Trace, ...]]
    limits: Mapping[Parameter, LimitCurve]
    notes: tuple[str, ...] = ()
    simulated: frozenset[str] = frozenset()
    software: tuple[Mapping[str, str], ...] = ()


def lot_traces(view: LotView) -> LotTraces:
    """Return the traces behind the worst margins of a lot; each record is read, one at a time.

    Raises
    ------
    LotRefused
        The requirement has another text now, and no grading keeps the old one.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The archive does not answer, or a grading cannot be read.
    """
    counting = view.state.counting
    if not counting:
        return LotTraces(MappingProxyType({}), MappingProxyType({}))
    requirement = requirement_of(view.folder, view.state)
    reels: dict[str, tuple[Trace, ...]] = {}
    curves: dict[Parameter, LimitCurve] = {}
    notes: list[str] = []
    simulated: set[str] = set()
    software: list[Mapping[str, str]] = []
    for reel, entry in counting.items():
        try:
            record = read_for_lot(place_of(view.folder, entry))
            reels[reel], found = _traces_of(view, entry, record, requirement)
        except (ArchiveLocked, ArchiveUnreachable):
            raise
        except BenchsweepError as error:
            notes.append(f"{reel}: {error.message}")
            continue
        for parameter, curve in found.items():
            curves.setdefault(parameter, curve)
        analyzer = record.raw.analyzer
        if analyzer is not None and analyzer.simulated:
            simulated.add(reel)
        if record.raw.software not in software:
            software.append(record.raw.software)
    return LotTraces(
        MappingProxyType(reels),
        MappingProxyType(curves),
        tuple(notes),
        frozenset(simulated),
        tuple(software),
    )


def _traces_of(
    view: LotView, entry: ReelAdded, record: LotRecord, requirement: limits.Requirement
) -> tuple[tuple[Trace, ...], dict[Parameter, LimitCurve]]:
    needed = limits.needed_parameters(requirement)
    evaluation = evaluate(record.raw, notes=record.notes, parameters=needed)
    measurement = evaluation.measurement
    graded = limits.as_graded(
        evaluation.traces,
        requirement,
        length_m=measurement.specimen.length_m,
        conditions=conditions_of(measurement, requirement, conditions_told(view.state)),
    )
    by_key = {(trace.parameter, trace.end, trace.pairs): trace for trace in graded}
    worst = [
        _thinned(trace, margin)
        for margin in entry.result.margins
        if (trace := by_key.get((margin.parameter, margin.end, margin.pairs))) is not None
    ]
    return tuple(worst), limit_curves(evaluation, requirement)


def _thinned(trace: Trace, margin: ReelMargin) -> Trace:
    """Return a trace with few enough points for a plot, its peaks among them."""
    size = trace.value.size
    if size <= 2 * _BINS:
        return trace
    kept = [0, size - 1]
    if margin.frequency_hz is not None:
        kept.append(int(np.argmin(np.abs(trace.frequency_hz - margin.frequency_hz))))
    width = -(-size // _BINS)
    first = np.arange(0, size, width)
    # The last part is filled up with its own last value, which adds no peak.
    parts = np.pad(trace.value, (0, first.size * width - size), mode="edge").reshape(-1, width)
    peaks = [first + parts.argmin(axis=1), first + parts.argmax(axis=1)]
    places = np.unique(np.minimum(np.concatenate([*peaks, kept]), size - 1))
    return replace(trace, frequency_hz=trace.frequency_hz[places], value=trace.value[places])
