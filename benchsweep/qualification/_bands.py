"""How sure a trace is all along its grid, where a report draws it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep import limits
from benchsweep.qualification._reduction import Evaluation, conditions_of
from benchsweep.records import End, Outcome, Parameter, Trace, Verdict, VerdictRow

__all__ = ["uncertainty_bands"]

_Key = tuple[Parameter, End | None, tuple[str, ...]]
_Real = NDArray[np.float64]

_ORDER = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL, Outcome.UNDECIDED, Outcome.CONDITIONAL_PASS, Outcome.PASS)

_AT_ONCE = 500
"""Points that are asked for at once: arrays of more leave the cache, and every point takes twice as long."""


def uncertainty_bands(
    evaluation: Evaluation,
    requirement: limits.Requirement,
    verdict: Verdict,
    *,
    conditions: limits.Conditions | None = None,
) -> Mapping[_Key, tuple[_Real, _Real]]:
    """Return how far the true value may lie from the worst trace of each parameter and end, everywhere.

    The figures are those of the verdict: at the frequency of the worst margin they are its
    `uncertainty_low` and `uncertainty_high`.

    Parameters
    ----------
    requirement, verdict, conditions
        What `evaluation` was graded against, how, and with which conditions; see `judge_evaluation`.

    Returns
    -------
    dict
        Parameter, end and pairs -> below and above, ``(n_freq,)`` float64 each, k = 2, in the unit of the
        trace as it is graded: where it was brought to another length or temperature, times what that makes of
        an error. Above is infinite where the residual errors may be as large as the signal. Of rows that are
        undecided and of decided ones the worst both. Empty without an uncertainty budget.
    """
    if evaluation.model is None:
        return {}
    traces = {(trace.parameter, trace.end, trace.pairs): trace for trace in evaluation.traces}
    worst = [key for key in _worst(verdict.rows) if key in traces]
    if not worst:
        return {}
    measurement = evaluation.measurement
    gains = limits.error_gains(
        evaluation.traces,
        requirement,
        length_m=measurement.specimen.length_m,
        conditions=conditions_of(measurement, requirement, conditions),
    )
    sides = _sides(evaluation, [traces[key] for key in worst])
    return {
        key: (low * gains.get(key, 1.0), high * gains.get(key, 1.0))
        for key, (low, high) in zip(worst, sides, strict=True)
    }


def _worst(rows: Sequence[VerdictRow]) -> list[_Key]:
    found: dict[tuple[Parameter, End | None, bool], _Key] = {}
    counted = [row for row in rows if row.worst_margin_db is not None]
    for row in sorted(counted, key=_severity):
        group = (row.parameter, row.end, row.outcome is Outcome.UNDECIDED)
        found.setdefault(group, (row.parameter, row.end, row.pairs))
    return list(found.values())


def _severity(row: VerdictRow) -> tuple[int, float]:
    margin = row.worst_margin_db
    return _ORDER.index(row.outcome), math.inf if margin is None else margin


def _sides(evaluation: Evaluation, traces: Sequence[Trace]) -> list[tuple[_Real, _Real]]:
    assert evaluation.model is not None  # noqa: S101 - the caller asked
    size = evaluation.measurement.corrected.frequency_hz.size
    pieces = [
        evaluation.model.intervals(
            [(trace, np.arange(begin, min(begin + _AT_ONCE, size))) for trace in traces]
        )
        for begin in range(0, size, _AT_ONCE)
    ]
    return [
        (np.concatenate([one.low for one in of_trace]), np.concatenate([one.high for one in of_trace]))
        for of_trace in zip(*pieces, strict=True)
    ]
