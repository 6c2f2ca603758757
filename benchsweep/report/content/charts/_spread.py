"""A chart for each requirement: the worst margin of every measurement, parameter by parameter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from benchsweep.records import Outcome, Parameter
from benchsweep.report.chart import Axis, Chart, Curve, Look, Mark, Panel
from benchsweep.report.content.charts._frame import Captioned, named
from benchsweep.report.content.charts._kept import Kept, KeptMargin
from benchsweep.report.document import Given, clean
from benchsweep.report.text import ORDER, Texts, outcome_words, parameter_words, signed

__all__ = ["OUTCOME_LOOKS", "spread_charts"]

OUTCOME_LOOKS: Mapping[Outcome, Look] = MappingProxyType(
    {
        Outcome.PASS: Look("#0072B2", width=0.0, marker="circle"),
        Outcome.CONDITIONAL_PASS: Look("#009E73", width=0.0, marker="square"),
        Outcome.UNDECIDED: Look("#555555", width=0.0, marker="triangle"),
        Outcome.CONDITIONAL_FAIL: Look("#882255", width=0.0, marker="diamond"),
        Outcome.FAIL: Look("#D55E00", width=0.0, marker="diamond", filled=True),
    }
)
_SPREAD = 0.35
_MOST_DOTS = 120
_MOST_NAMED = 8
_PANEL_HEIGHT = 190.0

Found = dict[Parameter, list[tuple[int, KeptMargin]]]


def spread_charts(kept: Sequence[Kept], texts: Texts, *, prefix: str) -> list[Captioned]:
    """Return a chart for each requirement, a dot for the worst margin of each measurement and parameter.

    Inside the column of a parameter the dots stand from left to right in the order of the report. Of very
    many dots of one outcome in a column the least, the greatest and some evenly spread over those between
    are drawn.
    """
    charts: list[Captioned] = []
    requirements = dict.fromkeys(name for one in kept for name in one.requirements)
    for number, requirement in enumerate(requirements, start=1):
        found: Found = {}
        for parameter in Parameter:
            margins = [(place, one.margins.get((requirement, parameter))) for place, one in enumerate(kept)]
            there = [(place, margin) for place, margin in margins if margin is not None]
            if there:
                found[parameter] = there
        if not found:
            continue
        count = len({place for there in found.values() for place, _ in there})
        panels = [
            _panel({p: there for p, there in found.items() if p.unit == unit}, kept, unit, texts)
            for unit in dict.fromkeys(p.unit for p in found)
        ]
        name = named(prefix, f"spread-{number}")
        words = _told(requirement, found, kept, count, texts)
        chart = Chart(
            name,
            words,
            tuple(panels),
            across=1,
            panel_height=_PANEL_HEIGHT,
            shared_y=False,
            named_curves=False,
        )
        charts.append((chart, texts.line("chart.spread", requirement=Given(requirement), count=count)))
    return charts


def _panel(found: Found, kept: Sequence[Kept], unit: str, texts: Texts) -> Panel:
    points: dict[Outcome, list[tuple[float, float]]] = {}
    failing: list[tuple[float, float, str]] = []
    for column, there in enumerate(found.values()):
        by_outcome: dict[Outcome, list[tuple[float, float]]] = {}
        for place, margin in there:
            x, y = column + _offset(place, len(kept)), margin.row.worst_margin_db or 0.0
            by_outcome.setdefault(margin.outcome, []).append((x, y))
            if margin.outcome is Outcome.FAIL:
                failing.append((x, y, kept[place].specimen))
        for outcome, seen in by_outcome.items():
            points.setdefault(outcome, []).extend(_thinned(seen))
    curves = []
    for outcome in (outcome for outcome in reversed(ORDER) if outcome in points):
        x, y = np.array(points[outcome]).T
        curves.append(Curve(outcome_words(outcome, texts), x, y, OUTCOME_LOOKS[outcome]))
    marks = (
        tuple(Mark(x, y, "words", clean(name)) for x, y, name in failing)
        if len(failing) <= _MOST_NAMED
        else ()
    )
    ticks = tuple((float(column), parameter_words(p, texts)) for column, p in enumerate(found))
    return Panel(
        title="",
        x=Axis("", low=-0.5, high=len(found) - 0.5, ticks=ticks),
        y=Axis(texts("chart.worst_margin"), unit),
        curves=tuple(curves),
        marks=marks,
        levels=(0.0,),
    )


def _offset(place: int, count: int) -> float:
    return 0.0 if count == 1 else _SPREAD * (2.0 * place / (count - 1) - 1.0)


def _thinned(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    if len(points) <= _MOST_DOTS:
        return list(points)
    ranked = sorted(points, key=lambda point: point[1])
    return [ranked[place] for place in np.linspace(0, len(ranked) - 1, _MOST_DOTS).astype(int)]


def _told(requirement: str, found: Found, kept: Sequence[Kept], count: int, texts: Texts) -> str:
    """Return what a chart shows in a sentence, for those who hear it."""
    everything = [(p, place, margin) for p, there in found.items() for place, margin in there]
    in_db = [one for one in everything if one[0].unit == "dB"] or everything
    parameter, place, margin = min(in_db, key=lambda one: one[2].row.worst_margin_db or 0.0)
    outcomes = [min((m.outcome for _, m in part), key=ORDER.index) for part in _by_place(everything).values()]
    return texts(
        "chart.told_spread",
        requirement=clean(requirement),
        count=count,
        failing=sum(outcome is Outcome.FAIL for outcome in outcomes),
        parameter=parameter_words(parameter, texts),
        margin=signed(margin.row.worst_margin_db, texts),
        unit=parameter.unit,
        specimen=clean(kept[place].specimen),
    )


def _by_place(
    everything: Sequence[tuple[Parameter, int, KeptMargin]],
) -> dict[int, list[tuple[Parameter, KeptMargin]]]:
    found: dict[int, list[tuple[Parameter, KeptMargin]]] = {}
    for parameter, place, margin in everything:
        found.setdefault(place, []).append((parameter, margin))
    return found
