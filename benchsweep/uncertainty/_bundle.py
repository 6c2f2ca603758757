"""The uncertainty of alien crosstalk, which is a sum over matrices of several hookups."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.records import (
    Contribution,
    End,
    Interval,
    Parameter,
    SMatrix,
    Trace,
    balanced_ports_among,
)
from benchsweep.uncertainty._budget import Budget
from benchsweep.uncertainty._interval import DB_PER_NEPER, loss_interval
from benchsweep.uncertainty._layout import Circumstances
from benchsweep.uncertainty._model import Model
from benchsweep.uncertainty._modes import mode_table
from benchsweep.uncertainty._moments import WaveErrors

__all__ = ["BundleModel"]

Real = NDArray[np.float64]
Index = NDArray[np.intp]
Request = tuple[Trace, Index]

_SUM_OF = {
    Parameter.PS_ANEXT: Parameter.PS_ANEXT,
    Parameter.PS_AACR_F: Parameter.PS_AACR_F,
    Parameter.PS_ANEXT_AVERAGE: Parameter.PS_ANEXT,
    Parameter.PS_AACR_F_AVERAGE: Parameter.PS_AACR_F,
}


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """One coupling within a sum: its errors and its part of the power, ``(n_point,)``."""

    model: Model
    errors: WaveErrors
    part: Real


class BundleModel(Model):
    """What a budget means for the specimen of a bundle and for the couplings to the cables beside it.

    Everything but alien crosstalk is as `Model` says. A power sum of alien crosstalk runs over several
    matrices, each with its own hookups: what every S-parameter has for itself (noise, leakage, floors) is
    independent in them and adds in squares; of everything else nothing is known of how much they share, so it
    is added up as if it were all the same, which is the largest it can be. The insertion loss of PS AACR-F
    comes from hookups of its own and adds in squares. The mean over the pairs of an end is as uncertain as
    the mean of their uncertainties, again the largest it can be.

    Parameters
    ----------
    budget, corrected, circumstances
        See `Model`; of the specimen.
    couplings
        Each with its own circumstances.

    Raises
    ------
    UsageError
        See `Model`.
    """

    def __init__(
        self,
        budget: Budget,
        corrected: SMatrix,
        circumstances: Circumstances,
        couplings: Sequence[tuple[SMatrix, Circumstances]],
    ) -> None:
        super().__init__(budget, corrected, circumstances)
        self._couplings = tuple(Model(budget, matrix, beside) for matrix, beside in couplings)
        self._held = [
            [
                port
                for port in balanced_ports_among(matrix.ports)
                if f"{port}/d" in mode_table(matrix.ports).index
            ]
            for matrix, _ in couplings
        ]

    def intervals(self, requests: Sequence[Request]) -> list[Interval]:
        """Return the expanded uncertainty of some points of some traces; see `Model.intervals`."""
        plain = iter(super().intervals([one for one in requests if one[0].parameter not in _SUM_OF]))
        return [
            self._interval(trace, np.atleast_1d(at)) if trace.parameter in _SUM_OF else next(plain)
            for trace, at in requests
        ]

    def standard_uncertainty(self, trace: Trace, indices: Index) -> Real:
        """Return the linear standard uncertainty, ``(n_point,)`` in the unit of the trace."""
        at = np.atleast_1d(indices)
        if trace.parameter not in _SUM_OF:
            return super().standard_uncertainty(trace, at)
        return np.asarray(np.mean([self._linear(one, at) for one in _singles(trace)], axis=0))

    def contributions(self, trace: Trace, index: int) -> tuple[Contribution, ...]:
        """Return what every term of the budget contributes to one value, largest first."""
        if trace.parameter not in _SUM_OF:
            return super().contributions(trace, index)
        singles = [self._terms(one, index) for one in _singles(trace)]
        terms = {
            name: float(np.mean([one[name].standard_uncertainty for one in singles])) for name in singles[0]
        }
        total = sum(value**2 for value in terms.values())
        found = [
            replace(
                singles[0][name],
                standard_uncertainty=value,
                share=value**2 / total if total > 0.0 else 0.0,
            )
            for name, value in terms.items()
        ]
        return tuple(sorted(found, key=lambda one: -one.standard_uncertainty))

    def _interval(self, trace: Trace, at: Index) -> Interval:
        each = [self._interval_of_pair(one, at) for one in _singles(trace)]
        low, high = (np.mean([pair[side] for pair in each], axis=0) for side in (0, 1))
        return Interval(low, high)

    def _interval_of_pair(self, trace: Trace, at: Index) -> tuple[Real, Real]:
        parts = self._parts(trace, at)
        along = _along(parts)
        square = np.sum([one.part * one.errors.square for one in parts], axis=0)
        low, high = loss_interval(np.sqrt(along), np.maximum(square - along, 0.0))
        if trace.parameter is Parameter.PS_ANEXT:
            return low, high
        (signal,) = super().intervals([(_insertion_loss(trace), at)])
        return np.hypot(low, signal.high), np.hypot(high, signal.low)

    def _linear(self, trace: Trace, at: Index) -> Real:
        u = np.sqrt(_along(self._parts(trace, at))) * DB_PER_NEPER
        if trace.parameter is Parameter.PS_ANEXT:
            return np.asarray(u)
        return np.asarray(np.hypot(u, super().standard_uncertainty(_insertion_loss(trace), at)))

    def _terms(self, trace: Trace, index: int) -> dict[str, Contribution]:
        """Return term -> what it contributes to the power sum of one pair."""
        single = {self.budget.term[one.term].name for one in self._additive}
        shared = {self.budget.term[one.term].name for one in self._sources}
        values: dict[str, list[float]] = {}
        named: dict[str, Contribution] = {}
        for one in self._parts(trace, np.array([index], dtype=np.intp)):
            for found in one.model.contributions(trace, index):
                named[found.term] = found
                values.setdefault(found.term, []).append(float(one.part[0]) * found.standard_uncertainty)
        signal: dict[str, float] = {}
        if trace.parameter is Parameter.PS_AACR_F:
            own = super().contributions(_insertion_loss(trace), index)
            signal = {found.term: found.standard_uncertainty for found in own}
        together: dict[str, Callable[[list[float]], float]] = {
            name: _root_of_squares if name in single - shared else sum for name in named
        }
        return {
            name: replace(
                found,
                standard_uncertainty=float(np.hypot(together[name](values[name]), signal.get(name, 0.0))),
            )
            for name, found in named.items()
        }

    def _parts(self, trace: Trace, at: Index) -> list[_Part]:
        """Return the couplings of a power sum.

        Raises
        ------
        UsageError
            There is none.
        """
        counts, chosen = self._chosen(trace)
        if not chosen:
            raise UsageError(
                f"{trace.parameter} {'-'.join(trace.pairs)} at end {trace.end}: no coupling holds it",
                hint="Ask for traces that were computed from these couplings.",
            )
        errors = [self._couplings[number].wave_errors([(trace, at)]) for number in chosen]
        powers = np.array([one.power for one in errors]) / counts[:, None]
        parts = powers / powers.sum(axis=0)
        return [
            _Part(self._couplings[number], one, part)
            for number, one, part in zip(chosen, errors, parts, strict=True)
        ]

    def _chosen(self, trace: Trace) -> tuple[Real, list[int]]:
        """Return which couplings hold parts of a power sum, and on average how often each part is there."""
        far: End = "B" if trace.end == "A" else "A"
        sent_at = trace.end if trace.parameter is Parameter.PS_ANEXT else far
        senders: dict[int, list[tuple[int, str]]] = {}
        for number, ports in enumerate(self._held):
            here = any((p.cable, p.end, p.pair) == (0, trace.end, trace.pairs[0]) for p in ports)
            sending = [(p.cable, p.pair) for p in ports if p.cable and p.end == sent_at]
            if here and sending:
                senders[number] = sending
        every = [one for sending in senders.values() for one in sending]
        counts = [float(np.mean([every.count(one) for one in sending])) for sending in senders.values()]
        return np.array(counts), list(senders)


def _along(parts: Sequence[_Part]) -> Real:
    """Return the relative variance of the root of the whole sum."""
    shared = np.sum([one.part * np.sqrt(one.errors.shared) for one in parts], axis=0)
    single = np.sum([one.part**2 * one.errors.single for one in parts], axis=0)
    return np.asarray(shared**2 + single)


def _singles(trace: Trace) -> list[Trace]:
    """Return the power sums that a trace is the mean of; itself when it is none."""
    parameter = _SUM_OF[trace.parameter]
    return [replace(trace, parameter=parameter, pairs=(pair,)) for pair in trace.pairs]


def _insertion_loss(trace: Trace) -> Trace:
    return replace(trace, parameter=Parameter.INSERTION_LOSS)


def _root_of_squares(values: list[float]) -> float:
    return float(np.sqrt(np.sum(np.square(values))))
