"""What was read of a field tester's file before anything is kept, as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import ComparedTrace, FieldResult, Parameter, Suspicion
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import number, pairs_words, parameter_words, signed
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry, plain_times, wrapped

__all__ = ["field_result_table", "misfits", "remarks_on"]

_FEW = 12
_DIFFERENCE = "differences: tester less bench where it counts, dB (delay, skew: ns)"


def misfits(found: Sequence[Suspicion]) -> list[str]:
    """Return what does not fit and has to be settled before anything is said of the tester."""
    return [each.words for each in found if each.hinders]


def remarks_on(found: Sequence[Suspicion]) -> list[str]:
    """Return what was noticed, or could not be, that decides nothing."""
    return [f"{each.words} (it decides nothing)" for each in found if not each.hinders]


def field_result_table(
    result: FieldResult,
    suspicions: Sequence[Suspicion] = (),
    rows: Sequence[ComparedTrace] = (),
    *,
    closing: str = "",
    every: bool = False,
    width: int = 80,
) -> str:
    """Return what was read of a tester's file, and how far it is from the bench.

    Parameters
    ----------
    rows
        Each trace or number beside the bench's; empty: it was only read.
    closing
        Whether it fits, in a sentence; it stands last, with what does not fit before it once more.
    every
        Each trace and each number; else a row for each parameter.
    """
    width = max(width, NARROWEST)
    lines: list[str] = []
    for label, texts in (
        ("does not fit", misfits(suspicions)),
        ("file", [result.source or "typed in"]),
        ("read with", [result.mapping]),
        ("measured", [", ".join(filter(None, (plain_times(result.at), result.by)))]),
        ("it says", [_says(result)]),
        ("note", [*result.notes, *remarks_on(suspicions)]),
    ):
        lines += entry(label, texts, width)
    for table in (
        _by_parameter(result, rows, width),
        _traces(result, width) if every else [],
        _points(result, width) if every or len(result.points) <= _FEW else [],
        _each(rows, width) if every else [],
    ):
        lines += ["", *table] if table else []
    if not every and (result.traces or len(result.points) > _FEW):
        lines += wrapped("--every shows each trace, --json all numbers", width)
    lines += [""]
    if len(lines) > _FEW:
        lines += entry("does not fit", misfits(suspicions), width)
    lines += entry("result", [closing], width)
    return "\n".join(line.rstrip() for line in lines).rstrip("\n") + "\n"


def _by_parameter(result: FieldResult, rows: Sequence[ComparedTrace], width: int) -> list[str]:
    """Return a row for each parameter: what was told of it, and where it is furthest from the bench."""
    heads = ["parameter", "told", "points", "MHz"]
    if rows:
        heads += ["mean", "largest", "in", "at MHz"]
    table = []
    for parameter in Parameter:
        traces = [trace for trace in result.traces if trace.parameter is parameter]
        points = [point for point in result.points if point.parameter is parameter]
        if not traces and not points:
            continue
        grid = [
            float(hertz)
            for trace in traces
            if trace.frequency_hz.size
            for hertz in trace.frequency_hz[[0, -1]]
        ]
        grid += [point.frequency_hz for point in points if point.frequency_hz is not None]
        cells = [
            parameter_words(parameter),
            str(len(traces) + len(points)),
            str(sum(trace.frequency_hz.size for trace in traces) + len(points)),
            _span(grid),
        ]
        if rows:
            cells += _furthest([row for row in rows if row.parameter is parameter])
        table.append(cells)
    if not table:
        return []
    figures = ("told", "points", "mean", "largest", "at MHz")
    told = f"{_DIFFERENCE}; the largest of each parameter"
    if any(point.margin is not None for point in result.points):
        told += "; of margins where they are told"
    lines = wrapped(told, width) if rows else []
    return [*lines, *tabled(heads, table, width, figures=figures, spare=("points", "MHz"))]


def _span(hertz: Sequence[float]) -> str:
    if not hertz:
        return "-"
    low, high = f"{min(hertz) / 1e6:.4g}", f"{max(hertz) / 1e6:.4g}"
    return low if low == high else f"{low} to {high}"


def _furthest(rows: Sequence[ComparedTrace]) -> list[str]:
    """Return mean and largest difference of a parameter, in which trace and at how many MHz."""
    found = [(row, row.largest) for row in rows if row.largest is not None]
    if not found:
        return ["-", "-", "", ""]
    row, point = max(found, key=lambda each: abs(each[1].difference))
    weights = [max(each.compared, 1) for each, _ in found]
    means = [p.difference if each.mean_difference is None else each.mean_difference for each, p in found]
    mean = sum(w * m for w, m in zip(weights, means, strict=True)) / sum(weights)
    return [
        signed(mean),
        signed(point.difference),
        f"{row.end or ''} {pairs_words(row.pairs)}".strip(),
        "-" if point.frequency_hz is None else f"{point.frequency_hz / 1e6:.4g}",
    ]


def _traces(result: FieldResult, width: int) -> list[str]:
    heads = ["parameter", "end", "pairs", "told", "points", "from MHz", "to MHz", "least", "most"]
    rows = [
        [
            parameter_words(trace.parameter),
            trace.end or "",
            pairs_words(trace.pairs),
            trace.quantity,
            str(trace.frequency_hz.size),
            f"{trace.frequency_hz[0] / 1e6:g}",
            f"{trace.frequency_hz[-1] / 1e6:g}",
            number(float(trace.value.min())),
            number(float(trace.value.max())),
        ]
        for trace in result.traces
        if trace.frequency_hz.size
    ]
    return tabled(heads, rows, width, figures=heads[4:], spare=("told", "least")) if rows else []


def _points(result: FieldResult, width: int) -> list[str]:
    heads = ["parameter", "end", "pairs", "MHz", "margin", "value", "limit"]
    rows = [
        [
            parameter_words(point.parameter),
            point.end or "",
            pairs_words(point.pairs),
            "-" if point.frequency_hz is None else f"{point.frequency_hz / 1e6:g}",
            signed(point.margin),
            number(point.value),
            number(point.limit),
        ]
        for point in result.points
    ]
    return tabled(heads, rows, width, figures=heads[3:]) if rows else []


def _each(compared: Sequence[ComparedTrace], width: int) -> list[str]:
    """Return how far each trace is from the bench's: how a wrong mapping shows itself."""
    heads = ["parameter", "end", "pairs", "compared", "left out", "mean", "largest", "at MHz"]
    rows = []
    order = list(Parameter)
    for row in sorted(compared, key=lambda row: (order.index(row.parameter), row.end or "", row.pairs)):
        mean, largest, _, where = _furthest([row])
        rows.append(
            [
                parameter_words(row.parameter),
                row.end or "",
                pairs_words(row.pairs),
                str(row.compared),
                str(row.left_out),
                mean,
                largest,
                where,
            ]
        )
    if not rows:
        return []
    return [*wrapped(_DIFFERENCE, width), *tabled(heads, rows, width, figures=heads[3:], spare=("left out",))]


def _says(result: FieldResult) -> str:
    told = {
        "tester": result.tester,
        "channel": result.channel,
        "requirement": result.requirement,
        "outcome": result.outcome,
    }
    return ", ".join(f"{name} {clean(value)}" for name, value in told.items() if value)
