"""How much of the band a tester told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from benchsweep import comparison
from benchsweep.qualification.comparisons._bench import BenchRecord
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.records import FieldResult

__all__ = ["band_words"]

_Band = tuple[float, float]


def band_words(result: FieldResult, bench: BenchRecord) -> tuple[str, ...]:
    """Return of which parameters the tester told only a part of the band that is limited and measured.

    Single numbers are of no band. A beginning up to half an octave later, or an end up to a twentieth lower,
    is how testers space their points, and is not told of (`band_begin`, `band_end` of the rules).
    """
    found: dict[tuple[_Band, _Band], list[str]] = defaultdict(list)
    for term, told, whole in _bands(result, bench):
        rules = comparison_rules().compare
        if told[0] > rules.band_begin * whole[0] or told[1] < rules.band_end * whole[1]:
            terms = found[told, whole]
            if term not in terms:
                terms.append(term)
    return tuple(
        f"{', '.join(terms)} told from {_mhz(told)} only, limited and measured from {_mhz(whole)}: "
        "of the rest nothing is said"
        for (told, whole), terms in found.items()
    )


def _bands(result: FieldResult, bench: BenchRecord) -> Iterator[tuple[str, _Band, _Band]]:
    there = {(trace.parameter, trace.end, trace.pairs): trace for trace in bench.evaluation.traces}
    curves = {curve.parameter: curve for curve in bench.curves}
    for trace in result.traces:
        key = comparison.bench_key((trace.parameter, trace.end, trace.pairs), there)
        curve = curves.get(trace.parameter)
        if key is None or curve is None:
            continue
        limited = curve.frequency_hz[np.isfinite(curve.value)]
        grid = there[key].frequency_hz
        if limited.size:
            low, high = max(limited[0], grid[0]), min(limited[-1], grid[-1])
            told = trace.frequency_hz
            yield trace.parameter.term, (float(told[0]), float(told[-1])), (float(low), float(high))


def _mhz(band: _Band) -> str:
    return f"{band[0] / 1e6:.4g} to {band[1] / 1e6:.4g} MHz"
