"""Whether something drifts, and what: the channel, the bench or the tester."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.qualification.comparisons._check_values import unit_of
from benchsweep.qualification.comparisons._histories import ChannelState, FieldTesterState, moment
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.qualification.comparisons._stability import (
    check_charts,
    drifting,
    newest_stability,
    series_charts,
)
from benchsweep.records import (
    ComparedPoint,
    Comparison,
    ControlChart,
    Drift,
    FieldTesterCompared,
    LevelCheck,
    Parameter,
)
from benchsweep.statistics import agreement

__all__ = ["drift_of_channel", "drift_of_tester", "level_checks", "moves_of_channel", "moves_of_tester"]

Moves = frozenset[tuple[str, int]]
"""Parameter and direction of what moved."""
_MOST_NAMED = 4


def moves_of_channel(state: ChannelState) -> Mapping[str, int]:
    """Return the check values of a channel that moved, by now: +1 up, -1 down.

    Those of the newest record beyond their t limits, and those whose EWMA is beyond its limits.
    """
    followed = state.followed
    if not followed:
        return MappingProxyType({})
    found = dict(drifting(check_charts(followed)))
    newest, stable = followed[-1], newest_stability(state)
    for name, share in stable.shares.items() if stable is not None else ():
        if share > 1.0 and stable is not None:
            found[name] = 1 if newest.checks[name] > stable.limits[name].mean else -1
    return MappingProxyType(found)


def drift_of_channel(name: str, state: ChannelState, others: Mapping[str, ChannelState]) -> Drift:
    """Return whether a channel drifts: itself, or the bench that measured it.

    Where other channels of the archive, measured on the bench since, moved alike (the same parameter in the
    same direction), it was the bench; where none of them did, the channel; where there is none, nobody knows.

    Parameters
    ----------
    others
        All other channels by name.
    """
    charts = check_charts(state.followed)
    moved = moves_of_channel(state)
    if not moved:
        return Drift("", (), charts)
    words = [_moved_words(f"the channel {name}", moved)]
    since = state.followed[-2].measured_at if len(state.followed) > 1 else ""
    telling = {
        other: frozenset(_moves(moves_of_channel(each)))
        for other, each in others.items()
        if len(each.followed) > comparison_rules().stability.fewest
        and since
        and moment(each.followed[-1].measured_at) >= moment(since)
    }
    own = frozenset(_moves(moved))
    alike = [other for other, moves in telling.items() if moves & own]
    if not telling:
        words.append(
            "channel or bench: no other reference channel was measured often enough and since, "
            "which would tell them apart"
        )
        return Drift("unclear", tuple(words), charts)
    if len(alike) == len(telling):
        words.append(f"so did {_listed(alike)}, all that were measured since: the bench moved")
        return Drift("bench", tuple(words), charts)
    if not alike:
        words.append(f"{_listed(list(telling))} did not, measured on the same bench: the channel moved")
        return Drift("channel", tuple(words), charts)
    still = [other for other in telling if other not in alike]
    words.append(f"{_listed(alike)} moved alike, {_listed(still)} did not")
    return Drift("unclear", tuple(words), charts)


def moves_of_tester(state: FieldTesterState) -> Mapping[str, int]:
    """Return the differences of a tester that moved since it was last changed: +1 up, -1 down."""
    return drifting(_tester_charts(state.alike))


def drift_of_tester(
    name: str,
    state: FieldTesterState,
    others: Mapping[str, FieldTesterState],
    channels: Mapping[str, ChannelState],
) -> Drift:
    """Return whether a tester drifts: itself, the channel it was compared on, or the bench.

    Parameters
    ----------
    others
        All other testers by name.
    channels
        The channels by name.
    """
    charts = _tester_charts(state.alike)
    moved = drifting(charts)
    checks = level_checks(state.alike)
    words = [f"{term}: {check.words}" for term, check in checks.items() if check.out]
    if not moved:
        return Drift("", tuple(words), charts)
    words.insert(0, _moved_words(f"the tester {name} beside the bench", moved, of_check_value=False))
    used = state.alike[-1].comparison.channel
    of_channel = channels.get(used)
    if of_channel is not None and moves_of_channel(of_channel):
        words.append(f"the channel {used} that it was compared on last moved itself")
        return Drift("channel", tuple(words), charts)
    own = frozenset(moved.items())
    alike = [
        other
        for other, each in others.items()
        if each.alike
        and moment(each.alike[-1].at) >= moment(state.alike[0].at)
        and own & frozenset(moves_of_tester(each).items())
    ]
    if alike:
        words.append(f"so did {_listed(alike)}: what they have in common, the bench, moved")
        return Drift("bench", tuple(words), charts)
    enough = comparison_rules().stability.fewest
    if of_channel is None or len(of_channel.followed) <= enough:
        words.append(f"the channel {used} was not measured often enough to be known as unmoved")
        return Drift("unclear", tuple(words), charts)
    words.append(f"the channel {used} did not move on the bench: the tester moved")
    return Drift("tester", tuple(words), charts)


def level_checks(compared: Sequence[FieldTesterCompared]) -> Mapping[str, LevelCheck]:
    """Return for each parameter whether the tester is still linear at a low, middle and high value.

    The levels are the channels: of three or more with different values, compared last each, those with the
    lowest, a middle and the highest value of the bench. The line is that of all comparisons before them
    (NIST/SEMATECH e-Handbook 2.3.7). Parameter by its name; empty where there are too few.
    """
    series: dict[Parameter, list[tuple[str, float, float]]] = defaultdict(list)
    for event in compared:
        for parameter, points in _decisive(event.comparison).items():
            reference = float(np.mean([point.bench for point in points]))
            told = float(np.mean([point.tester for point in points]))
            series[parameter].append((event.comparison.channel, reference, told))
    found: dict[str, LevelCheck] = {}
    for parameter, values in series.items():
        last = {channel: place for place, (channel, _, _) in enumerate(values)}
        before = [value for place, value in enumerate(values) if place not in last.values()]
        if len(last) < 3 or len(before) < comparison_rules().stability.fewest:
            continue
        latest = sorted((values[place] for place in last.values()), key=lambda value: value[1])
        chosen = [latest[0], latest[len(latest) // 2], latest[-1]]
        try:
            line = agreement.fit_line([x for _, x, _ in before], [y for _, _, y in before])
            found[parameter.term] = agreement.level_check(
                [x for _, x, _ in chosen],
                [y for _, _, y in chosen],
                intercept=line.intercept,
                slope=line.slope,
                deviation=line.deviation,
                freedom=line.freedom,
                levels=[
                    f"{level} ({channel})" for level, (channel, _, _) in zip(_LEVELS, chosen, strict=True)
                ],
            )
        except UsageError:  # all of one level, or the same to the last digit
            continue
    return MappingProxyType(found)


_LEVELS = ("low", "middle", "high")


def _tester_charts(compared: Sequence[FieldTesterCompared]) -> Mapping[str, ControlChart]:
    """Return the EWMA chart of the mean difference of each parameter that all comparisons have."""
    each = [
        {
            f"{parameter.term} difference": float(np.mean([point.difference for point in points]))
            for parameter, points in _decisive(event.comparison).items()
        }
        for event in compared
    ]
    return series_charts(each, [event.comparison.at[:10] for event in compared])


def _decisive(comparison: Comparison) -> Mapping[Parameter, list[ComparedPoint]]:
    found: dict[Parameter, list[ComparedPoint]] = defaultdict(list)
    if any(suspicion.hinders for suspicion in comparison.suspicions):
        return found
    for row in comparison.rows:
        if row.decisive is not None:
            found[row.parameter].append(row.decisive)
    return found


def _moves(moved: Mapping[str, int]) -> Moves:
    return frozenset((name.split(" ", 1)[0], sign) for name, sign in moved.items())


def _moved_words(what: str, moved: Mapping[str, int], *, of_check_value: bool = True) -> str:
    names = [f"{name} {'up' if sign > 0 else 'down'}" for name, sign in moved.items()]
    more = len(names) - _MOST_NAMED
    unit = f" ({unit_of(next(iter(moved)))})" if of_check_value and len(moved) == 1 else ""
    return (
        f"{what} has moved: {', '.join(names[:_MOST_NAMED])}{f' and {more} more' if more > 0 else ''}{unit}"
    )


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
