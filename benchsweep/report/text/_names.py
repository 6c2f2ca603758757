"""What things are called: parameters, outcomes, standings, pairs and ends."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchsweep.records import FOUR_PAIRS, End, Measurement, Outcome, Parameter
from benchsweep.report.document import clean
from benchsweep.report.text._texts import Texts

__all__ = [
    "STANDING_MARKS",
    "conditional_words",
    "outcome_words",
    "pairs_words",
    "parameter_words",
    "standing_mark",
    "standing_words",
    "taken_words",
    "trace_words",
    "where_words",
]

STANDING_MARKS: Mapping[str, str] = {"published": "", "common-practice": "+", "from-memory": "*"}
"""What stands behind a number to tell how far it is to be trusted. Others than these: ``?``."""


def parameter_words(parameter: Parameter, texts: Texts) -> str:
    """Return the field's term for a parameter."""
    return texts(f"parameter.{parameter.value}")


def outcome_words(outcome: Outcome, texts: Texts) -> str:
    """Return an outcome as a word."""
    return texts(f"outcome.{outcome.value}")


def conditional_words(outcome: Outcome, texts: Texts) -> str:
    """Return what a conditional outcome means; empty of the others."""
    conditional = outcome in (Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL)
    return texts(f"conditional.{outcome.value}") if conditional else ""


def standing_mark(standing: str) -> str:
    """Return the mark of a standing, empty where it needs none."""
    return STANDING_MARKS.get(standing, "?")


def standing_words(standing: str, texts: Texts) -> str:
    """Return what a standing means; one that is not known as it was given."""
    return texts(f"standing.{standing}") if standing in STANDING_MARKS else clean(standing)


def pairs_words(pairs: Iterable[str], texts: Texts) -> str:
    """Return the pairs of a row: ``12``, or receiving and disturbing pair, ``12-36``; ``all`` of a mean."""
    named = tuple(pairs)
    return texts("where.all") if len(named) == len(FOUR_PAIRS) else clean("-".join(named))


def where_words(end: End | None, pairs: tuple[str, ...], texts: Texts) -> str:
    """Return where a row was measured: ``end A, pairs 12-36``."""
    told = [texts("where.end", end=end)] if end else []
    if len(pairs) == len(FOUR_PAIRS):
        told.append(texts("where.all_pairs"))
    elif len(pairs) == 1:
        told.append(texts("where.pair", pairs=pairs_words(pairs, texts)))
    elif pairs:
        told.append(texts("where.pairs", pairs=pairs_words(pairs, texts)))
    return ", ".join(told)


def trace_words(parameter: Parameter, end: End | None, pairs: tuple[str, ...], texts: Texts) -> str:
    """Return what a trace is of: ``NEXT, end A, pairs 12-36``."""
    where = where_words(end, pairs, texts)
    return ", ".join(part for part in (parameter_words(parameter, texts), where) if part)


def taken_words(measurement: Measurement, texts: Texts) -> str:
    """Return what the time of a record is the time of: ``measured`` or ``imported``."""
    return texts("taken.imported") if measurement.origin == "touchstone" else texts("taken.measured")
