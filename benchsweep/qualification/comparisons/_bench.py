"""A bench record of a reference channel: read, checked, with limits and uncertainty of its traces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive, limits
from benchsweep.archive.places import below
from benchsweep.errors import ReferenceRefused
from benchsweep.qualification._again import reduced_again, superseded_words
from benchsweep.qualification._corrections import apply_corrections
from benchsweep.qualification._matrix_again import matrix_again
from benchsweep.qualification._notes import notes_about
from benchsweep.qualification._reduction import (
    Evaluation,
    conditions_of,
    evaluate,
    limit_curves,
)
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.records import End, Interval, LimitCurve, Measurement, Note, Parameter, Trace

__all__ = ["BenchRecord", "TraceKey", "path_within", "place_of", "read_bench"]

TraceKey = tuple[Parameter, End | None, tuple[str, ...]]
"""Parameter, end, pairs."""
_AT_ONCE = 500
# Minima are matched up to so many steps of the grid aside.
_BESIDE = 8


@dataclass(frozen=True, slots=True, eq=False)
class BenchRecord:
    """A bench record with what a tester is held against.

    Parameters
    ----------
    source
        Where it is.
    content_hash
        Names its content.
    evaluation
        As corrected; traces as measured, at its temperature.
    requirement
        What margins are counted against.
    curves
        Its limits on the grid of the record.
    exempt
        Points that it does not count, by trace.
    withdrawn, superseded
        Why the record must not be used, in words; empty when it may be.
    """

    source: archive.Source
    content_hash: str
    evaluation: Evaluation
    requirement: limits.Requirement
    curves: tuple[LimitCurve, ...]
    exempt: Mapping[TraceKey, NDArray[np.bool_]]
    withdrawn: str = ""
    superseded: str = ""
    _known: dict[TraceKey, _Known] = field(default_factory=dict)

    @property
    def measurement(self) -> Measurement:
        """The measurement as corrected."""
        return self.evaluation.measurement

    @property
    def measured_at(self) -> str:
        """When it was measured: when its last hookup was swept, or when it was archived (ISO 8601)."""
        hookups = self.measurement.hookups
        return max((raw.sweep.taken_at for raw in hookups), default="") or self.measurement.created_at

    @property
    def temperature_degc(self) -> float | None:
        """Of the channel; None when it was not recorded."""
        degc = self.measurement.ambient.get("temperature_degc")
        return None if degc is None else float(degc)

    @property
    def simulated(self) -> bool:
        """It was measured on the simulated bench."""
        analyzer = self.measurement.analyzer
        return analyzer is not None and analyzer.simulated

    def traces_as_graded(self) -> tuple[Trace, ...]:
        """Return the traces brought to temperature and length of the requirement, as they are graded."""
        measurement = self.measurement
        return limits.as_graded(
            self.evaluation.traces,
            self.requirement,
            length_m=measurement.specimen.length_m,
            conditions=conditions_of(measurement, self.requirement, None),
        )

    def interval(self, trace: Trace, where: NDArray[np.bool_] | None = None) -> Interval | None:
        """Return the expanded uncertainty (k = 2) of a trace along its grid; None without a budget.

        Parameters
        ----------
        where
            ``(n_freq,)`` at these points only, NaN at those nobody asked for yet; None: at all.
        """
        model = self.evaluation.model
        if model is None:
            return None
        key = (trace.parameter, trace.end, trace.pairs)
        size = trace.frequency_hz.size
        known = self._known.setdefault(key, _Known.of(size))
        wanted = np.flatnonzero(~known.there if where is None else where & ~known.there)
        for begin in range(0, wanted.size, _AT_ONCE):
            at = wanted[begin : begin + _AT_ONCE]
            found = model.intervals([(trace, at)])[0]
            known.low[at], known.high[at], known.there[at] = found.low, found.high, True
        return Interval(known.low.copy(), known.high.copy())

    def floor(self, trace: Trace) -> NDArray[np.float64] | None:
        """Return the largest values of a trace that the bench measures well enough; None: all.

        A value is below the floor where its own uncertainty is more than `floor_db` of the rules. Where the
        trace is so far from its limit that no difference counts, it is not asked for: infinite there.
        """
        rules = comparison_rules().compare
        if trace.parameter.unit != "dB":
            return None
        near = self._near(trace, rules.near_limit_db)
        found = self.interval(trace, near)
        if found is None:
            return None
        uncertain = np.fmax(found.low, np.where(np.isfinite(found.high), found.high, 1e3))
        finite = np.where(np.isfinite(trace.value), trace.value, 0.0)
        return np.asarray(np.where(near, finite + rules.floor_db - uncertain, np.inf), dtype=np.float64)

    def _near(self, trace: Trace, near_limit_db: float) -> NDArray[np.bool_]:
        """Tell where a trace may count in a comparison, or what is interpolated or matched beside it."""
        curve = next((each for each in self.curves if each.parameter is trace.parameter), None)
        if curve is None or curve.sense == "max":
            return np.ones(trace.frequency_hz.size, dtype=np.bool_)
        with np.errstate(invalid="ignore"):
            near = trace.value <= curve.value + near_limit_db
        return np.convolve(near, np.ones(2 * _BESIDE + 1), mode="same") > 0.5


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """Uncertainties of a trace as far as they were asked for, ``(n_freq,)`` each."""

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    there: NDArray[np.bool_]

    @classmethod
    def of(cls, size: int) -> _Known:
        return cls(np.full(size, np.nan), np.full(size, np.nan), np.zeros(size, dtype=np.bool_))


def read_bench(
    source: archive.Source, requirement: limits.Requirement, *, again: bool = False
) -> BenchRecord:
    """Return a record of a channel, every checksum of it compared, with what was corrected of it.

    Parameters
    ----------
    again
        The matrix is computed again from the raw sweeps, where the record has them.

    Raises
    ------
    ReferenceRefused
        A series: a comparison needs one measurement.
    ArchiveError, DefinitionError
        It, or a note about it, cannot be read.
    """
    if archive.is_series(source):
        raise ReferenceRefused(
            f"{source}: a series of many sweeps is no bench record of a channel",
            hint="Measure the channel with `benchsweep qualify`, or import a Touchstone file of it.",
        )
    raw = archive.read_record(source)
    if again:
        raw, _ = matrix_again(raw)
    notes: tuple[Note, ...] = notes_about(source)
    _, noted = apply_corrections(raw, notes)
    evaluation = evaluate(raw, notes=notes)
    into = reduced_again(source).into
    return BenchRecord(
        source,
        archive.content_hash(source),
        evaluation,
        requirement,
        tuple(limit_curves(evaluation, requirement).values()),
        limits.not_counting(evaluation.traces, requirement),
        noted.withdrawn,
        "" if into is None else superseded_words(into),
    )


def path_within(root: Path, record: Path) -> str:
    """Return the name of a record within its archive.

    Raises
    ------
    ReferenceRefused
        It does not lie in it.
    ArchiveError
        There is no such file.
    """
    if archive.is_url(record) or not record.exists():
        archive.refuse_file(record)
    try:
        return record.resolve().relative_to(root.resolve()).as_posix()
    except ValueError:
        raise ReferenceRefused(
            f"{record} does not lie in the archive {root} of the channel",
            hint="Copy it there, or name the archive that it lies in with --archive.",
        ) from None


def place_of(folder: archive.Source, path: str) -> archive.Source:
    """Return where a record is whose name within the archive is `path`."""
    return below(folder, *path.split("/"))
