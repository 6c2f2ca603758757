from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from benchsweep.limits._decision import SIMPLE, Decision
from benchsweep.limits._judge import judged, worst_outcome
from benchsweep.limits._line import LimitLine
from benchsweep.limits._margins import STRETCHES, Key, LineOnGrid, Margins, margins_of, undecided_row
from benchsweep.limits._requirement import Requirement
from benchsweep.limits._values import checked_length, length_for
from benchsweep.records import (
    FOUR_PAIRS,
    End,
    Interval,
    Outcome,
    Parameter,
    Trace,
    Verdict,
    VerdictRow,
    WiringReport,
)

__all__ = ["Assess", "grade", "whole_outcome"]

Assess = Callable[[Sequence[tuple[Trace, NDArray[np.intp]]]], Sequence[Interval]]
"""From some points of some traces (indices into the grid of the trace) to their expanded uncertainties."""

_ENDS: tuple[End, ...] = ("A", "B")
_ORDERED = frozenset({Parameter.FEXT, Parameter.ACR_N, Parameter.ACR_F})
_WITHOUT_END = frozenset({Parameter.DELAY, Parameter.SKEW})
_CONVERSION = frozenset({Parameter.TCL, Parameter.ELTCTL})
_COMBINED = frozenset({Parameter.NEXT, Parameter.SKEW})
_AVERAGES = frozenset({Parameter.PS_ANEXT_AVERAGE, Parameter.PS_AACR_F_AVERAGE})
_ALIEN = frozenset({Parameter.PS_ANEXT, Parameter.PS_AACR_F}) | _AVERAGES


def expected_keys(parameter: Parameter) -> tuple[Key, ...]:
    """Return the end and pairs of every trace that a four-pair specimen has of `parameter`."""
    groups: tuple[tuple[str, ...], ...] = tuple((pair,) for pair in FOUR_PAIRS)
    if parameter in _ORDERED:
        groups = tuple(permutations(FOUR_PAIRS, 2))
    elif parameter in _COMBINED:
        groups = tuple(combinations(FOUR_PAIRS, 2))
    elif parameter in _AVERAGES:
        groups = (FOUR_PAIRS,)
    ends: tuple[End | None, ...] = (None,) if parameter in _WITHOUT_END else _ENDS
    return tuple((parameter, end, pairs) for end in ends for pairs in groups)


def grade(
    traces: Sequence[Trace],
    requirement: Requirement,
    *,
    specimen: str,
    record: str = "",
    length_m: float | None = None,
    decision: Decision = SIMPLE,
    wiring: WiringReport | None = None,
    assess: Assess | None = None,
) -> Verdict:
    """Grade every trace that `requirement` limits.

    The margin of a row is the smallest distance to the limit in the band of the line, on unrounded values:
    value - limit for a ``min`` line, limit - value for a ``max`` line. A trace that is missing for one of
    the four pairs or ends makes an undecided row, and so does a sweep that does not reach over the whole
    line, unless what was measured fails already.

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
    found: list[Margins | VerdictRow] = []
    for line in requirement.lines:
        guarded = assess is not None and decision.has_guard_band
        stretches = STRETCHES if guarded and not requirement.allows_for_uncertainty(line) else 1
        found += _margins(line, length_for(requirement, line, length_m), measured, stretches)
    requests = [(item.trace, item.points) for item in found if isinstance(item, Margins)]
    intervals = iter(assess(requests) if assess is not None and requests else [])
    rows = [
        item
        if isinstance(item, VerdictRow)
        else judged(
            item,
            decision,
            None if assess is None else next(intervals),
            contains_uncertainty=requirement.allows_for_uncertainty(item.line),
        )
        for item in found
    ]
    return Verdict(
        record=record,
        specimen=specimen,
        requirement=requirement.name,
        decision_rule=str(decision),
        length_m=length_m if requirement.needs_length else None,
        outcome=whole_outcome(rows, wiring),
        rows=tuple(rows),
        wiring=wiring,
        notes=(
            *_wiring_notes(wiring),
            *_decision_notes(requirement, decision, assessed=assess is not None),
            *_standing_notes(rows),
        ),
    )


def _margins(
    line: LimitLine, length_m: float | None, measured: Mapping[Key, Trace], stretches: int
) -> list[Margins | VerdictRow]:
    expected = expected_keys(line.parameter)
    others = [key for key in measured if key[0] == line.parameter and key not in expected]
    found: list[Margins | VerdictRow] = []
    on_grid: LineOnGrid | None = None
    for key in (*expected, *others):
        trace = measured.get(key)
        if trace is None:
            found.append(undecided_row(key, line.weakest_standing, _why_missing(line.parameter)))
            continue
        if on_grid is None or not np.array_equal(on_grid.frequency_hz, trace.frequency_hz):
            on_grid = LineOnGrid.of(line, trace.frequency_hz, length_m)
        found.append(margins_of(trace, line, on_grid, measured, stretches=stretches))
    return found


def _why_missing(parameter: Parameter) -> str:
    if parameter in _WITHOUT_END:
        return "not measured, or the frequency step is too coarse to tell the delay: give the length"
    if parameter in _CONVERSION:
        return "not measured: that takes the common mode, through direct contacts or baluns with taps"
    if parameter in _ALIEN:
        return "not measured: that takes a bundle, every disturbing cable with all its pairs at that end"
    return "not measured"


def whole_outcome(rows: Sequence[VerdictRow], wiring: WiringReport | None) -> Outcome:
    """Return the outcome of the whole: faulty wiring fails, else the worst row decides; see `grade`."""
    if wiring is not None and any(finding.kind != "unclear" for finding in wiring.findings):
        return Outcome.FAIL
    return worst_outcome(row.outcome for row in rows)


def _wiring_notes(wiring: WiringReport | None) -> list[str]:
    if wiring is None:
        return []
    kinds = list(dict.fromkeys(finding.kind for finding in wiring.findings))
    notes = [
        "the wiring could not be told for certain" if kind == "unclear" else f"fails for its wiring: {kind}"
        for kind in kinds
    ]
    return notes if wiring.checked or notes else ["the wiring was not checked"]


def _decision_notes(requirement: Requirement, decision: Decision, *, assessed: bool) -> list[str]:
    if not (assessed or decision.has_guard_band):
        return []
    holding = [line.parameter for line in requirement.lines if requirement.allows_for_uncertainty(line)]
    if not (decision.has_guard_band and holding):
        return [decision.statement]
    named = ", ".join(str(parameter).replace("_", " ") for parameter in holding)
    return [
        decision.statement,
        f"no guard band is taken where the limit contains the uncertainty of measurement already: {named}",
    ]


def _standing_notes(rows: Sequence[VerdictRow]) -> list[str]:
    notes = []
    for standing in ("common-practice", "from-memory"):
        parameters = list(dict.fromkeys(row.parameter for row in rows if row.standing == standing))
        if parameters:
            notes.append(
                f"limits of standing {standing}: "
                + ", ".join(str(parameter).replace("_", " ") for parameter in parameters)
                + "; verify them against your own copy of the standard"
            )
    return notes
