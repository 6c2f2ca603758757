"""A chart for each quantity over distance: a panel for each pair or pair combination, both ends in it.

Both ends are drawn over the distance from end A where the length is known, so that a place that both see
stands at one spot; else each over the distance from its own end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from benchsweep.records import DistanceKind, DistanceTrace, Fault
from benchsweep.report.chart import Axis, Chart, Curve, Panel, Span
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content.charts._frame import Captioned, Floats, named
from benchsweep.report.content.charts._looks import END_LOOKS
from benchsweep.report.text import Texts, number, pairs_words, where_words

__all__ = ["distance_charts", "loss_ticks", "place_of"]

_CAPTIONS: Mapping[DistanceKind, str] = MappingProxyType(
    {
        "reflection": "chart.reflection_over_distance",
        "crosstalk": "chart.crosstalk_over_distance",
        "impedance": "chart.impedance_over_distance",
    }
)
_ROUND_DB = (0, 3, 6, 10, 14, 20, 26, 30, 34, 40, 46, 50, 54, 60, 66, 70, 74, 80, 86, 90, 94, 100, 106, 110)
_NOMINAL_OHM = 100.0
_LEAST_SPAN_OHM = 10.0
_SHOWN_OHM = (40.0, 250.0)
_FAR_BEYOND = 4.0
_PANEL_HEIGHT = 126.0
_MOST_TOLD = 4

Reach = tuple[float, float]


def distance_charts(group: Sequence[ReportItem], texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return a chart for each kind of quantity over distance that was found; the faults are marked in it.

    Parameters
    ----------
    group
        Items of one measurement.
    prefix
        Names of charts begin with it; unique in the document.
    """
    findings = findings_of(group)
    told_m = group[0].measurement.specimen.length_m
    length_m = told_m if findings.length_m is None else findings.length_m
    found: list[Captioned] = []
    for kind, key in _CAPTIONS.items():
        traces = [trace for trace in findings.profiles if trace.kind == kind]
        if traces:
            name = named(prefix, f"distance-{kind}")
            found.append((_chart(name, kind, traces, findings.faults, length_m, texts), (texts(key),)))
    return found


def _chart(
    name: str,
    kind: DistanceKind,
    traces: Sequence[DistanceTrace],
    faults: Sequence[Fault],
    length_m: float | None,
    texts: Texts,
) -> Chart:
    by_pairs: dict[tuple[str, ...], list[DistanceTrace]] = {}
    for trace in traces:
        by_pairs.setdefault(trace.pairs, []).append(trace)
    reaches = _reaches(kind, list(by_pairs.values()))
    resolution_m = max(trace.resolution_m for trace in traces)
    panels = []
    for place, (pairs, of_pairs) in enumerate(by_pairs.items()):
        panels.append(
            Panel(
                title=where_words(None, pairs, texts),
                x=_distance_axis(traces, length_m, texts),
                y=_value_axis(kind, reaches[place], texts),
                curves=tuple(_curve(trace, length_m, texts) for trace in of_pairs),
                spans=(*_end_spans(length_m), *_fault_spans(pairs, faults, length_m)),
                levels=(_NOMINAL_OHM if kind == "impedance" else 0.0,),
                note="" if place else texts("chart.resolution", length=number(resolution_m, texts)),
                note_length=0.0 if place else resolution_m,
            )
        )
    return Chart(
        name,
        _told(kind, traces, faults, length_m, texts),
        tuple(panels),
        across=3 if len(panels) > 4 else min(len(panels), 2),
        panel_height=_PANEL_HEIGHT,
        shared_y=False,
        named_curves=False,
    )


def _curve(trace: DistanceTrace, length_m: float | None, texts: Texts) -> Curve:
    x, y = _over_a(trace, length_m)
    return Curve(texts("chart.from_end", end=trace.end), x, y, END_LOOKS[trace.end], trace.pairs)


def _over_a(trace: DistanceTrace, length_m: float | None) -> tuple[Floats, Floats]:
    """Return distance from end A, rising, and value; from its own end where the length is not known."""
    if trace.end == "B" and length_m is not None:
        return (length_m - trace.distance_m)[::-1], trace.value[::-1]
    return trace.distance_m, trace.value


def _distance_axis(traces: Sequence[DistanceTrace], length_m: float | None, texts: Texts) -> Axis:
    if length_m is not None:
        return Axis(texts("chart.distance_from_a"), "m", low=-0.06 * length_m, high=1.06 * length_m)
    longest = max(float(trace.distance_m[-1]) for trace in traces) or 1.0
    return Axis(texts("chart.distance_from_own"), "m", low=0.0, high=longest)


def _value_axis(kind: DistanceKind, reach: Reach, texts: Texts) -> Axis:
    """Return the axis of values; coefficients are labelled with the loss that they are."""
    low, high = reach
    margin = 0.06 * (high - low) or 1e-6
    bottom, top = low - (0.0 if kind == "crosstalk" else margin), high + margin
    if kind == "impedance":
        return Axis(texts("chart.impedance"), "ohm", low=bottom, high=top)
    words = texts("parameter.return_loss" if kind == "reflection" else "parameter.next")
    ticks = tuple(loss_ticks(high, both_sides=kind == "reflection"))
    return Axis(words, "dB", low=bottom, high=top, ticks=ticks, loss=True)


def _reaches(kind: DistanceKind, panels: Sequence[Sequence[DistanceTrace]]) -> list[Reach]:
    """Return how far the values of each panel reach: one scale, but for panels that go far beyond it."""
    reaches = [_reach(kind, traces) for traces in panels]
    usual = float(np.median([high - low for low, high in reaches])) * _FAR_BEYOND
    ordinary = [(low, high) for low, high in reaches if high - low <= usual] or reaches
    shared = min(low for low, _ in ordinary), max(high for _, high in ordinary)
    return [shared if high - low <= usual else (low, high) for low, high in reaches]


def _reach(kind: DistanceKind, traces: Sequence[DistanceTrace]) -> Reach:
    low = min(float(trace.value.min()) for trace in traces)
    high = max(float(trace.value.max()) for trace in traces)
    if kind == "impedance":
        low, high = (float(np.clip(edge, *_SHOWN_OHM)) for edge in (low, high))
        middle = (low + high) / 2.0
        return min(low, middle - _LEAST_SPAN_OHM / 2.0), max(high, middle + _LEAST_SPAN_OHM / 2.0)
    if kind == "reflection":
        reach = max(abs(low), abs(high))
        return -reach, reach
    return 0.0, high


def loss_ticks(highest: float, *, both_sides: bool) -> list[tuple[float, str]]:
    """Return coefficients at round losses up to `highest`, far enough apart to be read, and their words.

    A coefficient of 0 is an infinite loss.
    """
    found: list[tuple[float, str]] = []
    least = 0.1 * highest * (2.0 if both_sides else 1.0)
    last = np.inf
    for loss_db in _ROUND_DB:
        value = 10.0 ** (-loss_db / 20.0)
        if value <= highest * 1.02 and last - value >= least and value >= least:
            found.append((value, f"{loss_db}"))
            last = value
    below = [(-value, words) for value, words in found] if both_sides else []
    return [*below, (0.0, "∞"), *reversed(found)]


def place_of(fault: Fault, length_m: float | None) -> tuple[float, float] | None:
    """Return from where to where a fault is, in metres from end A; None when that is not known."""
    if fault.from_m is not None and fault.to_m is not None:
        return fault.from_m, fault.to_m
    if fault.end == "A":
        return 0.0, 0.0
    return (length_m, length_m) if fault.end == "B" and length_m is not None else None


def _end_spans(length_m: float | None) -> list[Span]:
    """Return where the specimen begins and ends."""
    return [] if length_m is None else [Span(at, at, faint=True) for at in (0.0, length_m)]


def _fault_spans(pairs: tuple[str, ...], faults: Sequence[Fault], length_m: float | None) -> list[Span]:
    """Return where faults of these pairs are, with their numbers in the report."""
    told: dict[tuple[float, float], list[str]] = {}
    for place, fault in enumerate(faults, start=1):
        where = place_of(fault, length_m)
        if where is not None and _concerns(fault, pairs):
            told.setdefault(where, []).append(str(place))
    return [Span(begin, end, ", ".join(numbers)) for (begin, end), numbers in told.items()]


def _concerns(fault: Fault, pairs: tuple[str, ...]) -> bool:
    """Return whether a fault belongs in the panel of `pairs`; one of several pairs lies between these."""
    common = set(pairs) & set(fault.pairs)
    return not fault.pairs or len(common) >= min(len(pairs), len(set(fault.pairs)))


def _told(
    kind: DistanceKind,
    traces: Sequence[DistanceTrace],
    faults: Sequence[Fault],
    length_m: float | None,
    texts: Texts,
) -> str:
    """Return what a chart shows in a sentence, for those who hear it."""
    what = texts(
        "chart.told_distance",
        what=texts(_CAPTIONS[kind]),
        curves=texts("chart.curves", count=len(traces)),
        extreme=_extreme(kind, traces, length_m, texts),
    )
    places = [(n, place_of(fault, length_m)) for n, fault in enumerate(faults, start=1)]
    known = [(n, place) for n, place in places if place is not None]
    if not known:
        return what
    told = [
        texts("chart.fault_between", number=n, begin=number(begin, texts), end=number(end, texts))
        if end > begin
        else texts("chart.fault_at", number=n, place=number(begin, texts))
        for n, (begin, end) in known[:_MOST_TOLD]
    ]
    if len(known) > _MOST_TOLD:
        told.append(texts("chart.more_faults", count=len(known) - _MOST_TOLD))
    return texts("chart.told_faults", what=what, faults=", ".join(told))


def _extreme(
    kind: DistanceKind, traces: Sequence[DistanceTrace], length_m: float | None, texts: Texts
) -> str:
    """Return the strongest reflection or crosstalk within the length, or how far impedances reach there."""
    inside = [trace.distance_m <= (np.inf if length_m is None else length_m) for trace in traces]
    if kind == "impedance":
        within = [trace.value[mask] for trace, mask in zip(traces, inside, strict=True)]
        low, high = min(float(part.min()) for part in within), max(float(part.max()) for part in within)
        return texts("chart.impedance_from_to", low=number(low, texts, 1), high=number(high, texts, 1))
    peaks = [float(np.abs(trace.value[mask]).max()) for trace, mask in zip(traces, inside, strict=True)]
    place = int(np.argmax(peaks))
    trace, peak = traces[place], peaks[place]
    if peak == 0.0:
        return texts("chart.nothing_comes_back")
    at = int(np.argmax(np.where(inside[place], np.abs(trace.value), -1.0)))
    return texts(
        "chart.strongest",
        pairs=pairs_words(trace.pairs, texts),
        loss=number(-20.0 * float(np.log10(peak)), texts, 1),
        place=number(float(trace.distance_m[at]), texts),
        end=trace.end,
    )
