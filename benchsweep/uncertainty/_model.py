from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.records import Contribution, Interval, Parameter, SMatrix, Trace
from benchsweep.uncertainty._budget import BalanceTerm, Budget
from benchsweep.uncertainty._draw import draw_matrix
from benchsweep.uncertainty._entries import Entries, collect_entries, mode_table
from benchsweep.uncertainty._interval import DB_PER_NEPER, loss_interval, time_interval
from benchsweep.uncertainty._layout import Circumstances, lay_out
from benchsweep.uncertainty._sensitivity import BASES, Space, base_sensitivities, expand_rows
from benchsweep.uncertainty._sources import Additive, Source, collect_sources

__all__ = ["Model"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]

_COARSE = 0.1
"""From this relative uncertainty on, the reference of a difference is looked at by itself."""


class Model:
    """What a budget means for one corrected matrix: coverage factor 2, about 95 %.

    Every term of the budget stands for independent normal variables that change the matrix to first order;
    whatever two S-parameters share (a cable, a standard, the temperature) stays shared in crosstalk less
    insertion loss, in power sums and in skew. Errors average out over hookups where they are made anew and
    stay where they belong to an analyzer port.

    Parameters
    ----------
    budget
        From `load_budget` or `read_budget`.
    corrected
        Legs at 50 ohm (``A:12.1`` …), or modes measured behind baluns (``A:12/d``, ``A:12/c``).
    circumstances
        Hookups, time since calibration, settings, standards, baluns.
    """

    def __init__(self, budget: Budget, corrected: SMatrix, circumstances: Circumstances) -> None:
        self.budget = budget
        self.corrected = corrected
        self.circumstances = circumstances
        self._table = mode_table(corrected.ports)
        self._layout = lay_out(corrected.ports, circumstances.hookups)
        tapped = any(label.endswith("/c") for label in corrected.ports)
        self._sources, self._additive = collect_sources(
            budget,
            corrected.frequency_hz,
            circumstances,
            of_modes=self._table.of_modes,
            tapped=tapped,
        )

    def intervals(self, requests: Sequence[tuple[Trace, Index]]) -> list[Interval]:
        """Return the expanded uncertainty of some points of some traces.

        Parameters
        ----------
        requests
            Trace and ``(n_point,)`` places in its grid, which must be that of the matrix.

        Returns
        -------
        list of Interval
            One for each request. Where a null lets the error reach the wave itself, see `loss_interval`. Of
            a difference of losses the disturbance has the asymmetry; where the signal has lost 10 dB and more
            and the whole is uncertain by 1 dB and more, both sides are evaluated and their deviations in dB
            are added in squares.

        Raises
        ------
        UsageError
            A trace that does not come from this matrix.
        """
        if not requests:
            return []
        entries = self._entries(requests)
        along, across = self._variances(entries)
        frequency = self.corrected.frequency_hz[entries.frequency[entries.start]]
        u = np.sqrt(along)
        q = across * (2 * entries.signals - 1)
        low, high = loss_interval(u, q, self._excess(entries))
        coarse = entries.faint & (u > _COARSE)
        if coarse.any():
            low[coarse], high[coarse] = self._differences(requests, coarse, along, across, entries.signals)
        timed = entries.timed
        low[timed] = high[timed] = time_interval(u[timed], frequency[timed])
        ends = np.cumsum([np.size(at) for _, at in requests]).tolist()
        return [
            Interval(low[begin:end], high[begin:end])
            for begin, end in zip([0, *ends[:-1]], ends, strict=True)
        ]

    def standard_uncertainty(self, trace: Trace, indices: Index) -> Real:
        """Return the linear standard uncertainty, ``(n_point,)`` in the unit of the trace."""
        entries = self._entries([(trace, np.atleast_1d(indices))])
        along, _ = self._variances(entries)
        return np.sqrt(along) * (1.0 if trace.parameter.unit == "ns" else DB_PER_NEPER)

    def contributions(self, trace: Trace, index: int) -> tuple[Contribution, ...]:
        """Return what every term of the budget contributes to one value, largest first.

        Raises
        ------
        UsageError
            A trace that does not come from this matrix.
        """
        entries = self._entries([(trace, np.array([index], dtype=np.intp))])
        sensitivities = self._sensitivities(entries)
        unit = 1.0 if trace.parameter.unit == "ns" else DB_PER_NEPER
        variances = np.zeros(len(self.budget.term))
        for source in self._sources:
            if source.space in sensitivities:
                moments = _moments([source], self.corrected.frequency_hz.size)
                one, _ = _projected(sensitivities[source.space], moments, entries)
                variances[source.term] += one[0]
        for additive in self._additive:
            variances[additive.term] += self._added(entries, [additive])[0]
        total = float(variances.sum())
        found = [
            Contribution(
                term.name,
                float(np.sqrt(variance)) * unit,
                float(variance) / total if total > 0.0 else 0.0,
                term.standing,
                term.source,
            )
            for term, variance in zip(self.budget.term, variances, strict=True)
        ]
        return tuple(sorted(found, key=lambda one: -one.standard_uncertainty))

    def draw(self, rng: np.random.Generator) -> SMatrix:
        """Return one Monte Carlo draw of the corrected matrix.

        Residual error boxes, cables, contacts and terminations act as networks, not to first order. Terms
        that hold for some parameters only are left out: they are not errors of a matrix. A variable has one
        value over all frequencies; noise is drawn anew at each.
        """
        s = draw_matrix(
            rng,
            self.corrected.s,
            self.corrected.ports,
            self._layout,
            self._sources,
            self._additive,
            self._balance,
        )
        return SMatrix(self.corrected.frequency_hz, s, self.corrected.ports, self.corrected.z0_ohm)

    @cached_property
    def _balance(self) -> Mapping[str, tuple[Real, Real]]:
        """Output signal balance and common-mode rejection of each balanced port, of the fixture or budget."""
        terms = [term for term in self.budget.term if isinstance(term, BalanceTerm)]
        if not terms or not self._table.of_modes:
            return {}
        grid = self.corrected.frequency_hz
        assumed = (
            terms[0].output_signal_balance_db.amplitude(grid),
            terms[0].common_mode_rejection_db.amplitude(grid),
        )
        labels = {label.partition("/")[0] for label in self.corrected.ports}
        given = self.circumstances.balance
        return {label: given[label][:2] if label in given else assumed for label in sorted(labels)}

    @cached_property
    def _all_moments(self) -> dict[Space, tuple[Complex, Complex]]:
        size = self.corrected.frequency_hz.size
        spaces = dict.fromkeys(source.space for source in self._sources)
        if self._layout.plain and "analyzer" in spaces and "mating" in spaces:
            # One hookup: both spaces have the same sensitivities.
            spaces.pop("mating")
        return {
            space: _moments(
                [
                    source
                    for source in self._sources
                    if source.space == space
                    or (space == "analyzer" and "mating" not in spaces and source.space == "mating")
                ],
                size,
            )
            for space in spaces
        }

    def _entries(self, requests: Sequence[tuple[Trace, Index]]) -> Entries:
        size = self.corrected.frequency_hz.size
        for trace, _ in requests:
            if trace.frequency_hz.size != size:
                raise UsageError(
                    f"{trace.parameter} {'-'.join(trace.pairs)} has {trace.frequency_hz.size} points, "
                    f"the matrix {size}",
                    hint="Ask for traces that were computed from this matrix.",
                )
        return collect_entries(self.corrected.s, self.corrected.frequency_hz, self.corrected.ports, requests)

    def _sensitivities(self, entries: Entries) -> dict[Space, Complex]:
        return base_sensitivities(
            self.corrected.s, self._table, self.corrected.ports, entries, self._layout, self._balance
        )

    def _variances(self, entries: Entries) -> tuple[Real, Real]:
        """Return the variance along and across the wave, ``(n_point,)`` each."""
        sensitivities = self._sensitivities(entries)
        added = self._added(entries, self._additive)
        along, across = added.copy(), added
        for space, moments in self._all_moments.items():
            if space in sensitivities:
                one, other = _projected(sensitivities[space], moments, entries)
                along, across = along + one, across + other
        return np.maximum(along, 0.0), np.maximum(across, 0.0)

    def _added(self, entries: Entries, additive: Sequence[Additive]) -> Real:
        """Return the variance of waves that are independent on every entry; alike along and across."""
        variance = np.zeros(entries.point.size)
        if not additive:
            return np.add.reduceat(variance, entries.start)
        for one in additive:
            variance += self._added_to_entries(entries, one)
        return np.asarray(np.add.reduceat(variance, entries.start))

    def _added_to_entries(self, entries: Entries, one: Additive) -> Real:
        level = one.level[entries.relation, entries.frequency]
        if one.relative:
            level = level * self._leg_magnitude(entries)
        squared = np.abs(entries.weight) ** 2
        if not one.fresh:
            # The same wave both ways: in the mean of both directions, which makes a delay, it adds up.
            squared = np.where(entries.timed[entries.point], 2.0 * squared, squared)
        elif not self._layout.plain:
            rows = expand_rows(entries, self._table, self._layout)
            squared = np.bincount(rows.entry, weights=np.abs(rows.weight) ** 2, minlength=squared.size)
        return np.asarray(0.5 * squared * level**2 * self._concerned(one, entries))

    def _excess(self, entries: Entries) -> Real:
        """Return by how much noise makes sums of the larger of two directions too large, ``(n_point,)``.

        The larger of two readings of the same wave is too large by 1/sqrt(pi) standard deviations on average.
        For one wave k = 2 still covers 95 % (0.977^2 - 0.023^2); over a power sum the excesses add up while
        the deviations add in squares, so what they differ by has to be allowed for.
        """
        variance = sum((self._added_to_entries(entries, one) for one in self._additive if one.fresh), 0.0)
        excess = np.sqrt(variance * entries.either / np.pi)
        straight = np.add.reduceat(excess, entries.start)
        return np.asarray(straight - np.sqrt(np.add.reduceat(excess**2, entries.start)))

    def _concerned(self, one: Additive, entries: Entries) -> Real | float:
        if not one.parameters:
            return 1.0
        return np.isin(entries.parameter, [str(name) for name in one.parameters]).astype(np.float64)

    def _leg_magnitude(self, entries: Entries) -> Real:
        """Return the root mean square of the S-parameters that an entry is made of, ``(n_entry,)``."""
        table, s = self._table, self.corrected.s
        total = np.zeros(entries.point.size)
        for row in range(1 if table.of_modes else 2):
            for column in range(1 if table.of_modes else 2):
                part = table.parts[row][entries.out] * table.parts[column][entries.into]
                wave = s[
                    entries.frequency, table.places[row][entries.out], table.places[column][entries.into]
                ]
                total += part**2 * (wave.real**2 + wave.imag**2)
        return np.sqrt(total)

    def _differences(
        self,
        requests: Sequence[tuple[Trace, Index]],
        coarse: NDArray[np.bool_],
        along: Real,
        across: Real,
        signals: Index,
    ) -> tuple[Real, Real]:
        """Return low and high in dB of the `coarse` points, all of them differences of two losses."""
        pieces = np.split(coarse, np.cumsum([np.size(at) for _, at in requests])[:-1])
        references = [
            (
                replace(trace, parameter=Parameter.INSERTION_LOSS, pairs=trace.pairs[:1]),
                np.atleast_1d(at)[here],
            )
            for (trace, at), here in zip(requests, pieces, strict=True)
            if here.any()
        ]
        own_along, own_across = self._variances(self._entries(references))
        # What both share is taken out of the reference first.
        signal_along = np.minimum(own_along, along[coarse])
        signal_across = np.minimum(own_across, across[coarse])
        low_n, high_n = loss_interval(
            np.sqrt(along[coarse] - signal_along),
            (across[coarse] - signal_across) * (2 * signals[coarse] - 1),
        )
        low_s, high_s = loss_interval(np.sqrt(signal_along), signal_across)
        return np.hypot(low_n, high_s), np.hypot(high_n, low_s)


def _moments(sources: Sequence[Source], n_freq: int) -> tuple[Complex, Complex]:
    """Return ``(n_freq, n_base^2)``: mean of c_m conj(c_n) and of c_m c_n over all deviations."""
    n_base = BASES[sources[0].space]
    # Many sources act in the same way (all that happens to one standard): theirs are summed first.
    alike: dict[int, list[Source]] = {}
    for source in sources:
        alike.setdefault(id(source.sensitivity), []).append(source)
    c = np.empty((n_freq, n_base, len(alike)), dtype=np.complex128)
    power, square = np.empty((2, n_freq, 1, len(alike)), dtype=np.complex128)
    for column, group in enumerate(alike.values()):
        c[:, :, column] = group[0].sensitivity
        power[:, 0, column] = sum(source.power for source in group)
        square[:, 0, column] = sum(source.square for source in group)
    turned = c.swapaxes(1, 2)
    both = (c * power) @ np.conj(turned), (c * square) @ turned
    return both[0].reshape(n_freq, -1), both[1].reshape(n_freq, -1)


def _projected(sensitivity: Complex, moments: tuple[Complex, Complex], entries: Entries) -> tuple[Real, Real]:
    """Return the variance along and across, `projected_variance` summed over all variables of a space."""
    at = entries.frequency[entries.start]
    gram = sensitivity @ np.conj(sensitivity).swapaxes(1, 2)
    plain = sensitivity @ sensitivity.swapaxes(1, 2)
    power = np.einsum("pk,pk->p", moments[0][at], gram.reshape(at.size, -1)).real
    square = np.einsum("pk,pk->p", moments[1][at], plain.reshape(at.size, -1)).real
    return 0.5 * (power + square), 0.5 * (power - square)
