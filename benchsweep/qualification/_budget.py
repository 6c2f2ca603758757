"""The uncertainty budget of a measurement at the points that matter, for people and as a document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.limits import parse_parameter
from benchsweep.qualification._json import json_number
from benchsweep.qualification._reduction import Evaluation
from benchsweep.records import BudgetRow, Parameter, Trace, Verdict

__all__ = ["budget_document", "budget_parameters", "budget_rows"]

# What has to stay small; everything else has to be large.
_MAXIMA = frozenset({Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW})

_Chosen = tuple[Trace, int, float | None]


def budget_parameters(names: Sequence[str]) -> tuple[Parameter, ...]:
    """Return the parameters of those names, each once.

    Raises
    ------
    UnknownName
    """
    return tuple(dict.fromkeys(parse_parameter(name) for name in names))


def budget_rows(
    evaluation: Evaluation, verdict: Verdict | None = None, *, parameters: Sequence[Parameter] = ()
) -> tuple[BudgetRow, ...]:
    """Return the budget at the worst point of each parameter; of chosen `parameters`, of every trace.

    Parameters
    ----------
    verdict
        The worst point is the one with the smallest margin. Without a verdict it is the one with the worst
        value: the largest insertion loss, delay and skew, the smallest of everything else.
    parameters
        Of these every trace is told; none: the worst trace of every parameter.

    Raises
    ------
    UsageError
        The measurement has no budget, or nothing of what was asked for.
    """
    model = evaluation.model
    if model is None:
        raise UsageError(
            f"{evaluation.measurement.specimen.identifier}: measured without an uncertainty budget",
            hint="Name one with --budget-name.",
        )
    wanted = set(parameters)
    chosen = _by_value(evaluation) if verdict is None else _by_margin(evaluation, verdict)
    if wanted:
        chosen = [item for item in chosen if item[0].parameter in wanted]
    else:
        worst: dict[Parameter, _Chosen] = {}
        for item in chosen:
            kept = worst.get(item[0].parameter)
            if kept is None or _badness(item) < _badness(kept):
                worst[item[0].parameter] = item
        chosen = list(worst.values())
    if wanted and not chosen:
        raise UsageError(
            f"there is no value of {', '.join(sorted(wanted))} here whose budget could be told",
            hint="Leave --parameter out to see which parameters there are.",
        )
    order = list(Parameter)
    chosen.sort(key=lambda item: (order.index(item[0].parameter), item[0].end or "", item[0].pairs))
    requests = [(trace, np.array([at], dtype=np.intp)) for trace, at, _ in chosen]
    return tuple(
        BudgetRow(
            parameter=trace.parameter,
            end=trace.end,
            pairs=trace.pairs,
            frequency_hz=float(trace.frequency_hz[at]),
            value=float(trace.value[at]),
            uncertainty_low=float(interval.low[0]),
            uncertainty_high=float(interval.high[0]),
            terms=model.contributions(trace, at),
        )
        for (trace, at, _), interval in zip(chosen, model.intervals(requests), strict=True)
    )


def _badness(item: _Chosen) -> float:
    trace, at, margin = item
    if margin is not None:
        return margin
    return float(-trace.value[at] if trace.parameter in _MAXIMA else trace.value[at])


def _by_margin(evaluation: Evaluation, verdict: Verdict) -> list[_Chosen]:
    traces = {(trace.parameter, trace.end, trace.pairs): trace for trace in evaluation.traces}
    chosen: list[_Chosen] = []
    for row in verdict.rows:
        trace = traces.get((row.parameter, row.end, row.pairs))
        if trace is not None and row.frequency_hz is not None:
            at = int(np.argmin(np.abs(trace.frequency_hz - row.frequency_hz)))
            chosen.append((trace, at, row.worst_margin_db))
    return chosen


def _by_value(evaluation: Evaluation) -> list[_Chosen]:
    return [
        (
            trace,
            int(np.argmax(trace.value) if trace.parameter in _MAXIMA else np.argmin(trace.value)),
            None,
        )
        for trace in evaluation.traces
    ]


def budget_document(
    rows: Sequence[BudgetRow], evaluation: Evaluation, *, record: str, requirement: str | None = None
) -> dict[str, Any]:
    """Return ``benchsweep.budget/1``: for each row its uncertainty (k = 2) and terms, the largest first."""
    return {
        "schema": "benchsweep.budget/1",
        "record": record,
        "specimen": evaluation.measurement.specimen.identifier,
        "requirement": requirement,
        "rows": [
            {
                "parameter": str(row.parameter),
                "end": row.end,
                "pairs": list(row.pairs),
                "frequency_hz": row.frequency_hz,
                "value": json_number(row.value),
                "unit": row.parameter.unit,
                "expanded_uncertainty": json_number(row.expanded_uncertainty),
                "uncertainty_low": json_number(row.uncertainty_low),
                "uncertainty_high": json_number(row.uncertainty_high),
                "terms": [
                    {
                        "term": term.term,
                        "standard_uncertainty": json_number(term.standard_uncertainty),
                        "share": json_number(term.share),
                        "standing": term.standing,
                        "source": term.source,
                    }
                    for term in row.terms
                ],
            }
            for row in rows
        ],
    }
