"""What stands between a specimen and a pass, in one sentence part."""

from __future__ import annotations

from benchsweep.records import Outcome, Verdict
from benchsweep.report.document import Given, Line, clean, line
from benchsweep.report.text._rows import against_pass_words, row_words
from benchsweep.report.text._select import bad_rows, worst_row
from benchsweep.report.text._texts import Texts

__all__ = ["nearest_words", "stopping_words"]


def stopping_words(verdict: Verdict, texts: Texts) -> Line:
    """Return the worst that stands against a pass: a fault of the wiring, else the worst row; else nothing.

    Where the rows pass and the whole does not, it is the first note of the verdict.
    """
    if verdict.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
        return ()
    findings = () if verdict.wiring is None else verdict.wiring.findings
    wrong = next((finding for finding in findings if finding.kind != "unclear"), None)
    if wrong is not None:
        pairs = texts("stopping.and").join(map(clean, wrong.pairs))
        if not pairs:
            return line(texts("stopping.wiring"))
        if len(wrong.pairs) == 1:
            return texts.line("stopping.wiring_pair", kind=Given(wrong.kind), pairs=pairs)
        return texts.line("stopping.wiring_pairs", kind=Given(wrong.kind), pairs=pairs)
    told = against_pass_words(bad_rows(verdict), texts)
    if told:
        return told[0]
    return line(Given(verdict.notes[0]) if verdict.notes else texts("against_pass.no_reason"))


def nearest_words(verdict: Verdict, texts: Texts) -> Line:
    """Return the worst that stands against a pass; of a pass what came closest to its limit."""
    if words := stopping_words(verdict, texts):
        return words
    worst = worst_row(verdict)
    return row_words(worst, texts) if worst is not None else line(texts("count.none"))
