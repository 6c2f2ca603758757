"""A chart for each parameter with all measurements in it: their worst traces, or how these are spread."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchsweep.records import End, LimitCurve, Parameter
from benchsweep.report.chart import Axis, Band, Chart, Curve, LimitLine, Mark, Panel
from benchsweep.report.content.charts._bars import MOST_LINES
from benchsweep.report.content.charts._frame import (
    Captioned,
    Floats,
    Grids,
    frequency_axis,
    named,
    over_frequency,
    placed_words,
    reach_of,
    worst_words,
)
from benchsweep.report.content.charts._kept import Kept, KeptTrace
from benchsweep.report.content.charts._looks import PAIR_LOOKS
from benchsweep.report.document import clean
from benchsweep.report.text import Texts, parameter_words, severity

__all__ = ["MOST_NAMED", "compared_charts"]

MOST_NAMED = 8
"""So many measurements are drawn one by one; of more, how they are spread."""

_LONGEST_NAME = 14
"""Where a name is longer than that, only the numbers of the measurements are written beside the curves."""

_MOST_LISTED = 5

# Eight curves told by dashes and marker: the four kinds of line of the pairs, without and with a circle.
_LOOKS = (
    *(replace(look, width=1.0) for look in PAIR_LOOKS.values()),
    *(replace(look, width=1.0, marker="circle") for look in PAIR_LOOKS.values()),
)

Found = dict[int, KeptTrace]


def compared_charts(kept: Sequence[Kept], texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return a chart for each parameter that has a limit, a panel for each end.

    Of up to `MOST_NAMED` measurements each is a curve: its worst trace at that end. Of more there are the
    least, the greatest and the median of what is worst in each at every frequency; measurements on another
    grid than most are left out of these and counted in the caption.
    """
    grids = Grids()
    charts: list[Captioned] = []
    for parameter in Parameter:
        by_end: dict[End | None, Found] = {}
        for place, one in enumerate(kept):
            for (what, end), trace in one.traces.items():
                if what is parameter:
                    by_end.setdefault(end, {})[place] = trace
        count = len({place for found in by_end.values() for place in found})
        if count < 2:
            continue
        words = parameter_words(parameter, texts)
        name = named(prefix, f"all-{parameter.value.replace('_', '-')}")
        one_by_one = len(kept) <= MOST_NAMED
        if one_by_one:
            caption = texts("chart.compared", parameter=words, count=count)
        else:
            by_end, left_out = _on_one_grid(by_end)
            caption = texts("chart.banded", parameter=words, count=count - left_out)
            if left_out:
                caption = texts("chart.other_grid", caption=caption, count=left_out)
        panels = _panels(parameter, by_end, kept, texts, grids, one_by_one=one_by_one)
        told = _told(parameter, by_end, kept, panels, texts, one_by_one=one_by_one)
        charts.append((Chart(name, told, panels), (caption,)))
    return charts


def _on_one_grid(by_end: dict[End | None, Found]) -> tuple[dict[End | None, Found], int]:
    """Return the traces on the grid that most have, and how many measurements have another."""
    sizes: Counter[bytes] = Counter()
    for found in by_end.values():
        sizes.update(trace.frequency_hz.tobytes() for trace in found.values())
    most = sizes.most_common(1)[0][0]
    fitting = {
        end: {place: trace for place, trace in found.items() if trace.frequency_hz.tobytes() == most}
        for end, found in by_end.items()
    }
    everyone = {place for found in by_end.values() for place in found}
    there = {place for found in fitting.values() for place in found}
    return {end: found for end, found in fitting.items() if found}, len(everyone - there)


def _panels(
    parameter: Parameter,
    by_end: dict[End | None, Found],
    kept: Sequence[Kept],
    texts: Texts,
    grids: Grids,
    *,
    one_by_one: bool,
) -> tuple[Panel, ...]:
    places = sorted({place for found in by_end.values() for place in found})
    lines = _lines(parameter, {place: kept[place] for place in places})
    limits = _limits(lines, texts, grids)
    numbers_only = any(len(clean(kept[place].specimen)) > _LONGEST_NAME for place in places)
    panels = []
    for end in sorted(by_end, key=lambda end: end or ""):
        found = by_end[end]
        place, worst = min(found.items(), key=lambda entry: severity(entry[1].row))
        head = "" if end is None else texts("where.end", end=end)
        least = texts("chart.worst_of_all", number=place + 1, worst=worst_words(worst.row, texts))
        bands: tuple[Band, ...] = ()
        if one_by_one:
            curves = [
                Curve(
                    _name(place, kept),
                    grids(trace.frequency_hz),
                    trace.value,
                    _LOOKS[place % len(_LOOKS)],
                    limit=_own_limit(parameter, trace, kept[place], lines),
                    short=str(place + 1) if numbers_only else "",
                )
                for place, trace in found.items()
            ]
        else:
            band, median = _spread(found, texts, grids)
            bands, curves = (band,), [replace(median, limit=0 if len(lines) == 1 else None)]
        panel = Panel(
            title=f"{head}: {least}" if head else least,
            name=head,
            x=frequency_axis(texts, [curve.x for curve in curves]),
            y=Axis(parameter_words(parameter, texts), parameter.unit),
            curves=tuple(curves),
            limits=limits,
            marks=_marks(worst),
            bands=bands,
        )
        panels.append(panel)
    reach = [reach_of(panel, parameter) for panel in panels]
    low, high = min(low for low, _ in reach), max(high for _, high in reach)
    return tuple(replace(panel, y=replace(panel.y, low=low, high=high)) for panel in panels)


def _spread(found: Found, texts: Texts, grids: Grids) -> tuple[Band, Curve]:
    """Return the least, the greatest and the median of the worst values at each frequency."""
    traces = list(found.values())
    x = grids(traces[0].frequency_hz)
    values = np.array([trace.worst for trace in traces], dtype=np.float64)
    there = ~np.isnan(values).all(axis=0)
    median: Floats = np.full(x.size, np.nan)
    median[there] = np.nanmedian(values[:, there], axis=0)
    band = Band(texts("chart.least_to_greatest"), x, np.fmin.reduce(values), np.fmax.reduce(values))
    return band, Curve(texts("chart.median"), x, median, replace(PAIR_LOOKS["12"], width=1.4))


@dataclass(frozen=True, eq=False)
class _Line:
    """A limit line, by whom it is set and for which measurements (numbers from 1)."""

    curve: LimitCurve
    requirements: list[int]
    measurements: list[int]


def _lines(parameter: Parameter, kept: Mapping[int, Kept]) -> list[_Line]:
    """Return the different limits of all; none of too many."""
    found: list[_Line] = []
    for number, one in kept.items():
        for place, curve in one.limits.get(parameter, ()):
            known = next((line for line in found if _same(line.curve, curve)), None)
            if known is None:
                known = _Line(curve, [], [])
                found.append(known)
            known.requirements.append(place + 1)
            known.measurements.append(number + 1)
    return found if len(found) <= MOST_LINES else []


def _same(one: LimitCurve, other: LimitCurve) -> bool:
    if one is other:
        return True
    return np.array_equal(one.frequency_hz, other.frequency_hz) and np.array_equal(
        one.value, other.value, equal_nan=True
    )


def _limits(lines: Sequence[_Line], texts: Texts, grids: Grids) -> tuple[LimitLine, ...]:
    """Return the lines, named by their requirements, or by the measurements that they are for.

    One requirement has several lines where measurements are of several lengths.
    """
    count = len({number for line in lines for number in line.requirements})
    found = []
    for line in lines:
        numbers = _listed(line.requirements) if count > 1 else ""
        name = texts("chart.limit_number", numbers=numbers) if numbers else texts("chart.limit")
        short = numbers
        if len(lines) > count:
            short = texts("chart.for_measurements", numbers=_listed(line.measurements))
            name = f"{name} {short}"
            short = f"{numbers} {short}" if numbers else short
        curve = line.curve
        held = curve.held if curve.held is not None and curve.held.any() else None
        x = grids(curve.frequency_hz)
        found.append(LimitLine(name, x, curve.value, curve.sense, held=held, short=short))
    return tuple(found)


def _listed(numbers: Sequence[int]) -> str:
    told = [str(number) for number in sorted(set(numbers))]
    return ", ".join(told if len(told) <= _MOST_LISTED else [*told[: _MOST_LISTED - 1], "…"])


def _own_limit(parameter: Parameter, trace: KeptTrace, one: Kept, lines: Sequence[_Line]) -> int | None:
    """Return the place of the one limit of a measurement; None where it has several, or on another grid."""
    own = one.limits[parameter]
    if len(own) != 1 or not np.array_equal(own[0][1].frequency_hz, trace.frequency_hz):
        return None
    return next((place for place, line in enumerate(lines) if _same(line.curve, own[0][1])), None)


def _marks(worst: KeptTrace) -> tuple[Mark, ...]:
    row = worst.row
    if row.frequency_hz is None or row.value is None:
        return ()
    return (Mark(row.frequency_hz / 1e6, row.value, "worst"),)


def _name(place: int, kept: Sequence[Kept]) -> str:
    """Return number in the report and name of a measurement."""
    return f"{place + 1} {clean(kept[place].specimen)}"


def _told(
    parameter: Parameter,
    by_end: dict[End | None, Found],
    kept: Sequence[Kept],
    panels: Sequence[Panel],
    texts: Texts,
    *,
    one_by_one: bool,
) -> str:
    """Return what a chart shows in a sentence, for those who hear it."""
    everything = [(place, trace) for found in by_end.values() for place, trace in found.items()]
    place, worst = min(everything, key=lambda entry: severity(entry[1].row))
    ends = sorted(by_end, key=lambda end: end or "")
    count = len({place for place, _ in everything})
    return texts(
        "chart.told_compared" if one_by_one else "chart.told_banded",
        what=over_frequency(parameter_words(parameter, texts), ends, texts),
        count=count,
        limits=texts("chart.limits", count=len(panels[0].limits)),
        name=_name(place, kept),
        worst=placed_words(worst.row, texts),
    )
