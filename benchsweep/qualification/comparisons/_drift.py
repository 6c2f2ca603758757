"""Whether something drifts, and what: the channel, the bench or the tester."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.qualification.comparisons._attribution import (
    attributed,
    decisive_points,
    mean_differences,
)
from benchsweep.qualification.comparisons._check_values import (
    difference_name,
    least_deviation,
    told_name,
    unit_of,
)
from benchsweep.qualification.comparisons._histories import ChannelState, FieldTesterState, moment
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.qualification.comparisons._stability import (
    check_charts,
    drifting,
    newest_stability,
    series_charts,
    trends,
)
from benchsweep.records import (
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

    Those of the newest record beyond their t limits, those whose EWMA is beyond its limits, and those that
    rise or fall along a straight line.
    """
    followed = state.followed
    if not followed:
        return MappingProxyType({})
    found = dict(drifting(check_charts(followed)))
    found |= {name: each.drifts for name, each in _channel_trends(state).items()}
    newest, stable = followed[-1], newest_stability(state)
    for name, share in stable.shares.items() if stable is not None else ():
        if share > 1.0 and stable is not None:
            found[name] = 1 if newest.checks[name] > stable.limits[name].mean else -1
    return MappingProxyType(found)


def drift_of_channel(
    name: str,
    state: ChannelState,
    others: Mapping[str, ChannelState],
    testers: Mapping[str, FieldTesterState] | None = None,
) -> Drift:
    """Return whether a channel drifts: itself, or the bench that measured it.

    By all series together where they are long enough (`attributed`). Else, where other channels of the
    archive, measured on the bench since, moved alike (the same parameter in the same direction), it was the
    bench; where none of them did, the channel; where there is none, nobody knows.

    Parameters
    ----------
    others
        All other channels by name.
    testers
        The testers by name.
    """
    charts = check_charts(state.followed)
    moved = moves_of_channel(state)
    if not moved:
        few = _too_few(len(state.followed), "record", "") if state.measured else ()
        return Drift("", tuple(few), charts)
    words = [
        _moved_words(
            f"check values of the channel {name} have moved", moved, [each.checks for each in state.followed]
        )
    ]
    channels = {**others, name: state}
    if cause := attributed(
        moved, channels, testers or {}, lambda kind, which: kind != "tester" and which in ("", name)
    ):
        return Drift(cause.moved, (*words, *cause.words), charts)
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
    """Return the differences of a tester that moved since it was last changed: +1 up, -1 down.

    Those whose EWMA is beyond its limits, and those that rise or fall along a straight line.
    """
    found = dict(drifting(_tester_charts(state)))
    found |= {name: each.drifts for name, each in _tester_trends(state).items()}
    return MappingProxyType(found)


def drift_of_tester(
    name: str,
    state: FieldTesterState,
    others: Mapping[str, FieldTesterState],
    channels: Mapping[str, ChannelState],
) -> Drift:
    """Return whether a tester drifts: itself, the channel it was compared on, or the bench.

    By all series together where they are long enough (`attributed`); else by what else moved.

    Parameters
    ----------
    others
        All other testers by name.
    channels
        The channels by name.
    """
    charts = _tester_charts(state)
    moved = moves_of_tester(state)
    checks = level_checks(state.alike)
    words = [f"{term}: {check.words}" for term, check in checks.items() if check.out]
    if not moved:
        if state.compared:
            words += _too_few(len(_following(state)), "comparison", "since it was last changed")
        return Drift("", tuple(words), charts)
    words.insert(
        0,
        _moved_words(
            f"differences of the tester {name} from the bench have moved", moved, _differences(state)
        ),
    )
    used_ones = {event.comparison.channel for event in state.alike}
    if cause := attributed(
        moved,
        channels,
        {**others, name: state},
        lambda kind, which: kind == "bench" or which in used_ones if kind != "tester" else which == name,
    ):
        return Drift(cause.moved, (*words, *cause.words), charts)
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
        and moment(each.alike[-1].comparison.when) >= moment(state.alike[0].comparison.when)
        and own & frozenset(moves_of_tester(each).items())
    ]
    if alike:
        if len({event.comparison.record_digest for event in state.alike}) == 1:
            # The bench measured once: what it told cannot have moved.
            words.append(
                f"so did {_listed(alike)}, and all is held against one bench record: "
                f"the channel {used} moved since; measure it again"
            )
            return Drift("channel", tuple(words), charts)
        words.append(f"so did {_listed(alike)}: what they have in common, the bench, moved")
        return Drift("bench", tuple(words), charts)
    if still := [other for other, each in others.items() if _stood_still(each, used, state)]:
        words.append(f"{_listed(still)}, compared on the same channel since, did not: the tester moved")
        return Drift("tester", tuple(words), charts)
    enough = comparison_rules().stability.fewest
    if of_channel is None or len(of_channel.followed) <= enough:
        words.append(f"the channel {used} was not measured often enough to be known as unmoved")
        return Drift("unclear", tuple(words), charts)
    words.append(f"the channel {used} did not move on the bench: the tester moved")
    return Drift("tester", tuple(words), charts)


def _stood_still(other: FieldTesterState, channel: str, moved: FieldTesterState) -> bool:
    """Tell whether another tester was compared on a channel often enough, and since, and moved nowhere."""
    on_it = [event for event in _following(other) if event.comparison.channel == channel]
    if len(on_it) < comparison_rules().stability.trend_fewest or moves_of_tester(other):
        return False
    first, last = moment(moved.alike[0].comparison.when), moment(moved.alike[-1].comparison.when)
    # The other one must have seen the same time: not only before, and not only after it.
    return moment(on_it[0].comparison.when) <= last - 0.5 * (last - first) and moment(
        on_it[-1].comparison.when
    ) >= last - 0.1 * (last - first)


def level_checks(compared: Sequence[FieldTesterCompared]) -> Mapping[str, LevelCheck]:
    """Return for each parameter whether the tester is still linear at a low, middle and high value.

    The levels are the channels: of three or more with different values, compared last each, those with the
    lowest, a middle and the highest value of the bench. The line is that of all comparisons before them
    (NIST/SEMATECH e-Handbook 2.3.7). Parameter by its name; empty where there are too few.
    """
    series: dict[Parameter, list[tuple[str, float, float]]] = defaultdict(list)
    for event in compared:
        for parameter, points in decisive_points(event.comparison).items():
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


def _tester_charts(state: FieldTesterState) -> Mapping[str, ControlChart]:
    """Return the EWMA chart of the mean difference of each parameter that all comparisons have."""
    return series_charts(_differences(state), [event.comparison.when[:10] for event in _following(state)])


def _tester_trends(state: FieldTesterState) -> Mapping[str, agreement.Trend]:
    return trends(_differences(state), [event.comparison.when for event in _following(state)])


def _differences(state: FieldTesterState) -> list[Mapping[str, float]]:
    return [_named_differences(event.comparison) for event in _following(state)]


def _channel_trends(state: ChannelState) -> Mapping[str, agreement.Trend]:
    followed = state.followed
    return trends([each.checks for each in followed], [each.measured_at for each in followed])


def _following(state: FieldTesterState) -> list[FieldTesterCompared]:
    """Return the comparisons that tell a difference: not those with something that does not fit."""
    return [event for event in state.alike if mean_differences(event.comparison)]


def _named_differences(comparison: Comparison) -> Mapping[str, float]:
    return {difference_name(parameter): value for parameter, value in mean_differences(comparison).items()}


def _too_few(count: int, what: str, since: str) -> Iterator[str]:
    """Yield that a drift could not be seen yet; nothing when it could."""
    missing = comparison_rules().stability.trend_fewest - count
    if missing > 0:
        counts = f"{count or 'no'} {what}{'s count' if count > 1 else ' counts'}"
        yield f"too few to tell: {counts}{f' {since}' if since else ''}, {missing} more needed"


def _moves(moved: Mapping[str, int]) -> Moves:
    return frozenset((name.split(" ", 1)[0], sign) for name, sign in moved.items())


def _moved_words(what: str, moved: Mapping[str, int], values: Sequence[Mapping[str, float]]) -> str:
    def size(name: str) -> float:
        first, last = _ends([each[name] for each in values])
        return abs(last - first) / least_deviation(name)

    order = sorted(moved, key=size, reverse=True)
    names = [_way(name, moved[name], [each[name] for each in values]) for name in order]
    more = len(names) - _MOST_NAMED
    return f"{what}: {', '.join(names[:_MOST_NAMED])}{f' and {more} more' if more > 0 else ''}"


def _way(name: str, sign: int, values: Sequence[float]) -> str:
    few = max(1, len(values) // 3)
    first, last = _ends(values)
    of = f" (means of the first and the last {few})" if few > 1 else ""
    way = "up" if sign > 0 else "down"
    return f"{told_name(name)} {way}, from {first:+.2f} to {last:+.2f} {unit_of(name)}{of}"


def _ends(values: Sequence[float]) -> tuple[float, float]:
    """Return the means of the first and of the last third."""
    few = max(1, len(values) // 3)
    return float(np.mean(values[:few])), float(np.mean(values[-few:]))


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
