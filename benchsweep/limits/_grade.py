from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._adjust import Adjuster, Key, Unadjustable
from benchsweep.limits._decision import SIMPLE, Decision
from benchsweep.limits._expected import expected_keys, why_missing
from benchsweep.limits._judge import judged, worst_outcome
from benchsweep.limits._line import LimitLine
from benchsweep.limits._margins import STRETCHES, LineOnGrid, Margins, margins_of, undecided_row
from benchsweep.limits._notes import dc_notes, decision_notes, standing_notes, wiring_notes
from benchsweep.limits._requirement import Requirement
from benchsweep.limits._temperature import Conditions
from benchsweep.limits._values import checked_length, length_for
from benchsweep.records import Interval, Outcome, Trace, Verdict, VerdictRow, WiringReport

__all__ = ["Assess", "MissingLength", "grade", "whole_outcome"]

Assess = Callable[[Sequence[tuple[Trace, NDArray[np.intp]]]], Sequence[Interval | None]]
"""From some points of some traces (indices into the grid of the trace) to their expanded uncertainties.

None for a trace of which no uncertainty is known.
"""

MissingLength = Literal["error", "undecided"]
"""What a limit that depends on the length does when nobody gave one."""


def grade(  # noqa: PLR0913 - all but two are named, and each is a thing of its own
    traces: Sequence[Trace],
    requirement: Requirement,
    *,
    specimen: str,
    record: str = "",
    length_m: float | None = None,
    conditions: Conditions | None = None,
    missing_length: MissingLength = "error",
    decision: Decision = SIMPLE,
    wiring: WiringReport | None = None,
    assess: Assess | None = None,
) -> Verdict:
    """Grade every trace that `requirement` limits.

    The margin of a row is the smallest distance to the limit in the band of the line, on unrounded values:
    value - limit for a ``min`` line, limit - value for a ``max`` line. A trace that is missing for one of
    the four pairs or ends makes an undecided row, and so does a sweep that does not reach over the whole
    line, unless what was measured fails already.

    Values are held against the limit as the requirement wants them: below the loss of the disturbing pair
    where a line says so, insertion loss at the reference temperature, parameters of a cable at the reference
    length (`Adjuster`). A row tells the values that were graded, and in its note what was done to them; their
    uncertainty is that of the trace as measured, times what the correction multiplies an error by.

    A rule with a guard band looks at up to five points of a trace, the smallest margin of each fifth of it;
    the worst outcome of them is that of the row, see `Decision`. Limits are one-sided, so the guard band is
    the factor times the expanded uncertainty on the side of the limit: how much lower a value may be that has
    a minimum, how much higher one that has a maximum. A row always tells margin, value and uncertainty of its
    worst-margin point, and in its note when another point decided. Limits that contain the uncertainty
    already (key ``contains_uncertainty``) get no guard band.

    The whole fails when a row fails or the wiring check found a fault: a cord with a reversed pair can have
    perfect losses. Then come conditional fails, then undecided rows, then conditional passes. Wiring that
    could not be told is noted and changes nothing.

    Parameters
    ----------
    length_m
        Length of the specimen, for limits that depend on it and for a cable that is brought to another one.
    conditions
        Temperature and construction, for requirements that state a temperature.
    missing_length
        ``undecided``: rows whose limit needs the length are undecided when there is none, in place of an
        error: for requirements that nobody named one by one.
    decision
        How results are decided.
    assess
        Called once with all points whose uncertainty is wanted; None when there is no budget: then a rule
        with a guard band accepts nothing.

    Raises
    ------
    UsageError
        A limit needs a length and none was given, or the length makes no sense.
    """
    length_m = checked_length(length_m)
    measured: dict[Key, Trace] = {(t.parameter, t.end, t.pairs): t for t in traces}
    adjuster = Adjuster(requirement, measured, length_m, conditions or Conditions())
    found: list[Margins | VerdictRow] = []
    for line in requirement.lines:
        if missing_length == "undecided" and line.needs_length and length_m is None:
            found += _without_length(line)
            continue
        guarded = assess is not None and decision.has_guard_band
        stretches = STRETCHES if guarded and not requirement.allows_for_uncertainty(line) else 1
        found += _margins(line, length_for(requirement, line, length_m), adjuster, measured, stretches)
    intervals = iter(_intervals(found, assess))
    rows = [
        item
        if isinstance(item, VerdictRow)
        else judged(
            item,
            decision,
            next(intervals),
            contains_uncertainty=requirement.allows_for_uncertainty(item.line),
        )
        for item in found
    ]
    return Verdict(
        record=record,
        specimen=specimen,
        requirement=requirement.name,
        decision_rule=str(decision),
        length_m=length_m if requirement.needs_length or requirement.normalise is not None else None,
        outcome=whole_outcome(rows, wiring),
        rows=tuple(rows),
        wiring=wiring,
        notes=(
            *wiring_notes(wiring),
            *requirement.origin_notes,
            *adjuster.notes(),
            *decision_notes(requirement, decision, assessed=assess is not None),
            *dc_notes(requirement),
            *standing_notes(rows),
        ),
    )


def _without_length(line: LimitLine) -> list[VerdictRow]:
    words = "the limit depends on the length of the specimen, which was not given"
    return [undecided_row(key, line.weakest_standing, words) for key in expected_keys(line.parameter)]


def _margins(
    line: LimitLine,
    length_m: float | None,
    adjuster: Adjuster,
    measured: Mapping[Key, Trace],
    stretches: int,
) -> list[Margins | VerdictRow]:
    expected = expected_keys(line.parameter)
    others = [key for key in measured if key[0] == line.parameter and key not in expected]
    found: list[Margins | VerdictRow] = []
    on_grid: LineOnGrid | None = None
    for key in (*expected, *others):
        trace = measured.get(key)
        if trace is None:
            found.append(undecided_row(key, line.weakest_standing, why_missing(line.parameter)))
            continue
        try:
            adjusted = adjuster.adjust(trace, line)
        except Unadjustable as reason:
            found.append(undecided_row(key, line.weakest_standing, f"cannot be graded: {reason}"))
            continue
        if on_grid is None or not on_grid.is_on(trace.frequency_hz):
            on_grid = LineOnGrid.of(line, trace.frequency_hz, length_m)
        found.append(margins_of(adjusted, line, on_grid, measured, stretches=stretches))
    return found


def _intervals(found: Sequence[Margins | VerdictRow], assess: Assess | None) -> list[Interval | None]:
    """Return the uncertainty of the graded values at the points of every margin."""
    margins = [item for item in found if isinstance(item, Margins)]
    if assess is None or not margins:
        return [None] * len(margins)
    intervals = assess([(item.adjusted.measured, item.points) for item in margins])
    return [
        interval
        if interval is None or item.adjusted.gain == 1.0
        else Interval(interval.low * item.adjusted.gain, interval.high * item.adjusted.gain)
        for item, interval in zip(margins, intervals, strict=True)
    ]


def whole_outcome(rows: Sequence[VerdictRow], wiring: WiringReport | None) -> Outcome:
    """Return the outcome of the whole: faulty wiring fails, else the worst row decides; see `grade`."""
    if wiring is not None and any(finding.kind != "unclear" for finding in wiring.findings):
        return Outcome.FAIL
    return worst_outcome(row.outcome for row in rows)
