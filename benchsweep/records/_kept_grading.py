from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array
from benchsweep.records._grading import Outcome, WiringReport
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["GradedTrace", "Grading", "RequirementText", "RowColumns", "VerdictColumns"]

_TYPES = {"NDArray[np.int32]": np.int32, "NDArray[np.int8]": np.int8, "NDArray[np.float64]": np.float64}


@dataclass(frozen=True, slots=True)
class RequirementText:
    """A requirement as it was used, so that a verdict can be proved.

    Parameters
    ----------
    name, edition
        As in the requirement.
    files
        The text of its TOML file, then that of the requirement it is a variant of, and so on.
    """

    name: str
    edition: str
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GradedTrace:
    """What rows of many verdicts share: which trace, and the standing of the limit line."""

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    standing: str


@dataclass(frozen=True, slots=True, eq=False)
class VerdictColumns:
    """One entry for each of ``v`` verdicts.

    Parameters
    ----------
    record, name, specimen, requirement, decision_rule, budget
        ``(v,)`` int32, places in `Grading.words`: content hash of the record, its path as the caller named
        it, and what `Verdict` says.
    length_m
        ``(v,)`` float64 in metres; not a number: none.
    outcome
        ``(v,)`` int8, place of the outcome among the members of `Outcome`.
    wiring
        ``(v,)`` int32, place in `Grading.wirings`; -1: none.
    rows, notes, doubts
        ``(v,)`` int32, how many rows, notes and doubts are its own; they follow each other in `Grading.rows`,
        `Grading.notes` and `Grading.doubts`.
    """

    record: NDArray[np.int32]
    name: NDArray[np.int32]
    specimen: NDArray[np.int32]
    requirement: NDArray[np.int32]
    decision_rule: NDArray[np.int32]
    budget: NDArray[np.int32]
    length_m: NDArray[np.float64]
    outcome: NDArray[np.int8]
    wiring: NDArray[np.int32]
    rows: NDArray[np.int32]
    notes: NDArray[np.int32]
    doubts: NDArray[np.int32]

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, eq=False)
class RowColumns:
    """One entry for each of ``r`` rows, those of one verdict after those of another.

    Parameters
    ----------
    trace
        ``(r,)`` int32, place in `Grading.traces`.
    outcome
        ``(r,)`` int8, place of the outcome among the members of `Outcome`.
    note
        ``(r,)`` int32, place in `Grading.words`.
    worst_margin_db, frequency_hz, value, limit, expanded_uncertainty, uncertainty_low, uncertainty_high, guard_band
        ``(r,)`` float64, units as in `VerdictRow`; not a number: None.
    """  # noqa: E501 - one line of names

    trace: NDArray[np.int32]
    outcome: NDArray[np.int8]
    note: NDArray[np.int32]
    worst_margin_db: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    value: NDArray[np.float64]
    limit: NDArray[np.float64]
    expanded_uncertainty: NDArray[np.float64]
    uncertainty_low: NDArray[np.float64]
    uncertainty_high: NDArray[np.float64]
    guard_band: NDArray[np.float64]

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, eq=False)
class Grading:
    """Verdicts of any number of records against any number of requirements, as columns.

    Parameters
    ----------
    made_at
        ISO 8601 time in UTC.
    by
        Who graded; may be empty.
    software
        Package name -> version that took part.
    requirements
        Every requirement that a verdict names, each once.
    words
        Every text that a column points at, each once.
    traces
        Which traces the rows are of, each once.
    wirings
        The reports of the wiring checks, each once.
    verdicts, rows
        The columns.
    notes, doubts
        ``(k,)`` int32, places in `words`: the notes of the first verdict, of the second, and so on.
    told
        What was told besides, in place of what the records say: ``length_m``, ``temperature_degc``,
        ``construction``, ``extrapolate_cold``, and as ``budget_toml`` the text of another budget.
    """

    made_at: str
    by: str
    software: Mapping[str, str]
    requirements: tuple[RequirementText, ...]
    words: tuple[str, ...]
    traces: tuple[GradedTrace, ...]
    wirings: tuple[WiringReport, ...]
    verdicts: VerdictColumns
    rows: RowColumns
    notes: NDArray[np.int32]
    doubts: NDArray[np.int32]
    told: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        for name in ("notes", "doubts"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.int32, (None,), name))
        columns = self.verdicts
        _check(self.words, columns.record, columns.name, columns.specimen, columns.requirement)
        _check(self.words, columns.decision_rule, columns.budget, self.rows.note, self.notes, self.doubts)
        _check(self.traces, self.rows.trace)
        _check((None, *self.wirings), columns.wiring + 1)
        _check(tuple(Outcome), columns.outcome, self.rows.outcome)
        for counts, items in (
            (columns.rows, self.rows.trace),
            (columns.notes, self.notes),
            (columns.doubts, self.doubts),
        ):
            if np.any(counts < 0) or int(counts.sum(dtype=np.int64)) != items.size:
                raise ValueError("the verdicts of a grading and their rows do not fit together")

    def __len__(self) -> int:
        return int(self.verdicts.record.size)


def _check(there: tuple[object, ...], *places: NDArray[np.integer]) -> None:
    for column in places:
        if column.size and not 0 <= column.min() <= column.max() < len(there):
            raise ValueError("a column of a grading points at nothing")


def _freeze(columns: VerdictColumns | RowColumns) -> None:
    size: int | None = None
    for part in fields(columns):
        column = frozen_array(getattr(columns, part.name), _TYPES[str(part.type)], (size,), part.name)
        size = column.size
        object.__setattr__(columns, part.name, column)
