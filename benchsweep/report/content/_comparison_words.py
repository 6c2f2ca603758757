"""What comparisons are told in: the outcome as a word, a row as a sentence, numbers with their sign."""

from __future__ import annotations

from benchsweep.records import Agreement, ComparedPoint, ComparedTrace
from benchsweep.report.content._pieces import given
from benchsweep.report.document import Emphasis, Line, Strong, line
from benchsweep.report.text import Texts, megahertz, signed, trace_words

__all__ = ["agreement_line", "agreement_words", "difference_words", "emphasis_of_agreement", "row_line"]


def agreement_words(outcome: Agreement, texts: Texts) -> str:
    """Return whether they agree, as a word."""
    return texts(f"agreement.{outcome.value}")


def agreement_line(outcome: Agreement, texts: Texts) -> Line:
    """Return the same, so that nobody misses what is beyond both uncertainties."""
    words = agreement_words(outcome, texts)
    return (Strong(words),) if outcome is Agreement.DISAGREES else (words,)


def emphasis_of_agreement(outcome: Agreement) -> Emphasis:
    """Return how a row or a box of that outcome looks."""
    if outcome is Agreement.AGREES:
        return ""
    return "fail" if outcome is Agreement.DISAGREES else "undecided"


def difference_words(point: ComparedPoint, unit: str, texts: Texts) -> str:
    """Return by how much the tester tells more or less than the bench, where, and E_n."""
    told = texts("comparison.difference", difference=signed(point.difference, texts), unit=unit)
    if point.frequency_hz is not None:
        told = texts("comparison.at", told=told, frequency=megahertz(point.frequency_hz))
    if point.e_n is not None:
        told = texts("comparison.with_number", told=told, number=signed(point.e_n, texts))
    return told


def row_line(row: ComparedTrace, texts: Texts) -> Line:
    """Return a row as a sentence part: what, by how much, where."""
    what = trace_words(row.parameter, row.end, row.pairs, texts)
    if row.decisive is None:
        return line(what, ": ", given(row.words))
    return line(what, ": ", difference_words(row.decisive, row.parameter.unit, texts))
