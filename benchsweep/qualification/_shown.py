"""What a drawing needs to know of a graded measurement besides its verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep import cabling, limits
from benchsweep.qualification._alien import sufficiency
from benchsweep.qualification._reduction import Evaluation, conditions_of
from benchsweep.records import AlienShare, End, Parameter, Trace, Verdict

__all__ = ["Shown", "disturbers_shown", "shown"]

_SUMS = (Parameter.PS_ANEXT, Parameter.PS_AACR_F)


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """How one requirement looks at the traces of a measurement.

    Parameters
    ----------
    graded
        Those that it grades otherwise than as measured: brought to another length or temperature.
    not_counting
        Parameter, end and pairs of a trace -> ``(n_freq,)`` bool, True where its limit does not count.
    """

    graded: tuple[Trace, ...]
    not_counting: Mapping[tuple[Parameter, End | None, tuple[str, ...]], NDArray[np.bool_]]


def shown(
    evaluation: Evaluation,
    requirement: limits.Requirement,
    *,
    conditions: limits.Conditions | None = None,
) -> Shown:
    """Return how `requirement` looks at the traces of `evaluation`; `conditions` as in `grade_evaluation`."""
    measurement = evaluation.measurement
    measured = {(trace.parameter, trace.end, trace.pairs): trace.value for trace in evaluation.traces}
    graded = limits.as_graded(
        evaluation.traces,
        requirement,
        length_m=measurement.specimen.length_m,
        conditions=conditions_of(measurement, requirement, conditions),
    )
    return Shown(
        tuple(
            trace
            for trace in graded
            if not np.array_equal(trace.value, measured[trace.parameter, trace.end, trace.pairs])
        ),
        limits.not_counting(evaluation.traces, requirement),
    )


def disturbers_shown(evaluation: Evaluation, verdict: Verdict) -> tuple[tuple[AlienShare, ...], str]:
    """Return what each disturbing cable gives to the graded alien sums, and whether the cables are enough.

    Both are empty for a measurement without a bundle and for a verdict without alien rows.
    """
    rows = [row for row in verdict.rows if row.parameter in _SUMS and row.worst_margin_db is not None]
    if not rows or not evaluation.couplings:
        return (), ""
    enough = sufficiency(evaluation.couplings, verdict)
    shares = cabling.alien_shares(evaluation.couplings, evaluation.mixed, rows)
    return shares, "" if enough is None else enough.words
