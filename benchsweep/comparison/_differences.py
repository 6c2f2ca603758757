"""A tester's traces less the bench's, and where that means something."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.comparison._extrema import WITH_NULLS, matched_extrema
from benchsweep.comparison._grid import COARSE_DB, at_frequencies, inside, interpolation_error, limit_at
from benchsweep.comparison._names import Key, bench_key, by_key, curve_of, sense_of
from benchsweep.comparison._values import key_of, told_values
from benchsweep.records import FieldResult, FieldTrace, LimitCurve, Parameter, Trace, TraceDifference

__all__ = ["Floor", "differences", "not_compared"]

Floor = Callable[[Trace], NDArray[np.float64] | None]
"""For a trace of the bench the largest values, on its grid, that its bench still measures; None: all."""


def differences(
    result: FieldResult,
    traces: Sequence[Trace],
    limits: Sequence[LimitCurve] = (),
    *,
    floor: Floor | None = None,
    exempt: Mapping[Key, NDArray[np.bool_]] | None = None,
    near_limit_db: float = 10.0,
    null_steps: int = 2,
    coarse_db: float = COARSE_DB,
) -> tuple[TraceDifference, ...]:
    """Return tester less bench for every trace that both have, on the tester's points in the bench's band.

    The bench is interpolated, straight in dB over the logarithm of the frequency. Margins become values by
    the limit. A point counts unless

    - the bench value is more than `near_limit_db` above a limit that is a minimum, or there is no limit to be
      near to: far above it neither instrument is meant to be exact (a rule of this program from IEC 61935-1
      as remembered, not read). Losses and delays that have a maximum count everywhere;
    - the bench value is above its floor or no number (no signal);
    - the requirement does not count it (`exempt`);
    - the grid of the bench is too coarse there to be interpolated within `coarse_db`;
    - it lies beside a null.

    Extrema of traces with nulls are compared with the extremum of the bench within `null_steps` grid steps,
    minima only where that is nearer than the bench at the tester's frequency: there `bench` is the value of
    the bench at its own extremum, and `bench_frequency_hz` tells where that is.
    What the difference at the tester's frequency would have been is told in `why_not`. With `null_steps` 0
    every point is compared at its own frequency.

    Parameters
    ----------
    result
        Of the tester.
    traces
        Of the bench, values in dB (ns for delay and skew).
    limits
        Curves of the requirement, by parameter.
    floor
        See `Floor`.
    exempt
        For a trace of the bench which of its points the requirement does not count, on its grid.
    near_limit_db, null_steps, coarse_db
        As above.
    """
    there = by_key(traces)
    found = []
    for told in result.traces:
        key = bench_key(key_of(told), there)
        if key is None:
            continue
        bench = there[key]
        both = inside(told.frequency_hz, bench.frequency_hz)
        if not both.any():
            continue
        points = _Points(told, bench, limits, both)
        points.leave_out_what_is_no_number()
        if told.parameter.unit == "dB":
            points.leave_out_the_floor(floor(bench) if floor is not None else None)
            points.leave_out_exempt((exempt or {}).get(key))
            points.leave_out_coarse(coarse_db)
        if told.parameter in WITH_NULLS:
            points.match_extrema(null_steps)
        points.leave_out_far_from_the_limit(near_limit_db)
        found.append(points.difference(key))
    return tuple(found)


def not_compared(result: FieldResult, traces: Sequence[Trace]) -> tuple[tuple[Key, ...], tuple[Key, ...]]:
    """Return what only the tester told, and what only the bench measured.

    Parameters of which the tester tells nothing at all are named with each of their traces too. A number
    without a trace counts as told.
    """
    there = by_key(traces)
    told = [key_of(trace) for trace in result.traces]
    told += [(point.parameter, point.end, point.pairs) for point in result.points]
    known = {key: bench_key(key, there) for key in told}
    reached = set(known.values())
    # The insertion loss of a pair is the same from both ends: told once it is told.
    once = {key[2] for key in reached if key is not None and key[0] is Parameter.INSERTION_LOSS}
    missing = (
        key
        for key in there
        if key not in reached and not (key[0] is Parameter.INSERTION_LOSS and key[2] in once)
    )
    return tuple(key for key, bench in known.items() if bench is None), tuple(missing)


class _Points:
    """The points of one comparison while it is found out which of them count."""

    def __init__(
        self, told: FieldTrace, bench: Trace, limits: Sequence[LimitCurve], both: NDArray[np.bool_]
    ) -> None:
        values = told_values(told, limits)
        self.grid = told.frequency_hz[both]
        self.tester = values.value[both]
        self.source = bench
        self.bench = at_frequencies(self.grid, bench.frequency_hz, bench.value)
        self.where = self.grid.copy()
        self.counts = np.ones(self.grid.size, dtype=np.bool_)
        curve = curve_of(told.parameter, limits)
        self.sense = sense_of(told.parameter, curve)
        self.limit = np.full(self.grid.size, np.nan)
        if curve is not None:
            self.limit = limit_at(self.grid, curve.frequency_hz, curve.value)
        self.no_limit = curve is None
        self.why: list[str] = []
        outside = int((~both).sum())
        if outside:
            self.why.append(f"{outside} points outside the bench's band")

    def _leave_out(self, points: NDArray[np.bool_], why: str) -> None:
        lost = int((self.counts & points).sum())
        if lost:
            self.why.append(f"{lost} points {why}")
        self.counts &= ~points

    def leave_out_what_is_no_number(self) -> None:
        self._leave_out(np.isnan(self.tester), "told as margins where there is no limit to add them to")
        self._leave_out(~np.isfinite(self.bench), "without any signal on the bench")

    def leave_out_the_floor(self, floor: NDArray[np.float64] | None) -> None:
        if floor is not None:
            highest = at_frequencies(self.grid, self.source.frequency_hz, floor)
            self._leave_out(self.bench > highest, "below the noise and the residual errors of the bench")

    def leave_out_exempt(self, exempt: NDArray[np.bool_] | None) -> None:
        if exempt is not None:
            share = np.interp(self.grid, self.source.frequency_hz, exempt.astype(np.float64))
            self._leave_out(share >= 0.5, "that the requirement does not count")

    def leave_out_coarse(self, coarse_db: float) -> None:
        error = interpolation_error(self.grid, self.source.frequency_hz, self.source.value)
        self._leave_out(error > coarse_db, "where the bench's grid is too coarse to be interpolated")

    def match_extrema(self, steps: int) -> None:
        grid, value = self.source.frequency_hz, self.source.value
        if not (np.isfinite(self.tester).all() and np.isfinite(value).all()):
            return
        matched = matched_extrema(self.grid, self.tester, grid, value, steps)
        self._leave_out(matched.flanks, "beside a null, where the slightest shift is a large difference")
        keep = self.counts[matched.tester]
        own, others = matched.tester[keep], matched.bench[keep]
        # A sweep with few points steps over a narrow minimum. A shift may explain a difference there, not
        # make one; at a null only its depth says something.
        null = self.tester[own] > self.tester[own - 1]
        nearer = np.abs(self.tester[own] - value[others]) < np.abs(self.tester[own] - self.bench[own])
        own, others = own[null | nearer], others[null | nearer]
        moved = np.abs(self.grid[own] / grid[others] - 1.0) > 1e-9
        if moved.any():
            beside = np.abs(self.tester[own] - self.bench[own])[moved].max()
            self.bench[own], self.where[own] = value[others], grid[others]
            paired = np.abs(self.tester[own] - self.bench[own])[moved].max()
            self.why.append(
                f"{int(moved.sum())} extrema compared with the bench's own up to "
                f"{np.abs(self.grid[own] - grid[others]).max() / 1e6:.3g} MHz beside: largest difference "
                f"{paired:.2f} dB, at the tester's frequency {beside:.2f} dB"
            )

    def leave_out_far_from_the_limit(self, near_limit_db: float) -> None:
        if self.sense == "max":
            return
        if self.no_limit:
            self._leave_out(self.counts.copy(), "of a parameter that the requirement does not limit")
            return
        self._leave_out(np.isnan(self.limit), "where the requirement has no limit")
        with np.errstate(invalid="ignore"):
            far = self.bench > self.limit + near_limit_db
        self._leave_out(far, f"more than {near_limit_db:g} dB better than the limit")

    def difference(self, key: Key) -> TraceDifference:
        return TraceDifference(
            *key, self.grid, self.bench, self.tester, self.limit, self.counts, self.where, tuple(self.why)
        )
