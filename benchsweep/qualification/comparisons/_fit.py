"""Whether what a tester told fits a channel, in one sentence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from benchsweep import comparison
from benchsweep.qualification.comparisons._bench import BenchRecord
from benchsweep.records import ComparedTrace, FieldResult, Parameter, Suspicion

__all__ = ["fit_words", "lacking"]


def lacking(result: FieldResult, bench: BenchRecord) -> tuple[str, ...]:
    """Return what the bench measured, the requirement limits and the tester did not tell, by parameter."""
    limited = {curve.parameter for curve in bench.curves}
    _, missing = comparison.not_compared(result, bench.evaluation.traces)
    count = Counter(parameter for parameter, _, _ in missing)
    told = {trace.parameter for trace in result.traces} | {point.parameter for point in result.points}
    return tuple(
        _lacks(parameter, count, parameter in told)
        for parameter in Parameter
        if count[parameter] and parameter in limited
    )


def _lacks(parameter: Parameter, count: Counter[Parameter], told: bool) -> str:
    number = count[parameter]
    return f"{number} trace{'s' if number > 1 else ''} of {parameter.term}" if told else parameter.term


def fit_words(
    result: FieldResult,
    channel: str,
    suspicions: Sequence[Suspicion],
    rows: Sequence[ComparedTrace],
    lacks: Sequence[str],
) -> str:
    """Return whether a result fits, what it lacks, or what does not fit.

    Parameters
    ----------
    channel
        That it was held against; empty: none.
    lacks
        As `lacking`.
    """
    return "; ".join(_parts(result, channel, suspicions, rows, lacks))


def _parts(
    result: FieldResult,
    channel: str,
    suspicions: Sequence[Suspicion],
    rows: Sequence[ComparedTrace],
    lacks: Sequence[str],
) -> Iterator[str]:
    told = len(result.traces) + len(result.points)
    what = "trace" if result.traces else "number"
    read = f"{told} {what}{'' if told == 1 else 's'}"
    if not channel:
        yield f"{read} read and held against nothing: --channel names the channel that was measured"
        return
    wrong = sum(each.hinders for each in suspicions)
    compared = sum(row.decisive is not None for row in rows)
    if wrong:
        yield (
            f"it does not fit the channel {channel}: nothing is said of the tester before "
            f"{'that is' if wrong == 1 else f'these {wrong} are'} settled"
        )
    elif not compared:
        yield f"nothing of it can be compared with the channel {channel}"
    else:
        yield f"it fits the channel {channel}: {compared} of {read} can be compared"
    if lacks:
        yield f"it lacks {', '.join(lacks)}, measured on the bench"
