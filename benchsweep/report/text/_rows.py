"""Rows of a verdict in sentences."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from benchsweep.records import Origin, Outcome, Verdict, VerdictRow
from benchsweep.report.document import Given, Line, line
from benchsweep.report.text._names import parameter_words, trace_words
from benchsweep.report.text._numbers import megahertz, number
from benchsweep.report.text._select import ORDER, decided_elsewhere
from benchsweep.report.text._texts import Texts
from benchsweep.report.text._wiring import wiring_faults

__all__ = ["against_pass_words", "count_words", "origins_words", "row_words"]

_MOST_ORIGINS = 4
_MOST_TOLD = 6
_MOST_REASONS = 12


def row_words(row: VerdictRow, texts: Texts) -> Line:
    """Return one row as a sentence part: what, where, by how much; of an undecided row also why."""
    unit = row.parameter.unit
    what = trace_words(row.parameter, row.end, row.pairs, texts)
    if row.worst_margin_db is None:
        return line(what, ": ", Given(row.note) if row.note else texts("row.no_point"))
    margin = number(abs(row.worst_margin_db), texts)
    outside = row.worst_margin_db < 0
    if row.worst_margin_db == -math.inf:
        told = (
            texts("row.infinitely_outside", what=what)
            if row.frequency_hz is None
            else texts("row.infinitely_outside_at", what=what, frequency=megahertz(row.frequency_hz))
        )
    elif row.frequency_hz is None:
        told = (
            texts("row.outside", what=what, margin=margin, unit=unit)
            if outside
            else texts("row.inside", what=what, margin=margin, unit=unit)
        )
    else:
        at = megahertz(row.frequency_hz)
        told = (
            texts("row.outside_at", what=what, margin=margin, unit=unit, frequency=at)
            if outside
            else texts("row.inside_at", what=what, margin=margin, unit=unit, frequency=at)
        )
    if row.outcome is Outcome.UNDECIDED:
        return line(told, "; ", Given(row.note)) if row.note else line(told)
    return _with_guard_band(told, row, texts)


def _with_guard_band(told: str, row: VerdictRow, texts: Texts) -> Line:
    """Return `told` and what the guard band has to do with the outcome, where it has."""
    if row.guard_band is None or row.outcome is Outcome.PASS:
        return line(told)
    elsewhere = decided_elsewhere(row)
    if elsewhere:
        return line(told, "; ", Given(elsewhere))
    if row.outcome is Outcome.FAIL and (row.worst_margin_db or 0.0) < 0.0:
        return line(told)
    guard = number(row.guard_band, texts)
    return texts.line("row.guard", told=told, guard=guard, unit=row.parameter.unit)


def origins_words(origins: Sequence[Origin], texts: Texts) -> tuple[Line, ...]:
    """Return from where failing traces come, a sentence part for each; of many the first."""
    told = [
        texts.line(
            "origins.near",
            what=trace_words(origin.parameter, origin.end, origin.pairs, texts),
            frequency=megahertz(origin.frequency_hz),
            words=Given(origin.words),
        )
        for origin in origins
    ]
    more = len(told) - _MOST_ORIGINS
    return tuple(told) if more <= 0 else (*told[:_MOST_ORIGINS], texts.line("origins.more", count=more))


def against_pass_words(bad: Sequence[VerdictRow], texts: Texts) -> tuple[Line, ...]:
    """Return what stands against a pass: failing rows one by one, undecided ones by reason.

    Parameters
    ----------
    bad
        As `bad_rows` gives them.
    """
    failing = [row for row in bad if row.outcome is not Outcome.UNDECIDED]
    told = [row_words(row, texts) for row in failing[:_MOST_TOLD]]
    if len(failing) > _MOST_TOLD:
        told.append(texts.line("against_pass.more", count=len(failing) - _MOST_TOLD))
    reasons = Counter((row.parameter, row.note) for row in bad if row.outcome is Outcome.UNDECIDED)
    listed = [
        texts.line(
            "against_pass.undecided",
            parameter=parameter_words(parameter, texts),
            count=count,
            reason=Given(note) if note else texts("against_pass.no_reason"),
        )
        for (parameter, note), count in reasons.items()
    ]
    told += listed[:_MOST_REASONS]
    if len(listed) > _MOST_REASONS:
        told.append(texts.line("against_pass.more_reasons", count=len(listed) - _MOST_REASONS))
    return tuple(told)


def count_words(verdict: Verdict, texts: Texts) -> str:
    """Return how many traces were graded and with which outcomes."""
    rows = verdict.rows
    counts = [(outcome, sum(row.outcome is outcome for row in rows)) for outcome in ORDER]
    told = [texts(f"count.{outcome.value}", count=count) for outcome, count in counts if count]
    if not told:
        return texts("count.none")
    if len(told) == 1 and rows[0].outcome is Outcome.PASS:
        all_pass = texts("count.all_pass", count=len(rows))
        wrong = verdict.outcome is Outcome.FAIL and wiring_faults(verdict.wiring)
        return texts("count.wiring_wrong", told=all_pass) if wrong else all_pass
    return texts("count.of", count=len(rows), told=", ".join(told))
