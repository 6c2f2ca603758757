"""What stands between a specimen and a pass, in one sentence part."""

from __future__ import annotations

from benchsweep.records import Outcome, Verdict
from benchsweep.report._select import bad_rows, worst_row
from benchsweep.report._words import bad_words, clean, row_words

__all__ = ["nearest_words", "stopping_words"]


def stopping_words(verdict: Verdict) -> str:
    """Return the worst that stands against a pass: a fault of the wiring, else the worst row; else nothing.

    Where the rows pass and the whole does not, it is the first note of the verdict.
    """
    if verdict.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
        return ""
    findings = () if verdict.wiring is None else verdict.wiring.findings
    wrong = next((finding for finding in findings if finding.kind != "unclear"), None)
    if wrong is not None:
        where = "pairs" if len(wrong.pairs) > 1 else "pair"
        return f"wiring: {wrong.kind}, {where} {' and '.join(wrong.pairs)}" if wrong.pairs else "wiring"
    told = bad_words(bad_rows(verdict))
    return told[0] if told else clean(verdict.notes[0]) if verdict.notes else "no reason is given"


def nearest_words(verdict: Verdict) -> str:
    """Return the worst that stands against a pass; of a pass what came closest to its limit."""
    if words := stopping_words(verdict):
        return words
    worst = worst_row(verdict)
    return row_words(worst) if worst is not None else "nothing was graded"
