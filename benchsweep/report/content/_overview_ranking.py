"""Which parameter is the tightest of several measurements, and which specimen the best: a sentence each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from benchsweep.records import Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report.content._overview_pieces import linked, short_where
from benchsweep.report.content._summary import Summary
from benchsweep.report.document import Given, Line, Paragraph
from benchsweep.report.text import ORDER, Texts, parameter_words, signed

__all__ = ["ranking_blocks"]

_PASSING = (Outcome.PASS, Outcome.CONDITIONAL_PASS)


def ranking_blocks(
    parts: Sequence[Summary], requirements: Sequence[str], texts: Texts
) -> Iterator[Paragraph]:
    """Yield for each requirement the tightest parameter and the best specimen, where there are such.

    Only margins in dB are ranked: those of delay and skew are in ns. The tightest parameter has the smallest
    median of the worst margins. The best specimen has the greatest worst margin of those that pass, a pass
    before a conditional one; nothing is said of it where fewer than two measurements are graded.
    """
    for name in requirements:
        graded = [
            (one, verdict, doubtful)
            for one in parts
            for verdict, doubtful in zip(
                one.verdicts, one.doubtful or (False,) * len(one.verdicts), strict=True
            )
            if verdict.requirement == name
        ]
        for told in (_tightest(name, [verdict for _, verdict, _ in graded], texts), _best(graded, texts)):
            if told:
                yield Paragraph(told)


def _in_db(verdict: Verdict) -> dict[Parameter, VerdictRow]:
    """Return the row with the smallest margin of each parameter in dB."""
    found: dict[Parameter, VerdictRow] = {}
    for row in verdict.rows:
        if row.worst_margin_db is None or row.parameter.unit != "dB":
            continue
        kept = found.get(row.parameter)
        if kept is None or _margin(row) < _margin(kept):
            found[row.parameter] = row
    return found


def _margin(row: VerdictRow) -> float:
    assert row.worst_margin_db is not None  # noqa: S101 - chosen so
    return row.worst_margin_db


def _tightest(name: str, verdicts: Sequence[Verdict], texts: Texts) -> Line:
    margins: dict[Parameter, list[float]] = {}
    for verdict in verdicts:
        for parameter, row in _in_db(verdict).items():
            margins.setdefault(parameter, []).append(_margin(row))
    medians = {parameter: median(values) for parameter, values in margins.items()}
    if len(medians) < 2:
        return ()
    parameter = min(medians, key=lambda one: medians[one])
    return texts.line(
        "overview.tightest",
        requirement=Given(name),
        parameter=parameter_words(parameter, texts),
        margin=signed(medians[parameter], texts),
    )


def _best(graded: Sequence[tuple[Summary, Verdict, bool]], texts: Texts) -> Line:
    found = []
    for one, verdict, doubtful in graded:
        worst = min(_in_db(verdict).values(), key=_margin, default=None)
        if worst is not None and verdict.outcome in _PASSING:
            found.append((one, verdict, doubtful, worst))
    if len(graded) < 2 or not found:
        return ()
    one, verdict, doubtful, worst = max(
        found, key=lambda entry: (ORDER.index(entry[1].outcome), _margin(entry[3]))
    )
    return texts.line(
        "overview.best_doubtful" if doubtful else "overview.best",
        requirement=Given(verdict.requirement),
        specimen=linked(one),
        margin=signed(worst.worst_margin_db, texts),
        parameter=parameter_words(worst.parameter, texts),
        where=short_where(worst, texts),
    )
