"""The parts of the uncertainty of a difference: bench, tester, mating, temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.qualification.comparisons._bench import BenchRecord
from benchsweep.qualification.comparisons._statement import Stated
from benchsweep.records import ComparedPoint, Trace
from benchsweep.testers import DeclaredAccuracy

__all__ = ["Parts", "Points", "Sources", "point_of"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sources:
    """What is known of uncertainties besides the budget of the record.

    Parameters
    ----------
    accuracy
        Declared of the tester; None: nothing is.
    stated
        What mating and temperature add; None: it is not stated.
    """

    accuracy: DeclaredAccuracy | None
    stated: Stated | None


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Where a tester is held against a trace of the bench, ``(n,)`` each.

    Parameters
    ----------
    frequency_hz, bench_frequency_hz
        Where the tester's value stands, and the bench's.
    bench, tester
        Values (no margins), in dB or ns.
    margin
        Of the tester to the requirement; None: all points are near the limit.
    frequency_known
        False: the tester tells no frequency, and only what is declared for all alike counts.
    """

    frequency_hz: Floats
    bench_frequency_hz: Floats
    bench: Floats
    tester: Floats
    margin: Floats | None
    frequency_known: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Expanded uncertainties (k = 2) at ``(n,)`` points, in the unit of the value; NaN or None: not known.

    Parameters
    ----------
    bench, tester
        NaN where nothing is known. What of the bench counts lies on the side on which the tester is.
    mating, temperature
        None where it is not stated.
    """

    bench: Floats
    tester: Floats
    mating: float | None
    temperature: Floats | None

    @property
    def total(self) -> Floats:
        """Root of the sum of squares without what is not stated; NaN where bench or tester is not known."""
        squares = self.bench**2 + self.tester**2
        if self.mating is not None:
            squares = squares + self.mating**2
        if self.temperature is not None:
            squares = squares + self.temperature**2
        return np.asarray(np.sqrt(squares), dtype=np.float64)

    @property
    def whole(self) -> bool:
        """All parts are stated."""
        return self.mating is not None and self.temperature is not None

    @classmethod
    def of(cls, bench: BenchRecord, trace: Trace, sources: Sources, points: Points) -> Parts:
        """Return the parts at some points of a trace of the bench."""
        parameter = trace.parameter
        declared = None
        if sources.accuracy is not None:
            at = points.frequency_hz if points.frequency_known else None
            declared = sources.accuracy.expanded(parameter, at, points.tester, points.margin)
        mating = None if sources.stated is None else sources.stated.of_mating(parameter)
        temperature = None
        if sources.stated is not None:
            temperature = sources.stated.of_temperature(parameter, points.bench)
        return cls(
            _of_bench(bench, trace, points.bench_frequency_hz, points.tester - points.bench),
            np.full(points.frequency_hz.shape, np.nan) if declared is None else np.asarray(declared),
            mating,
            temperature,
        )


def _of_bench(bench: BenchRecord, trace: Trace, frequency_hz: Floats, difference: Floats) -> Floats:
    """Return the uncertainty of the bench on the side of the difference, of the worse grid point."""
    grid = trace.frequency_hz
    upper = np.clip(np.searchsorted(grid, frequency_hz * (1.0 - 1e-9)), 0, grid.size - 1)
    exact = np.abs(grid[upper] / frequency_hz - 1.0) < 1e-6
    lower = np.where(exact, upper, np.maximum(upper - 1, 0))
    asked = np.zeros(grid.size, dtype=np.bool_)
    asked[lower] = asked[upper] = True
    found = bench.interval(trace, asked)
    if found is None:
        return np.full(frequency_hz.shape, np.nan)
    side = np.where(
        difference > 0.0,
        np.fmax(found.high[lower], found.high[upper]),
        np.fmax(found.low[lower], found.low[upper]),
    )
    return np.where(np.isfinite(side), side, np.nan)


def point_of(
    parts: Parts, at: int, frequency_hz: float | None, bench: float, tester: float, limit: float | None
) -> ComparedPoint:
    """Return one point with its uncertainties, E_n and zeta."""

    def known(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    total = known(parts.total[at])
    difference = tester - bench
    e_n = None if total is None or total <= 0.0 else difference / total
    return ComparedPoint(
        frequency_hz=frequency_hz,
        bench=bench,
        tester=tester,
        difference=difference,
        bench_uncertainty=known(parts.bench[at]),
        tester_uncertainty=known(parts.tester[at]),
        mating_uncertainty=parts.mating,
        temperature_uncertainty=None if parts.temperature is None else known(parts.temperature[at]),
        uncertainty=total,
        e_n=e_n,
        # With all parts expanded by 2, zeta is twice E_n (ISO 13528).
        zeta=None if e_n is None else 2.0 * e_n,
        limit=limit if limit is not None and np.isfinite(limit) else None,
    )
