"""What moved, by the series of all channels and testers of an archive together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from benchsweep.qualification.comparisons._check_values import parameter_of
from benchsweep.qualification.comparisons._histories import ChannelState, FieldTesterState, days_between
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.records import ComparedPoint, Comparison, Drift, Parameter
from benchsweep.statistics import agreement

__all__ = ["attributed", "decisive_points", "mean_differences"]

Relevant = Callable[[str, str], bool]
"""Whether a cause, as its kind and name, can be the one of what moved."""


def attributed(
    moved: Mapping[str, int],
    channels: Mapping[str, ChannelState],
    testers: Mapping[str, FieldTesterState],
    relevant: Relevant,
) -> Drift | None:
    """Return what moved the parameters of some check values or differences; None: the series do not tell.

    For each of these parameters the mean of the check values of every channel and the mean differences of
    every tester on every channel are explained together by one cause (`attribute_drift`).

    Parameters
    ----------
    moved
        By name of a check value or a difference.
    channels, testers
        All of an archive.
    """
    rules = comparison_rules().stability
    parameters = tuple(dict.fromkeys(parameter_of(name) for name in moved))
    unclear: Drift | None = None
    for parameter in parameters:
        of_channels = {name: _channel(each, parameter) for name, each in channels.items()}
        of_testers = {name: _tester(each, parameter) for name, each in testers.items()}
        found = agreement.attribute_drift(
            {name: series for name, series in of_channels.items() if series is not None},
            of_testers,
            baseline=rules.fewest,
            confidence=rules.confidence,
            together=len(parameters),
            least_deviation=(
                rules.least_deviation_ns if parameter.unit == "ns" else rules.least_deviation_db
            ),
        )
        if found.cause is not None and relevant(*found.cause):
            words = tuple(f"{parameter.term} ({parameter.unit}): {word}" for word in found.words)
            told = Drift(found.moved, words, found.charts, found.cause)
            if told.moved != "unclear":
                return told
            unclear = unclear or told
    return unclear


def mean_differences(comparison: Comparison) -> Mapping[Parameter, float]:
    """Return the mean difference of the deciding points of each parameter; empty where something misfits."""
    return {
        parameter: float(np.mean([point.difference for point in points]))
        for parameter, points in decisive_points(comparison).items()
    }


def decisive_points(comparison: Comparison) -> Mapping[Parameter, list[ComparedPoint]]:
    """Return the deciding points of each parameter; empty where something misfits.

    Also where a part of the band was told, or few traces: such are not like those that tell of all.
    """
    found: dict[Parameter, list[ComparedPoint]] = defaultdict(list)
    if any(suspicion.hinders for suspicion in comparison.suspicions) or not comparison.whole_band:
        return found
    compared = sum(row.decisive is not None for row in comparison.rows)
    if compared < comparison_rules().compare.due_share * comparison.limited:
        return found
    for row in comparison.rows:
        if row.decisive is not None:
            found[row.parameter].append(row.decisive)
    return found


def _channel(state: ChannelState, parameter: Parameter) -> agreement.CheckSeries | None:
    names = [
        name
        for name in (state.followed[0].checks if state.followed else ())
        if parameter_of(name) is parameter and all(name in each.checks for each in state.followed)
    ]
    if not names:
        return None
    values = [float(np.mean([each.checks[name] for name in names])) for each in state.followed]
    return _series([each.measured_at for each in state.followed], values)


def _tester(state: FieldTesterState, parameter: Parameter) -> Mapping[str, agreement.CheckSeries]:
    told: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for event in state.alike:
        value = mean_differences(event.comparison).get(parameter)
        if value is not None:
            told[event.comparison.channel].append((event.comparison.when, value))
    return {
        channel: _series([when for when, _ in values], [value for _, value in values])
        for channel, values in told.items()
    }


_EPOCH = "2000-01-01T00:00:00+00:00"


def _series(moments: Sequence[str], values: Sequence[float]) -> agreement.CheckSeries:
    days = [days_between(_EPOCH, each) for each in moments]
    return agreement.CheckSeries(days, values, [each[:10] for each in moments])
