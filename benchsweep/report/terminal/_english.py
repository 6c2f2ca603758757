"""What is said in the words of a language, in English and as plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchsweep.records import (
    End,
    Measurement,
    Origin,
    Outcome,
    Parameter,
    Verdict,
    VerdictRow,
    WiringReport,
)
from benchsweep.report import text
from benchsweep.report.document import clean, plain
from benchsweep.report.text import english

__all__ = [
    "against_pass_words",
    "conditional_words",
    "count_words",
    "interval_words",
    "length_words",
    "nearest_words",
    "number",
    "origins_words",
    "pairs_words",
    "parameter_words",
    "row_notes",
    "row_words",
    "signed",
    "standing_words",
    "stopping_words",
    "taken_words",
    "trace_words",
    "uncertainty_words",
    "where_words",
    "wiring_words",
]


def number(value: float | None, decimals: int = 2) -> str:
    """Return a number for people: plain decimals, a dash where there is none."""
    return text.number(value, english(), decimals)


def uncertainty_words(value: float | None) -> str:
    """Return an uncertainty; with two digits where two decimals would round it to zero."""
    return text.uncertainty_words(value, english())


def signed(value: float | None) -> str:
    """Return a margin, always with its sign."""
    return text.signed(value, english())


def length_words(length_m: float | None) -> str:
    """Return a length in metres."""
    return text.length_words(length_m, english())


def pairs_words(pairs: Iterable[str]) -> str:
    """Return the pairs of a row."""
    return text.pairs_words(pairs, english())


def where_words(end: End | None, pairs: tuple[str, ...]) -> str:
    """Return where a row was measured."""
    return text.where_words(end, pairs, english())


def taken_words(measurement: Measurement) -> str:
    """Return what the time of a record is the time of."""
    return text.taken_words(measurement, english())


def row_words(row: VerdictRow) -> str:
    """Return one row as a sentence part."""
    return plain(text.row_words(row, english()))


def origins_words(origins: Sequence[Origin]) -> tuple[str, ...]:
    """Return from where failing traces come."""
    return tuple(map(plain, text.origins_words(origins, english())))


def interval_words(low: float | None, high: float | None, unit: str) -> str:
    """Return an expanded uncertainty."""
    return text.interval_words(low, high, unit, english())


def against_pass_words(bad: Sequence[VerdictRow]) -> tuple[str, ...]:
    """Return what stands against a pass."""
    return tuple(map(plain, text.against_pass_words(bad, english())))


def count_words(verdict: Verdict) -> str:
    """Return how many traces were graded and with which outcomes."""
    return text.count_words(verdict, english())


def wiring_words(wiring: WiringReport | None) -> tuple[str, ...]:
    """Return the wiring check in sentences."""
    return tuple(map(plain, text.wiring_words(wiring, english())))


def parameter_words(parameter: Parameter) -> str:
    """Return the field's term for a parameter."""
    return text.parameter_words(parameter, english())


def trace_words(parameter: Parameter, end: End | None, pairs: tuple[str, ...]) -> str:
    """Return what a trace is of."""
    return text.trace_words(parameter, end, pairs, english())


def conditional_words(outcome: Outcome) -> str:
    """Return what a conditional outcome means; empty of the others."""
    return text.conditional_words(outcome, english())


def standing_words(standing: str) -> str:
    """Return what a standing means; one that is not known as it was given."""
    return text.standing_words(standing, english())


def row_notes(rows: Iterable[VerdictRow]) -> tuple[tuple[Parameter, str], ...]:
    """Return the notes of decided rows, each once for its parameter."""
    return tuple((parameter, plain(told)) for parameter, told in text.row_notes(rows, english()))


def stopping_words(verdict: Verdict) -> str:
    """Return the worst that stands against a pass: a fault of the wiring, else the worst row; else nothing.

    Where the rows pass and the whole does not, it is the first note of the verdict. The text holds no control
    characters.
    """
    return clean(plain(text.stopping_words(verdict, english())))


def nearest_words(verdict: Verdict) -> str:
    """Return the worst that stands against a pass; of a pass what came closest to its limit."""
    return plain(text.nearest_words(verdict, english()))
