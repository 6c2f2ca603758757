"""Each number of a tester, and how far from it every trace lies whose it could be.

What a tester that keeps its accuracy can do is bounded: at a point at which two traces of the bench are
farther apart than the errors allowed for both together, such a tester lies nearer to its own. So at these
*telling* points it never speaks for the other name, and a tester with exchanged names always does, however
its errors are distributed. That is the reason of all thresholds here; there is no probability in it.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from benchsweep.comparison._grid import at_frequencies, inside, interpolation_error
from benchsweep.comparison._names import Key
from benchsweep.records import Parameter, Trace

__all__ = ["AllowedErrors", "Evidence", "Likely", "Numbers"]


@dataclass(frozen=True, slots=True)
class AllowedErrors:
    """Errors that a tester may have without a suspicion that its names or units are wrong.

    The figures are this program's, wider than the accuracy of any tester that is worth comparing (standing:
    common practice; residual terms of such instruments as recalled give 0.5 dB to 2 dB near the limit).

    Parameters
    ----------
    db
        Of any loss, in dB.
    null_db
        Added in a null of the bench's trace, by how far the value stands above the loss around it, in dB.
    ns
        Of a delay against the mean over the pairs, and of a skew, in ns.
    ceiling_db
        Losses above it are taken as equal to it: below the floor of some testers.
    """

    db: float = 1.5
    null_db: float = 3.0
    ns: float = 5.0
    ceiling_db: float = 70.0


@dataclass(frozen=True, slots=True, eq=False)
class Likely:
    """What a trace of the bench allows a tester to say at some frequencies.

    Parameters
    ----------
    lower, upper
        ``(n,)`` the values of the bench there and within half a step of its grid.
    allowed
        ``(n,)`` how far beyond them a tester may be.
    """

    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    allowed: NDArray[np.float64]

    def distance(self, value: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return how far values lie outside, in units of what is allowed: at most 1 for a good tester."""
        beyond = np.maximum(np.maximum(self.lower - value, value - self.upper), 0.0)
        return np.asarray(beyond / self.allowed, dtype=np.float64)

    def apart(self, other: Likely) -> NDArray[np.bool_]:
        """Tell where no tester with allowed errors can be as near to the one as to the other."""
        gap = np.maximum(self.lower - other.upper, other.lower - self.upper)
        return np.asarray(gap > self.allowed + other.allowed, dtype=np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class Numbers:
    """What a tester told under one name: values with where they are, NaN-free.

    `frequency_hz` is None for a single number that stands for the whole trace (delay, skew, worst margin);
    then `single` holds by name of each trace of the bench what it would be.
    """

    key: Key
    value: NDArray[np.float64]
    frequency_hz: NDArray[np.float64] | None = None
    single: Mapping[Key, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """A trace of the bench up to the ceiling, its step, and 1 in its nulls, 0 beside them."""

    grid: NDArray[np.float64]
    loss: NDArray[np.float64]
    step: NDArray[np.float64]
    null: NDArray[np.float64]

    @classmethod
    def of(cls, trace: Trace, allowed: AllowedErrors) -> _Course:
        grid, loss = trace.frequency_hz, np.minimum(trace.value, allowed.ceiling_db)
        step = np.gradient(grid) if grid.size > 1 else np.zeros(1)
        return cls(grid, loss, step, np.clip((loss - _around(loss)) / 4.0, 0.0, 1.0))


def _likely_values(frequency_hz: NDArray[np.float64], course: _Course, allowed: AllowedErrors) -> Likely:
    """Return what a trace of the bench (losses in dB) allows at some frequencies in its band."""
    grid = course.grid
    step = np.interp(frequency_hz, grid, course.step)
    around = [
        at_frequencies(np.clip(frequency_hz + part * step, grid[0], grid[-1]), grid, course.loss)
        for part in (-0.5, 0.0, 0.5)
    ]
    null = np.interp(frequency_hz, grid, course.null)
    coarse = interpolation_error(frequency_hz, grid, course.loss)
    error = allowed.db + allowed.null_db * null + coarse
    return Likely(np.min(around, axis=0), np.max(around, axis=0), error)


def _around(loss: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the median of the loss over an eighth of the trace around each point."""
    half = max(2, loss.size // 16)
    around: NDArray[np.float64] = ndimage.median_filter(loss, size=2 * half + 1, mode="nearest")
    return around


class Evidence:
    """The numbers of a tester with the distance to every trace of the same parameter."""

    # A single deep null or a single wrong number must not outweigh everything else.
    _MOST = 4.0

    def __init__(
        self, numbers: Iterable[Numbers], there: Mapping[Key, Trace], allowed: AllowedErrors
    ) -> None:
        self.allowed = allowed
        self.there = there
        # Filled by whoever tries other names: those of all numbers under each of them.
        self.renamed: dict[Hashable, tuple[Key | None, ...]] = {}
        self.numbers: list[Numbers] = []
        self._likely: list[dict[Key, Likely]] = []
        self._on_grid: dict[tuple[Key, bytes], Likely] = {}
        self._courses: dict[Key, _Course] = {}
        self._distances: dict[tuple[int, Key], NDArray[np.float64]] = {}
        self._costs: dict[tuple[int, Key], float] = {}
        self._votes: dict[tuple[int, Key, Key], tuple[int, int]] = {}
        by_parameter: dict[Parameter, list[Key]] = {}
        for key in there:
            by_parameter.setdefault(key[0], []).append(key)
        for one in numbers:
            candidates = self._candidates(one, by_parameter.get(one.key[0], ()))
            if one.key in candidates:
                self.numbers.append(one)
                self._likely.append(candidates)

    def _candidates(self, one: Numbers, names: Sequence[Key]) -> dict[Key, Likely]:
        if one.frequency_hz is None:
            error = np.array([self.allowed.ns if one.key[0].unit == "ns" else self.allowed.db])
            return {
                name: Likely(np.array([one.single[name]]), np.array([one.single[name]]), error)
                for name in names
                if name in one.single
            }
        found = {}
        grid = one.frequency_hz.tobytes()
        for name in names:
            if (name, grid) not in self._on_grid:
                trace = self.there[name]
                if not inside(one.frequency_hz, trace.frequency_hz).all():
                    continue
                if name not in self._courses:
                    self._courses[name] = _Course.of(trace, self.allowed)
                self._on_grid[name, grid] = _likely_values(
                    one.frequency_hz, self._courses[name], self.allowed
                )
            found[name] = self._on_grid[name, grid]
        return found

    def _told(self, at: int) -> NDArray[np.float64]:
        one = self.numbers[at]
        return one.value if one.frequency_hz is None else np.minimum(one.value, self.allowed.ceiling_db)

    def has(self, at: int, name: Key) -> bool:
        """Tell whether the bench has a trace of that name to hold the numbers against."""
        return name in self._likely[at]

    def names(self, at: int) -> tuple[Key, ...]:
        """Return all names that the numbers could have."""
        return tuple(self._likely[at])

    def distances(self, at: int, name: Key) -> NDArray[np.float64]:
        """Return how far the numbers lie from a trace, in units of the allowed error."""
        if (at, name) not in self._distances:
            self._distances[at, name] = self._likely[at][name].distance(self._told(at))
        return self._distances[at, name]

    def cost(self, at: int, name: Key) -> float:
        """Return the mean distance, each at most 4: not above 1 for the own name of a good tester."""
        if (at, name) not in self._costs:
            self._costs[at, name] = float(np.minimum(self.distances(at, name), self._MOST).mean())
        return self._costs[at, name]

    def misfit(self, among: Iterable[int]) -> float:
        """Return the mean cost under whatever name fits best: not above 1 for a good tester."""
        costs = [min(self.cost(at, name) for name in self.names(at)) for at in among]
        return float(np.mean(costs)) if costs else 0.0

    def mean_difference(self, at: int) -> float:
        """Return the mean over frequency of the numbers less the trace of their own name."""
        likely = self._likely[at][self.numbers[at].key]
        return float(np.mean(self._told(at) - 0.5 * (likely.lower + likely.upper)))

    def telling(self, at: int, one: Key, other: Key) -> NDArray[np.bool_]:
        """Tell which of the numbers a good tester cannot have under both names."""
        return self._likely[at][one].apart(self._likely[at][other])

    def votes(self, at: int, one: Key, other: Key) -> tuple[int, int]:
        """Return how many numbers are telling between two names, and how many of them speak for `other`."""
        if (at, one, other) not in self._votes:
            telling = self.telling(at, one, other)
            nearer = self.distances(at, other) < self.distances(at, one)
            self._votes[at, one, other] = int(telling.sum()), int((telling & nearer).sum())
        return self._votes[at, one, other]
