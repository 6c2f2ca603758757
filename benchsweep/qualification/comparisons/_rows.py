"""What is said of each trace and number of a tester: the point that decides, its E_n, the band."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep import comparison
from benchsweep.comparison import MatchedPoint
from benchsweep.qualification.comparisons._bench import BenchRecord, TraceKey
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.qualification.comparisons._uncertainty_parts import Parts, Points, Sources, point_of
from benchsweep.qualification.comparisons._unstated import unstated_words
from benchsweep.records import (
    Agreement,
    ComparedPoint,
    ComparedTrace,
    FieldResult,
    LimitCurve,
    Parameter,
    Trace,
    TraceDifference,
)

__all__ = ["Compared", "compare_rows"]

Floats = NDArray[np.float64]
_MAXIMA = frozenset({Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW})


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """All rows of a comparison, with the differences over frequency behind them.

    Parameters
    ----------
    rows
        One for each trace or number.
    differences
        Tester less bench over frequency.
    uncertainties
        Of each of these the expanded uncertainty at each point that counts; NaN elsewhere and where it is not
        known.
    missing
        What only one of both told, in words.
    limited
        So many traces of the bench have a limit, the insertion loss of a pair once.
    """

    rows: tuple[ComparedTrace, ...]
    differences: tuple[TraceDifference, ...]
    uncertainties: Mapping[TraceKey, Floats]
    missing: tuple[str, ...]
    limited: int


def compare_rows(result: FieldResult, bench: BenchRecord, sources: Sources) -> Compared:
    """Hold a tester's result against a bench record.

    Where a trace is told and a single number of the same name, the trace decides.
    """
    rules = comparison_rules().compare
    traces = {(trace.parameter, trace.end, trace.pairs): trace for trace in bench.evaluation.traces}
    differences = comparison.differences(
        result,
        bench.evaluation.traces,
        bench.curves,
        floor=bench.floor,
        exempt=bench.exempt,
        near_limit_db=rules.near_limit_db,
        null_steps=rules.null_steps,
    )
    rows: list[ComparedTrace] = []
    uncertainties: dict[TraceKey, Floats] = {}
    for difference in differences:
        key = (difference.parameter, difference.end, difference.pairs)
        row, total = _of_trace(difference, traces[key], bench, sources)
        rows.append(row)
        uncertainties[key] = total
    by_trace = set(uncertainties)
    for matched in comparison.compared_points(
        result, bench.evaluation.traces, bench.curves, exempt=bench.exempt
    ):
        if matched.key is not None and matched.key not in by_trace:
            rows.append(_of_point(matched, matched.key, traces[matched.key], bench, sources))
    return Compared(
        tuple(rows),
        differences,
        MappingProxyType(uncertainties),
        tuple(_missing(result, bench)),
        len({_once(key) for key in traces if _curve(bench.curves, key[0]) is not None}),
    )


def _once(key: TraceKey) -> TraceKey:
    """Return the name of a trace, the same for both ends where it is the same from both."""
    parameter, _, pairs = key
    return (parameter, None, pairs) if parameter is Parameter.INSERTION_LOSS else key


def _missing(result: FieldResult, bench: BenchRecord) -> Iterator[str]:
    """Yield what only one of both told; of the bench only what the requirement limits."""
    only_told, measured = comparison.not_compared(result, bench.evaluation.traces)
    only_measured = [key for key in measured if _curve(bench.curves, key[0]) is not None]
    for what, keys in (
        ("told by the tester, not measured on the bench", only_told),
        ("measured on the bench, not told by the tester", only_measured),
    ):
        by_parameter: dict[Parameter, list[str]] = {}
        for key in keys:
            parameter, end, pairs = key
            by_parameter.setdefault(parameter, []).append(f"{end or ''} {'-'.join(pairs)}".strip())
        for parameter, names in by_parameter.items():
            few = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
            yield f"{parameter.term} {few}: {what}"


def _curve(curves: Sequence[LimitCurve], parameter: Parameter) -> LimitCurve | None:
    return next((curve for curve in curves if curve.parameter is parameter), None)


def _sign(curves: Sequence[LimitCurve], parameter: Parameter) -> float:
    """Return +1 where the limit is a minimum, -1 where it is a maximum: margin = sign (value - limit)."""
    curve = _curve(curves, parameter)
    if curve is not None:
        return 1.0 if curve.sense == "min" else -1.0
    return -1.0 if parameter in _MAXIMA else 1.0


def _of_trace(
    found: TraceDifference, trace: Trace, bench: BenchRecord, sources: Sources
) -> tuple[ComparedTrace, Floats]:
    sign = _sign(bench.curves, found.parameter)
    margin = sign * (found.tester - found.limit)
    counts = found.counts & np.isfinite(found.bench) & np.isfinite(found.tester)
    total = np.full(counts.size, np.nan)
    row = ComparedTrace(
        found.parameter,
        found.end,
        found.pairs,
        Agreement.UNDECIDED,
        "",
        compared=int(counts.sum()),
        left_out=int((~counts).sum()),
        bench_margin=_bench_margin(found, trace, bench),
        tester_margin=float(np.nanmin(margin)) if np.isfinite(margin).any() else None,
    )
    if not counts.any():
        why = "; ".join(found.why_not) or "no point in the band of both"
        return replace(row, words=f"{_name(row)}: nothing to compare: {why}"), total
    at = np.flatnonzero(counts)
    points = Points(
        found.frequency_hz[at],
        found.bench_frequency_hz[at],
        found.bench[at],
        found.tester[at],
        # Where there is no limit nothing is far from it.
        np.where(np.isfinite(margin[at]), margin[at], 0.0),
    )
    parts = Parts.of(bench, trace, sources, points)
    total[at] = parts.total
    difference = found.difference[at]
    row = replace(
        row,
        mean_difference=float(difference.mean()),
        deviation=float(difference.std(ddof=1)) if at.size > 1 else None,
    )
    known = at[np.isfinite(total[at])]
    decisive = _decisive(found, at if not known.size else known, sign)
    largest = _largest(found, at, total, known)
    share = None
    if known.size:
        share = float(np.mean(np.abs(found.difference[known]) > total[known]))

    def point(place: int) -> ComparedPoint:
        return point_of(
            parts,
            int(np.searchsorted(at, place)),
            float(found.frequency_hz[place]),
            float(found.bench[place]),
            float(found.tester[place]),
            float(found.limit[place]),
        )

    row = replace(row, decisive=point(decisive), largest=point(largest), share_beyond=share)
    return _decided(row, bench, sources, whole=parts.whole), total


def _bench_margin(found: TraceDifference, trace: Trace, bench: BenchRecord) -> float | None:
    key = (found.parameter, found.end, found.pairs)
    worst = comparison.worst_margin(trace, bench.curves, bench.exempt.get(key))
    return None if worst is None else worst.margin


def _decisive(found: TraceDifference, at: NDArray[np.intp], sign: float) -> int:
    """Return the place of the bench's worst margin among some; without a limit, of its worst value."""
    limit = found.limit[at]
    limited = np.isfinite(limit)
    if limited.any():
        margins = np.where(limited, sign * (found.bench[at] - limit), np.inf)
        return int(at[np.argmin(margins)])
    return int(at[np.argmin(sign * found.bench[at])])


def _largest(found: TraceDifference, at: NDArray[np.intp], total: Floats, known: NDArray[np.intp]) -> int:
    """Return the place of the largest |E_n|, or where none is known of the largest difference."""
    if known.size:
        return int(known[np.argmax(np.abs(found.difference[known]) / total[known])])
    return int(at[np.argmax(np.abs(found.difference[at]))])


def _of_point(
    matched: MatchedPoint, key: TraceKey, trace: Trace, bench: BenchRecord, sources: Sources
) -> ComparedTrace:
    told = matched.point
    row = ComparedTrace(
        *key,
        Agreement.UNDECIDED,
        "",
        bench_margin=None if matched.worst is None else matched.worst.bench,
        tester_margin=told.margin,
        basis="point",
    )
    chosen = matched.worst or matched.there
    if chosen is None or chosen.frequency_hz is None:
        return replace(row, words=f"{_name(row)}: nothing to compare: {matched.words}")
    sign = _sign(bench.curves, key[0])
    value, bench_value = _values(matched, chosen, sign, bench.curves)
    points = Points(
        np.array([told.frequency_hz or chosen.frequency_hz]),
        np.array([chosen.frequency_hz]),
        np.array([bench_value]),
        np.array([value]),
        None if told.margin is None else np.array([told.margin]),
        told.frequency_hz is not None,
    )
    parts = Parts.of(bench, trace, sources, points)
    point = point_of(parts, 0, chosen.frequency_hz, chosen.bench, chosen.tester, chosen.limit)
    row = replace(row, decisive=point, largest=point, compared=1)
    row = _decided(row, bench, sources, whole=parts.whole)
    return replace(row, words=f"{row.words}; {matched.words}") if matched.words else row


def _values(
    matched: MatchedPoint, chosen: ComparedPoint, sign: float, curves: Sequence[LimitCurve]
) -> tuple[float, float]:
    """Return the values of tester and bench behind a number that may be a margin.

    A margin differs as its value does, but the other way round where the limit is a maximum.
    """
    if matched.worst is None or chosen.limit is None:
        return chosen.tester, chosen.bench
    bench_value = chosen.limit + sign * chosen.bench
    told = comparison.point_value(matched.point, curves)
    own = chosen.limit + sign * chosen.tester
    # On the side on which the margins differ; the accuracy goes by the size that the tester told.
    return (told if told is not None and (told > bench_value) == (own > bench_value) else own), bench_value


def _decided(row: ComparedTrace, bench: BenchRecord, sources: Sources, *, whole: bool) -> ComparedTrace:
    """Return a row with its outcome and the reason in a sentence."""
    point = row.decisive
    assert point is not None  # noqa: S101 - asked only where something was compared
    said = f"{_name(row)}: {_told(row, point)}"
    if point.e_n is None or point.uncertainty is None:
        return replace(row, words=f"{said}; {_unknown(row, point, bench, sources)}")
    said += f", E_n {point.e_n:+.2f} (U {point.uncertainty:.2f} {row.parameter.unit})"
    rules = comparison_rules().compare
    beyond = abs(point.e_n) > 1.0
    share = row.share_beyond if row.compared >= rules.share_fewest else None
    wide = share is not None and share > rules.share_beyond
    if not beyond and not wide:
        return replace(row, outcome=Agreement.AGREES, words=said)
    if wide:
        said += f"; {row.share_beyond:.0%} of {row.compared} points lie beyond their uncertainty"
    if whole:
        return replace(row, outcome=Agreement.DISAGREES, words=said)
    where = row.largest if row.largest is not None and not beyond else point
    return replace(row, words=f"{said}; {unstated_words(row, where, sources)}")


def _told(row: ComparedTrace, point: ComparedPoint) -> str:
    unit = row.parameter.unit
    margin = row.basis == "point" and row.tester_margin == point.tester and row.bench_margin == point.bench
    what = "margin " if margin else ""
    at = "" if point.frequency_hz is None else f" at {point.frequency_hz / 1e6:.4g} MHz"
    return f"tester {what}{point.tester:.2f}, bench {point.bench:.2f}, {point.difference:+.2f} {unit}{at}"


def _unknown(row: ComparedTrace, point: ComparedPoint, bench: BenchRecord, sources: Sources) -> str:
    """Return which uncertainty is not known, in words."""
    if sources.accuracy is None:
        return "no accuracy is declared for the tester"
    if bench.evaluation.model is None:
        return "the bench record has no uncertainty budget"
    if point.tester_uncertainty is None:
        return f"the declared accuracy says nothing of {row.parameter.term} there"
    if point.bench_uncertainty is None:
        return "the bench is not certain there"
    return "its uncertainty is nothing"


def _name(row: ComparedTrace) -> str:
    return comparison.name_of((row.parameter, row.end, row.pairs))
