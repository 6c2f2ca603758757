"""Verdicts as columns and back, and the files that keep them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from itertools import chain
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import (
    GradedTrace,
    Grading,
    Outcome,
    RequirementText,
    RowColumns,
    Verdict,
    VerdictColumns,
    VerdictRow,
)

__all__ = ["FLOATS", "grading_of", "join_gradings", "verdicts_of"]

_OUTCOMES = tuple(Outcome)
_PLACE_OF_OUTCOME = {outcome: place for place, outcome in enumerate(_OUTCOMES)}
FLOATS = (
    "worst_margin_db",
    "frequency_hz",
    "value",
    "limit",
    "expanded_uncertainty",
    "uncertainty_low",
    "uncertainty_high",
    "guard_band",
)
"""The columns of rows that hold numbers, in the order of `RowColumns`."""
_TRACE = ("parameter", "end", "pairs", "standing")
_ROW = (*_TRACE, "outcome", "note", *FLOATS)


class _Places(dict[Any, int]):
    """Item -> its place among the different ones, in the order in which they came first."""

    def __missing__(self, item: Any) -> int:
        place = self[item] = len(self)
        return place

    def column(self, items: Iterable[Any]) -> NDArray[np.int32]:
        """Return the place of each item."""
        return np.array(list(map(self.__getitem__, items)), dtype=np.int32)


def grading_of(
    graded: Sequence[tuple[str, Verdict]],
    requirements: Sequence[RequirementText],
    *,
    made_at: str,
    by: str = "",
    software: Mapping[str, str] | None = None,
    told: Mapping[str, str] | None = None,
) -> Grading:
    """Return verdicts as columns.

    Parameters
    ----------
    graded
        Content hash of a record, and a verdict about it.
    requirements
        The text of every requirement that a verdict names, each name once.
    made_at
        ISO 8601 time in UTC.
    by, software, told
        As in `Grading`.

    Raises
    ------
    ValueError
        Texts of requirements are missing, or there are two of one name.
    """
    verdicts = [verdict for _, verdict in graded]
    words, traces, wirings = _Places(), _Places(), _Places()
    rows = [row for verdict in verdicts for row in verdict.rows]
    # A column at a time, by loops of the library and not of the interpreter.
    cells: dict[str, list[Any]] = {name: list(map(attrgetter(name), rows)) for name in _ROW}
    columns = VerdictColumns(
        record=words.column(record for record, _ in graded),
        name=words.column(verdict.record for verdict in verdicts),
        specimen=words.column(verdict.specimen for verdict in verdicts),
        requirement=words.column(verdict.requirement for verdict in verdicts),
        decision_rule=words.column(verdict.decision_rule for verdict in verdicts),
        budget=words.column(verdict.budget for verdict in verdicts),
        length_m=_numbers([verdict.length_m for verdict in verdicts]),
        outcome=_outcomes([verdict.outcome for verdict in verdicts]),
        wiring=np.array(
            [-1 if verdict.wiring is None else wirings[verdict.wiring] for verdict in verdicts],
            dtype=np.int32,
        ),
        rows=_counts(verdict.rows for verdict in verdicts),
        notes=_counts(verdict.notes for verdict in verdicts),
        doubts=_counts(verdict.doubts for verdict in verdicts),
    )
    row_columns = RowColumns(
        trace=traces.column(zip(*(cells[name] for name in _TRACE), strict=True)),
        outcome=_outcomes(cells["outcome"]),
        note=words.column(cells["note"]),
        **{name: _numbers(cells[name]) for name in FLOATS},
    )
    notes = words.column(chain.from_iterable(verdict.notes for verdict in verdicts))
    doubts = words.column(chain.from_iterable(verdict.doubts for verdict in verdicts))
    return _checked(
        Grading(
            made_at=made_at,
            by=by,
            software=dict(software or {}),
            requirements=tuple(requirements),
            words=tuple(words),
            traces=tuple(GradedTrace(*trace) for trace in traces),
            wirings=tuple(wirings),
            verdicts=columns,
            rows=row_columns,
            notes=notes,
            doubts=doubts,
            told=dict(told or {}),
        )
    )


def _checked(grading: Grading) -> Grading:
    known = [requirement.name for requirement in grading.requirements]
    if len(set(known)) != len(known):
        raise ValueError("two requirements of one name cannot be told apart in a grading")
    used = {grading.words[place] for place in np.unique(grading.verdicts.requirement)}
    if missing := sorted(used.difference(known)):
        raise ValueError(f"the text of the requirement {missing[0]} is missing")
    return grading


def _numbers(values: Sequence[float | None]) -> NDArray[np.float64]:
    # None becomes "not a number" on the way.
    return np.array(values, dtype=np.float64)


def _outcomes(outcomes: Sequence[Outcome]) -> NDArray[np.int8]:
    return np.array(list(map(_PLACE_OF_OUTCOME.__getitem__, outcomes)), dtype=np.int8)


def _counts(lists: Iterable[Sequence[object]]) -> NDArray[np.int32]:
    return np.array([len(items) for items in lists], dtype=np.int32)


def join_gradings(gradings: Sequence[Grading]) -> Grading:
    """Return the verdicts of several gradings as one, in their order; who, when and how as in the first.

    Raises
    ------
    ValueError
        None is given, or the same requirement has another text in two of them.
    """
    if not gradings:
        raise ValueError("there is no grading")
    words, traces, wirings = _Places(), _Places(), _Places()
    # Numbers of the parts -> numbers of the whole, by one table for each part and kind.
    moved = [
        (words.column(part.words), traces.column(part.traces), wirings.column(part.wirings))
        for part in gradings
    ]
    pointing = {"record", "name", "specimen", "requirement", "decision_rule", "budget"}

    def verdict_column(name: str) -> NDArray[Any]:
        found = []
        for part, (word, _, wiring) in zip(gradings, moved, strict=True):
            column = getattr(part.verdicts, name)
            if name in pointing:
                column = word[column]
            elif name == "wiring":
                column = np.append(wiring, np.int32(-1))[column]
            found.append(column)
        return np.concatenate(found)

    def row_column(name: str) -> NDArray[Any]:
        found = []
        for part, (word, trace, _) in zip(gradings, moved, strict=True):
            column = getattr(part.rows, name)
            found.append(
                {"trace": trace, "note": word}[name][column] if name in ("trace", "note") else column
            )
        return np.concatenate(found)

    requirements = dict.fromkeys(text for part in gradings for text in part.requirements)
    return _checked(
        Grading(
            made_at=gradings[0].made_at,
            by=gradings[0].by,
            software=gradings[0].software,
            requirements=tuple(requirements),
            words=tuple(words),
            traces=tuple(traces),
            wirings=tuple(wirings),
            verdicts=VerdictColumns(
                **{part.name: verdict_column(part.name) for part in fields(VerdictColumns)}
            ),
            rows=RowColumns(**{part.name: row_column(part.name) for part in fields(RowColumns)}),
            notes=np.concatenate(
                [word[part.notes] for part, (word, _, _) in zip(gradings, moved, strict=True)]
            ),
            doubts=np.concatenate(
                [word[part.doubts] for part, (word, _, _) in zip(gradings, moved, strict=True)]
            ),
            told=gradings[0].told,
        )
    )


def verdicts_of(grading: Grading, places: Iterable[int] | None = None) -> tuple[Verdict, ...]:
    """Return the verdicts that a grading holds, equal to those that it was made of.

    Parameters
    ----------
    places
        Which of them, from 0; all of them by default.
    """
    first = {
        name: np.concatenate(([0], np.cumsum(getattr(grading.verdicts, name), dtype=np.int64)))
        for name in ("rows", "notes", "doubts")
    }
    chosen = range(len(grading)) if places is None else places
    return tuple(_verdict(grading, first, int(place)) for place in chosen)


def _verdict(grading: Grading, first: Mapping[str, NDArray[np.int64]], place: int) -> Verdict:
    columns, words = grading.verdicts, grading.words
    span = {name: slice(int(ends[place]), int(ends[place + 1])) for name, ends in first.items()}
    wiring = int(columns.wiring[place])
    return Verdict(
        record=words[columns.name[place]],
        specimen=words[columns.specimen[place]],
        requirement=words[columns.requirement[place]],
        decision_rule=words[columns.decision_rule[place]],
        length_m=_or_none(float(columns.length_m[place])),
        outcome=_OUTCOMES[columns.outcome[place]],
        rows=_rows(grading, span["rows"]),
        wiring=None if wiring < 0 else grading.wirings[wiring],
        notes=tuple(words[note] for note in grading.notes[span["notes"]].tolist()),
        budget=words[columns.budget[place]],
        doubts=tuple(words[doubt] for doubt in grading.doubts[span["doubts"]].tolist()),
    )


def _rows(grading: Grading, span: slice) -> tuple[VerdictRow, ...]:
    rows = grading.rows
    numbers = ([_or_none(value) for value in getattr(rows, name)[span].tolist()] for name in FLOATS)
    return tuple(
        # By place, for speed: that of a dataclass is fixed, and the round trip is tested.
        VerdictRow(
            (trace := grading.traces[place]).parameter,
            trace.end,
            trace.pairs,
            margin,
            frequency,
            value,
            limit,
            expanded,
            _OUTCOMES[outcome],
            trace.standing,
            grading.words[note],
            low,
            high,
            guard,
        )
        for place, outcome, note, margin, frequency, value, limit, expanded, low, high, guard in zip(
            rows.trace[span].tolist(),
            rows.outcome[span].tolist(),
            rows.note[span].tolist(),
            *numbers,
            strict=True,
        )
    )


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value
