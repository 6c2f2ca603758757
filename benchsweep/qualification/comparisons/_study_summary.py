"""A study in one line for each parameter: its worst trace, and what a statement takes of mating from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from benchsweep.records import (
    GaugeStudy,
    InterlaboratoryStudy,
    MatingScatter,
    NestedStudy,
    Parameter,
    StudySummary,
)
from benchsweep.statistics import repeatability

__all__ = [
    "StudyResult",
    "alike_words",
    "mating_of",
    "mating_words",
    "quantity_words",
    "step_of",
    "study_parameter",
    "summarised",
    "unit_of",
]

StudyResult = GaugeStudy | NestedStudy | InterlaboratoryStudy
Results = Mapping[str, Sequence[StudyResult]]

_COCHRAN_LEVEL = 0.01
"""Beyond it traces are not pooled: an outlier of Cochran's test, no straggler (ISO 5725-2, 7.3.3)."""
_FINEST = 6
_EXACT = 1e-12
_OF_MATING = ("trial", "mating")
_NOTHING = 1e-9
"""Less scatter than this, in dB or ns, is that of sums of decimals: none was seen."""


def study_parameter(quantity: str) -> Parameter | None:
    """Return the parameter that a quantity names first; None: it is one of the laboratory's own."""
    word = quantity.split(" ", 1)[0]
    return Parameter(word) if word in set(Parameter) else None


def unit_of(quantity: str) -> str:
    """Return the unit of a quantity; dB of one of the laboratory's own."""
    parameter = study_parameter(quantity)
    return "dB" if parameter is None else parameter.unit


def quantity_words(quantity: str) -> str:
    """Return a quantity with the field's term for its parameter.

    Examples
    --------
    >>> quantity_words("acr_f A 12-36")
    'ACR-F A 12-36'
    """
    parameter = study_parameter(quantity)
    return quantity if parameter is None else parameter.term + quantity[len(parameter.value) :]


def step_of(values: ArrayLike) -> float | None:
    """Return the power of ten, at most 1, of which all values are whole multiples; None: of none.

    Results of testers come rounded: readings that round to the same number need not be alike, but no more can
    be said of them.

    Examples
    --------
    >>> step_of([3.1, 2.25, 4.0])
    0.01
    """
    told = np.asarray(values, dtype=np.float64).ravel()
    told = told[np.isfinite(told)]
    for power in range(_FINEST + 1):
        if np.abs(told - np.round(told, power)).max(initial=0.0) <= _EXACT * np.abs(told).max(initial=1.0):
            return 10.0**-power if told.size else None
    return None


def mating_of(
    results: Results, steps: Mapping[Parameter, float | None] = MappingProxyType({})
) -> Mapping[Parameter, MatingScatter]:
    """Return what one fresh mating adds to each parameter; nothing where the study cannot tell it.

    The variances of single matings are pooled over the traces of a parameter, as is right for what scatters
    alike (JCGM 100 (GUM), 4.2.4; NIST/SEMATECH e-Handbook 2.4.4). Where Cochran's test at 1 % says that one
    of them scatters more (ISO 5725-2, 7.3.3), pooling would give that one too little, and the largest is
    taken: that the test decides it is our own choice. Nothing smaller is taken than the part of the
    resolution, step over root 12 as standard uncertainty (GUM, F.2.2.1).
    """
    found: dict[Parameter, list[tuple[str, float, int]]] = {}
    for quantity, told in results.items():
        parameter = study_parameter(quantity)
        for each in told:
            if isinstance(each, NestedStudy) and each.mating_uncertainty is not None and parameter:
                freedom = each.freedom[each.levels.index("mating")]
                found.setdefault(parameter, []).append((quantity, each.mating_uncertainty, freedom))
    return MappingProxyType(
        {parameter: _scatter(each, steps.get(parameter)) for parameter, each in found.items()}
    )


def _scatter(traces: Sequence[tuple[str, float, int]], step: float | None) -> MatingScatter:
    widest, largest, freedom = max(traces, key=lambda each: each[1])
    least = min(each[2] for each in traces)
    expanded = repeatability.pooled_deviation([each[1] for each in traces], [each[2] for each in traces])
    taken, known = ("largest", freedom) if _one_scatters_more(traces, least) else ("pooled", least)
    expanded = largest if taken == "largest" else expanded
    resolution = 0.0 if step is None else 2.0 * step / math.sqrt(12.0)
    if expanded < resolution:
        expanded, taken = resolution, "step"
    return MatingScatter(expanded, known, len(traces), taken, largest, widest, step)  # type: ignore[arg-type]


def _one_scatters_more(traces: Sequence[tuple[str, float, int]], freedom: int) -> bool:
    squares = [each[1] ** 2 for each in traces]
    if len(squares) < 2 or not sum(squares) > 0.0:
        return False
    critical = repeatability.cochran_critical(len(squares), freedom + 1, _COCHRAN_LEVEL)
    return max(squares) / sum(squares) > critical


def mating_words(found: MatingScatter) -> str:
    """Return how a figure of mating came about: pooled or the largest, over how many traces, and why."""
    count = found.quantities
    traces = f"{count} trace{'s' if count != 1 else ''}"
    if found.taken == "step":
        return f"the step of {found.step:g} over root 12 (GUM F.2.2.1), its {traces} scatter less"
    free = f"{found.freedom} degrees of freedom"
    if count == 1:
        return f"its one trace {quantity_words(found.trace)}, {free}"
    if found.taken == "largest":
        return (
            f"largest of its {traces}, {quantity_words(found.trace)}, {free}; not pooled, because it "
            "scatters more than the others (Cochran's test at 1 %, ISO 5725-2, 7.3.3)"
        )
    widest = f"the largest is {found.largest:.2g} of {quantity_words(found.trace)}"
    return f"pooled over its {traces} (GUM 4.2.4), {free}; {widest}"


def summarised(results: Results, mating: Mapping[Parameter, MatingScatter]) -> tuple[StudySummary, ...]:
    """Return one line for each parameter, the one with the worst trace first."""
    groups: dict[str, list[str]] = {}
    for quantity in results:
        parameter = study_parameter(quantity)
        groups.setdefault(quantity if parameter is None else parameter.value, []).append(quantity)
    rows = [_summary(each, results, mating) for each in groups.values()]
    return tuple(sorted(rows, key=_badness, reverse=True))


def _badness(row: StudySummary) -> tuple[float, float]:
    scatter = max(row.repeatability or 0.0, row.reproducibility or 0.0)
    return (-1.0 if row.gauge_percent is None else row.gauge_percent, scatter)


def _summary(
    quantities: Sequence[str], results: Results, mating: Mapping[Parameter, MatingScatter]
) -> StudySummary:
    parameter = study_parameter(quantities[0])
    scatter = None if parameter is None else mating.get(parameter)
    each = [
        _of_trace(quantity, results[quantity], parameter, len(quantities), scatter) for quantity in quantities
    ]
    return max(each, key=_badness)


def _of_trace(
    quantity: str,
    told: Sequence[StudyResult],
    parameter: Parameter | None,
    traces: int,
    mating: MatingScatter | None,
) -> StudySummary:
    for found in told:
        if isinstance(found, GaugeStudy):
            share = dict(found.study_percent).get("gauge")
            return StudySummary(
                parameter,
                quantity,
                traces,
                found.repeatability,
                found.reproducibility,
                share,
                found.categories,
                "; ".join(found.words.split("; ")[:2]),
                mating,
            )
        if isinstance(found, InterlaboratoryStudy):
            words = "; ".join(found.outliers)
            return StudySummary(
                parameter,
                quantity,
                traces,
                found.repeatability,
                found.reproducibility,
                words=words,
                mating=mating,
            )
    found = next(each for each in told if isinstance(each, NestedStudy))
    own = dict(zip(found.levels, found.component, strict=True))
    inner = math.hypot(*(own[name] for name in _OF_MATING if name in own))
    words = found.words if inner > _NOTHING else "repeats to the last digit in every trial"
    return StudySummary(parameter, quantity, traces, inner, own.get("operator"), words=words, mating=mating)


def alike_words(alike: Sequence[str], whole: int, steps: Mapping[Parameter, float | None]) -> str:
    """Return in one line which quantities repeat to the last digit, and what that can mean."""
    count: dict[str, int] = {}
    bound: dict[str, str] = {}
    for quantity in alike:
        parameter = study_parameter(quantity)
        name = quantity if parameter is None else parameter.term
        count[name] = count.get(name, 0) + 1
        step = None if parameter is None else steps.get(parameter)
        if parameter is not None and step is not None:
            own = step / math.sqrt(12.0)
            bound[f"{step:g} {parameter.unit}"] = f"{own:.2g} {parameter.unit}"
    named = ", ".join(f"{name} {number}" for name, number in count.items())
    words = (
        f"{len(alike)} of {whole} traces repeat to the last digit in every trial ({named}): "
        "no Gauge R&R study of them"
    )
    if not bound:
        return (
            f"{words}; the resolution of the results bounds what can be seen (its own part: step over root "
            "12, GUM F.2.2.1)"
        )
    return (
        f"{words}; the results come in steps of {' and '.join(bound)}, which bounds what can be seen: the "
        f"step alone makes {' and '.join(bound.values())} (step over root 12, GUM F.2.2.1)"
    )
