"""Whether a reference channel is still the same: check-standard statistics of its bench records."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from benchsweep.qualification.comparisons._check_values import least_deviation, told_name, unit_of
from benchsweep.qualification.comparisons._histories import ChannelState, days_between
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.records import BenchMeasured, ChannelRegistered, CheckLimits, ControlChart
from benchsweep.statistics import agreement, process

__all__ = [
    "Stability",
    "check_charts",
    "drifting",
    "length_words",
    "newest_stability",
    "series_charts",
    "stability",
    "trends",
]

_MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class Stability:
    """What the check values of a record say beside those before.

    Parameters
    ----------
    limits
        Check value -> its limits from the baseline; empty when there are too few records.
    beyond
        For each check value outside of them a sentence, the farthest first.
    shares
        Check value -> its distance from the mean over half the width of the limits.
    words
        The whole in a sentence or two.
    """

    limits: Mapping[str, CheckLimits]
    beyond: tuple[str, ...]
    shares: Mapping[str, float]
    words: str

    @property
    def share(self) -> float | None:
        """The largest part of what is allowed that was found; None without limits."""
        return max(self.shares.values(), default=None)


def stability(
    baseline: Sequence[BenchMeasured],
    checks: Mapping[str, float],
    measured_at: str = "",
    uncertainties: Mapping[str, float] = MappingProxyType({}),
) -> Stability:
    """Hold check values against those of records that were accepted before.

    Limits are mean -+ t s of the baseline, shared among all values that are judged at once (Sidak;
    NIST/SEMATECH e-Handbook 2.3.5.2), s no smaller than the rules say. Where several records were made on
    one day, their scatter is held against that of earlier days (2.3.5.1): a worn plug scatters more before
    it moves.

    While there are too few records for that, a value has moved when it lies farther from the mean of those
    before than the bench's uncertainties of both allow (|E_n| > 1, ISO/IEC 17043), and than re-mating may
    move it by the rules: another channel under this name is seen, a worn plug not yet.

    Parameters
    ----------
    baseline
        Oldest first, without the record itself.
    checks
        Its check values, dB or ns by name.
    measured_at
        When it was measured; empty: no scatter is looked at.
    uncertainties
        Of the bench (k = 2) for its check values, where they are known.
    """
    rules = comparison_rules().stability
    common = [name for name in checks if all(name in each.checks for each in baseline)]
    if len(baseline) < rules.fewest or not common:
        count = len(baseline)
        words = (
            f"{count} record{'' if count == 1 else 's'} before it that count"
            f"{'s' if count == 1 else ''}: limits of check values need {rules.fewest}"
        )
        far = tuple(_far(baseline, checks, uncertainties, common)) if baseline else ()
        if far:
            words = f"{_named_few(far)} (by the uncertainty of the bench, or what re-mating may do); {words}"
        return Stability(MappingProxyType({}), far, MappingProxyType({}), words)
    found = {
        name: agreement.check_limits(
            [each.checks[name] for each in baseline],
            confidence=rules.confidence,
            together=len(common),
            least_deviation=least_deviation(name),
        )
        for name in common
    }
    alike = sum(limit.deviation <= least_deviation(name) for name, limit in found.items())
    shares = {
        name: abs(checks[name] - limit.mean) / (limit.upper - limit.mean) for name, limit in found.items()
    }
    out = sorted((name for name in found if shares[name] > 1.0), key=lambda name: -shares[name])
    beyond = tuple(_beyond(name, checks[name], found[name]) for name in out)
    told = [_summary(beyond, len(found), len(baseline))]
    if alike:
        told.append(
            f"of {alike} values the records are more alike than {rules.least_deviation_db:g} dB or "
            f"{rules.least_deviation_ns:g} ns, which is taken for their scatter"
        )
    told += _scatter(baseline, checks, measured_at)
    return Stability(MappingProxyType(found), beyond, MappingProxyType(shares), "; ".join(told))


def newest_stability(state: ChannelState) -> Stability | None:
    """Return what the newest record of a channel says beside those that counted before; None without one."""
    if not state.followed:
        return None
    newest = state.followed[-1]
    before = [each for each in state.baseline if each is not newest]
    return stability(before, newest.checks, newest.measured_at, newest.uncertainties)


def length_words(registered: ChannelRegistered, record: BenchMeasured) -> str:
    """Return that a record tells of another length than the channel has, in words; empty: it does not."""
    told, known = record.length_m, registered.length_m
    if told is None or known is None:
        return ""
    if abs(told - known) <= comparison_rules().stability.length_share * known:
        return ""
    return (
        f"the record of {record.measured_at[:10]} was measured as {told:g} m, the channel is registered with "
        f"{known:g} m: it may be of another one"
    )


def _beyond(name: str, value: float, limit: CheckLimits) -> str:
    unit = unit_of(name)
    return (
        f"{told_name(name)}: {value:.2f} {unit}, allowed {limit.lower:.2f} to {limit.upper:.2f} {unit} "
        f"(mean {limit.mean:.2f} of {limit.count} records)"
    )


def _far(
    baseline: Sequence[BenchMeasured],
    checks: Mapping[str, float],
    uncertainties: Mapping[str, float],
    names: Sequence[str],
) -> Iterator[str]:
    """Yield, the farthest first, the values that lie beyond the bench's uncertainties of both."""
    found: list[tuple[float, str]] = []
    for name in names:
        own = uncertainties.get(name)
        others = [each.uncertainties[name] for each in baseline if name in each.uncertainties]
        if own is None or not others:
            continue
        mean = float(np.mean([each.checks[name] for each in baseline]))
        rules = comparison_rules().stability
        least = rules.few_least_ns if unit_of(name) == "ns" else rules.few_least_db
        allowed = max(float(np.hypot(own, max(others))), least)
        if abs(checks[name] - mean) > allowed:
            words = (
                f"{told_name(name)}: {checks[name]:.2f} {unit_of(name)}, before {mean:.2f} (-+ {allowed:.2f})"
            )
            found.append((abs(checks[name] - mean) / allowed, words))
    yield from (words for _, words in sorted(found, reverse=True))


def _named_few(beyond: Sequence[str]) -> str:
    more = len(beyond) - _MOST_NAMED
    return f"it has moved: {'; '.join(beyond[:_MOST_NAMED])}{f'; and {more} more' if more > 0 else ''}"


def _summary(beyond: Sequence[str], values: int, records: int) -> str:
    rules = comparison_rules().stability
    how = f"{rules.confidence:.0%} for all {values} values together, from {records} records"
    if not beyond:
        return f"all check values within their limits ({how})"
    return f"{_named_few(beyond)} ({how})"


def _scatter(baseline: Sequence[BenchMeasured], checks: Mapping[str, float], measured_at: str) -> list[str]:
    """Return what the scatter of records of one day says, in words; nothing where there are no repeats."""
    rules = comparison_rules().stability
    days: dict[str, list[Mapping[str, float]]] = defaultdict(list)
    for each in baseline:
        days[each.measured_at[:10]].append(each.checks)
    today = [*days.pop(measured_at[:10], []), checks] if measured_at else []
    before = [group for group in days.values() if len(group) > 1]
    if len(today) < 2 or not before:
        return []
    names = [name for name in checks if all(name in each for group in (today, *before) for each in group)]
    wide: list[str] = []
    for name in names:
        spread = float(np.std([each[name] for each in today], ddof=1))
        freedom = sum(len(group) - 1 for group in before)
        squares = sum(float(np.var([each[name] for each in group])) * len(group) for group in before)
        pooled = float(np.sqrt(squares / freedom))
        if pooled > 0.0:
            level = rules.precision_level / len(names)
            found = agreement.deviation_in_control(spread, len(today) - 1, pooled, freedom, level)
            if not found.in_control:
                wide.append(f"{told_name(name)} ({spread:.3f} {unit_of(name)}, before {pooled:.3f})")
    return [f"repeats of this day scatter more than those of earlier days: {', '.join(wide)}"] if wide else []


def check_charts(records: Sequence[BenchMeasured]) -> Mapping[str, ControlChart]:
    """Return the EWMA chart of each check value that all records have; see `series_charts`."""
    return series_charts([each.checks for each in records], [each.measured_at[:10] for each in records])


def series_charts(values: Sequence[Mapping[str, float]], labels: Sequence[str]) -> Mapping[str, ControlChart]:
    """Return the EWMA chart of each value that is there every time; empty when there are too few.

    Centre and deviation come from the first ones. Limits are as wide as those of t for so few and so many
    values at once, so that charts of forty values are no stream of false alarms.
    """
    if len(values) < comparison_rules().stability.fewest:
        return MappingProxyType({})
    names = [name for name in values[0] if all(name in each for each in values)]
    return MappingProxyType(
        {
            name: _chart([each[name] for each in values], labels, len(names), least_deviation(name))
            for name in names
        }
    )


def _chart(values: Sequence[float], labels: Sequence[str], together: int, least: float) -> ControlChart:
    rules = comparison_rules().stability
    used = min(len(values), rules.chart_baseline)
    first = np.asarray(values[:used])
    deviation = max(float(np.std(first, ddof=1)), least)
    width = agreement.shared_t(used - 1, confidence=rules.confidence, together=together)
    if used < len(values):
        # The centre is itself uncertain by s / sqrt(used), as much as an EWMA of this weight scatters.
        settled = rules.ewma_weight / (2.0 - rules.ewma_weight)
        width *= float(np.sqrt(1.0 + 1.0 / (used * settled)))
    return process.ewma_chart(
        values,
        labels,
        weight=rules.ewma_weight,
        width=width,
        centre=float(first.mean()),
        deviation=deviation,
        baseline=used,
    )


def trends(values: Sequence[Mapping[str, float]], moments: Sequence[str]) -> Mapping[str, agreement.Trend]:
    """Return those values that are there every time and rise or fall along a straight line.

    Over days where they were measured on several, else from one to the next.

    Parameters
    ----------
    moments
        When each was measured (ISO 8601), rising.
    """
    rules = comparison_rules().stability
    if len(values) < rules.trend_fewest:
        return MappingProxyType({})
    days = [days_between(moments[0], each) for each in moments]
    at = days if days[-1] >= 1.0 else [float(place) for place in range(len(days))]
    names = [name for name in values[0] if all(name in each for each in values)]
    found = {
        name: agreement.trend(
            at,
            [each[name] for each in values],
            confidence=rules.trend_confidence,
            together=len(names),
            least_deviation=least_deviation(name),
        )
        for name in names
    }
    return MappingProxyType({name: each for name, each in found.items() if each.drifts})


def drifting(charts: Mapping[str, ControlChart]) -> Mapping[str, int]:
    """Return the values whose last point lies beyond the limits of its chart: +1 above, -1 below."""
    found: dict[str, int] = {}
    for name, chart in charts.items():
        if chart.value[-1] > chart.upper[-1]:
            found[name] = 1
        elif chart.value[-1] < chart.lower[-1]:
            found[name] = -1
    return MappingProxyType(found)
