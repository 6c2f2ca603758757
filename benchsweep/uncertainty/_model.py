from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.records import Contribution, Interval, Parameter, SMatrix, Trace
from benchsweep.uncertainty._added import added_variances, noise_excess
from benchsweep.uncertainty._budget import BalanceTerm, Budget
from benchsweep.uncertainty._draw import draw_matrix
from benchsweep.uncertainty._entries import Entries, collect_entries
from benchsweep.uncertainty._interval import DB_PER_NEPER, loss_interval, time_interval
from benchsweep.uncertainty._layout import Circumstances, Layout, lay_out
from benchsweep.uncertainty._modes import mode_table
from benchsweep.uncertainty._moments import (
    Together,
    WaveErrors,
    errors_of_sums,
    put_together,
    source_variances,
)
from benchsweep.uncertainty._sensitivity import base_sensitivities
from benchsweep.uncertainty._sources import collect_sources
from benchsweep.uncertainty._variables import Additive, Source, Space

__all__ = ["Model"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Index = NDArray[np.intp]

_FEW = 4
"""Points that are asked for are few when so many times as many are not more than the grid has."""

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

    Raises
    ------
    UsageError
        Standards or baluns are known on another grid than that of the matrix.
    """

    def __init__(self, budget: Budget, corrected: SMatrix, circumstances: Circumstances) -> None:
        self.budget = budget
        self.corrected = corrected
        self.circumstances = circumstances
        _refuse_other_grid(corrected, circumstances)
        self._table = mode_table(corrected.ports)

    @cached_property
    def _layout(self) -> Layout:
        return lay_out(self.corrected.ports, self.circumstances.hookups)

    @cached_property
    def _collected(self) -> tuple[list[Source], list[Additive]]:
        return collect_sources(
            self.budget,
            self.corrected.frequency_hz,
            self.circumstances,
            of_modes=self._table.of_modes,
            tapped=any(label.endswith("/c") for label in self.corrected.ports),
        )

    @property
    def _sources(self) -> list[Source]:
        return self._collected[0]

    @property
    def _additive(self) -> list[Additive]:
        return self._collected[1]

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
        self._refuse_other_traces(requests)
        places = [np.atleast_1d(np.asarray(at, dtype=np.intp)) for _, at in requests]
        used, where = np.unique(np.concatenate(places), return_inverse=True)
        if used.size < 2 or _FEW * used.size > self.corrected.frequency_hz.size:
            return self._intervals(list(zip((trace for trace, _ in requests), places, strict=True)))
        # A grading asks for a few points of every trace: nothing is worked out for the others.
        at_used = np.split(where, np.cumsum([place.size for place in places])[:-1])
        few = [(trace, at) for (trace, _), at in zip(requests, at_used, strict=True)]
        model = self._at(used)
        return model._intervals(few)  # noqa: SLF001 - one of its own kind

    def _at(self, used: Index) -> Model:
        """Return what the budget means at some points of the grid; the numbers are the same."""
        whole = self.corrected
        matrix = SMatrix(whole.frequency_hz[used], whole.s[used], whole.ports, whole.z0_ohm)
        model = Model(self.budget, matrix, self.circumstances.at(used))
        model.__dict__["_layout"] = self._layout
        return model

    def _intervals(self, requests: Sequence[tuple[Trace, Index]]) -> list[Interval]:
        entries = self._entries(requests)
        along, across, excess = self._variances(entries)
        frequency = self.corrected.frequency_hz[entries.frequency[entries.start]]
        u = np.sqrt(along)
        q = across * (2 * entries.signals - 1)
        low, high = loss_interval(u, q, excess)
        coarse = entries.faint & (u > _COARSE)
        if coarse.any():
            low[coarse], high[coarse] = self._differences(requests, coarse, along, across, entries.signals)
        timed = entries.timed
        low[timed] = high[timed] = time_interval(u[timed], frequency[timed])
        for side in (low, high):
            side.flags.writeable = False  # so that the intervals need no copies
        ends = np.cumsum([np.size(at) for _, at in requests]).tolist()
        return [
            Interval(low[begin:end], high[begin:end])
            for begin, end in zip([0, *ends[:-1]], ends, strict=True)
        ]

    def standard_uncertainty(self, trace: Trace, indices: Index) -> Real:
        """Return the linear standard uncertainty, ``(n_point,)`` in the unit of the trace."""
        self._refuse_other_traces([(trace, indices)])
        entries = self._entries([(trace, np.atleast_1d(indices))])
        along, _, _ = self._variances(entries)
        return np.sqrt(along) * (1.0 if trace.parameter.unit == "ns" else DB_PER_NEPER)

    def wave_errors(self, requests: Sequence[tuple[Trace, Index]]) -> WaveErrors:
        """Return the errors of some points of power sums that other matrices go into as well.

        Raises
        ------
        UsageError
            A trace that does not come from this matrix.
        """
        self._refuse_other_traces(requests)
        entries = self._entries(requests)
        added, _ = self._added(entries, self._additive)
        along, across, _ = self._variances(entries)
        return errors_of_sums(entries, added, along, across)

    def contributions(self, trace: Trace, index: int) -> tuple[Contribution, ...]:
        """Return what every term of the budget contributes to one value, largest first.

        Raises
        ------
        UsageError
            A trace that does not come from this matrix.
        """
        here = np.array([index], dtype=np.intp)
        self._refuse_other_traces([(trace, here)])
        entries = self._entries([(trace, here)])
        sensitivities = self._sensitivities(entries)
        unit = 1.0 if trace.parameter.unit == "ns" else DB_PER_NEPER
        variances = np.zeros(len(self.budget.term))
        first = np.zeros(1, dtype=np.intp)
        for source in self._sources:
            if source.space in sensitivities:
                one, _ = source_variances(sensitivities[source.space], put_together([source]), here, first)
                variances[source.term] += one[0]
        for additive in self._additive:
            added, _ = self._added(entries, [additive])
            variances[additive.term] += added.sum()
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
    def _by_space(self) -> dict[Space, Together]:
        found: dict[Space, list[Source]] = {}
        for source in self._sources:
            # In one hookup each port has one mating: both spaces have the same sensitivities.
            alike = self._layout.plain and source.space == "mating"
            found.setdefault("analyzer" if alike else source.space, []).append(source)
        return {space: put_together(sources) for space, sources in found.items()}

    def _refuse_other_traces(self, requests: Sequence[tuple[Trace, Index]]) -> None:
        size = self.corrected.frequency_hz.size
        for trace, _ in requests:
            if trace.frequency_hz.size != size:
                raise UsageError(
                    f"{trace.parameter} {'-'.join(trace.pairs)} has {trace.frequency_hz.size} points, "
                    f"the matrix {size}",
                    hint="Ask for traces that were computed from this matrix.",
                )

    def _entries(self, requests: Sequence[tuple[Trace, Index]]) -> Entries:
        flat = [(trace, np.atleast_1d(np.asarray(at, dtype=np.intp))) for trace, at in requests]
        return collect_entries(self.corrected.s, self.corrected.frequency_hz, self.corrected.ports, flat)

    def _sensitivities(self, entries: Entries) -> dict[Space, Complex]:
        return base_sensitivities(
            self.corrected.s, self._table, self.corrected.ports, entries, self._layout, self._balance
        )

    def _added(self, entries: Entries, additive: Sequence[Additive]) -> tuple[Real, Real]:
        return added_variances(
            entries, additive, self._table, self._layout, self.corrected.s, self.corrected.ports
        )

    def _variances(self, entries: Entries) -> tuple[Real, Real, Real]:
        """Return the variance along and across the wave and the `noise_excess`, ``(n_point,)`` each."""
        sensitivities = self._sensitivities(entries)
        added, fresh = self._added(entries, self._additive)
        along = np.add.reduceat(added, entries.start)
        across = along
        at = entries.frequency[entries.start]
        # Only what is asked for: a grading asks for a few points of every trace.
        used, place = np.unique(at, return_inverse=True)
        for space, sources in self._by_space.items():
            if space in sensitivities:
                one, other = source_variances(sensitivities[space], sources, used, place)
                along, across = along + one, across + other
        return np.maximum(along, 0.0), np.maximum(across, 0.0), noise_excess(entries, fresh)

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
        own_along, own_across, _ = self._variances(self._entries(references))
        # What both share is taken out of the reference first.
        signal_along = np.minimum(own_along, along[coarse])
        signal_across = np.minimum(own_across, across[coarse])
        low_n, high_n = loss_interval(
            np.sqrt(along[coarse] - signal_along),
            (across[coarse] - signal_across) * (2 * signals[coarse] - 1),
        )
        low_s, high_s = loss_interval(np.sqrt(signal_along), signal_across)
        return np.hypot(low_n, high_s), np.hypot(high_n, low_s)


def _refuse_other_grid(corrected: SMatrix, circumstances: Circumstances) -> None:
    size = corrected.frequency_hz.size
    for term in circumstances.standard_terms:
        if term.nominal.size != size:
            raise UsageError(
                f"standard {term.standard} is known at {term.nominal.size} points, the matrix has {size}",
                hint="Use the calibration that the matrix was corrected with.",
            )
    for label, figures in circumstances.balance.items():
        if any(figure.size != size for figure in figures):
            raise UsageError(
                f"the balance at {label} is not known at the {size} points of the matrix",
                hint="Give the balance of the fixture over the whole sweep.",
            )
