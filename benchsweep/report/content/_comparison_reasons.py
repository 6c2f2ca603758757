"""Why results are undecided: what many have in common is said once, with how many of each parameter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import ComparedTrace, Parameter
from benchsweep.report.document import Given, Line, line
from benchsweep.report.text import Texts, pairs_words, parameter_words

__all__ = ["empty_lines", "reason_lines"]

_PART = "; "


def reason_lines(rows: Sequence[ComparedTrace], texts: Texts) -> Iterator[Line]:
    """Yield reasons, those of most results first.

    The first part of the words of a row tells its numbers, which stand in the table; what follows is why.
    Words of one part are the reason themselves.
    """
    reasons: dict[str, list[ComparedTrace]] = {}
    for row in rows:
        first, *more = row.words.split(_PART)
        for reason in more or [first]:
            if reason:
                reasons.setdefault(reason, []).append(row)
    for reason, concerned in sorted(reasons.items(), key=lambda each: -len(each[1])):
        of = _counted(concerned, texts) if len(concerned) > 1 else _named(concerned[0], texts)
        if len(concerned) == 1 and reason.startswith(_plainly(concerned[0])):
            yield (Given(reason),)
        else:
            yield line(of, ": ", Given(reason))


def empty_lines(rows: Sequence[ComparedTrace], texts: Texts) -> Iterator[Line]:
    """Yield what could not be compared: traces by parameter with the reasons that they have in common.

    Of single numbers each has a reason of its own.
    """
    traces: dict[Parameter, list[str]] = {}
    for row in rows:
        if row.basis == "trace":
            named = " ".join(part for part in (row.end or "", pairs_words(row.pairs, texts)) if part)
            traces.setdefault(row.parameter, []).append(named)
        else:
            yield (Given(row.words),)
    for parameter, names in traces.items():
        yield line(parameter_words(parameter, texts), " ", ", ".join(names))
    if traces:
        yield (texts("comparison_rows.nothing_counts"),)


def _plainly(row: ComparedTrace) -> str:
    """Return how the words of a row begin where they name it."""
    return row.parameter.term


def _counted(rows: Sequence[ComparedTrace], texts: Texts) -> str:
    count: dict[Parameter, int] = {}
    for row in rows:
        count[row.parameter] = count.get(row.parameter, 0) + 1
    told = ", ".join(f"{parameter_words(parameter, texts)} {number}" for parameter, number in count.items())
    return texts("comparison_rows.concerned", count=len(rows), names=told)


def _named(row: ComparedTrace, texts: Texts) -> str:
    parts = (parameter_words(row.parameter, texts), row.end or "", pairs_words(row.pairs, texts))
    return " ".join(part for part in parts if part)
