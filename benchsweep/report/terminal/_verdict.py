from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

from benchsweep.records import Fault, Origin, Outcome, Verdict, VerdictRow
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import (
    against_pass_words,
    conditional_words,
    count_words,
    length_words,
    nearest_words,
    number,
    origins_words,
    pairs_words,
    parameter_words,
    row_notes,
    row_words,
    signed,
    standing_words,
    uncertainty_words,
    wiring_words,
)
from benchsweep.report.terminal._lines import NARROWEST, columns, entry, padded, wrapped
from benchsweep.report.text import (
    bad_rows,
    decided_elsewhere,
    english,
    megahertz,
    other_notes,
    standing_mark,
    standings,
    worst_row,
    worst_rows,
)

__all__ = ["requirement_table", "verdict_table"]


def verdict_table(
    verdict: Verdict, *, faults: Sequence[Fault] = (), origins: Sequence[Origin] = (), width: int = 80
) -> str:
    """Return a verdict as plain text of at most `width` columns, at least 40.

    Outcome first, then what stands against a pass, the wiring in words, the `faults` found and where they
    are, from where the failing traces come (`origins`), and a table with the worst row of every parameter and
    end, or sentences where the table is too wide.
    The text holds no control characters, whatever the names hold.
    """
    width = max(width, NARROWEST)
    lines = [*entry("outcome", [f"{verdict.outcome.value}: {count_words(verdict)}"], width)]
    bad = bad_rows(verdict)
    worst = worst_row(verdict)
    if bad:
        lines += entry("", against_pass_words(bad), width)
    elif worst is not None:
        lines += entry("closest", [row_words(worst)], width)
    lines += entry("doubtful", verdict.doubts, width)
    wiring = wiring_words(verdict.wiring)
    lines += entry("wiring", wiring, width)
    told = [fault.words for fault in faults if fault.words not in wiring]
    if told and verdict.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
        told = ["found, though no limit of this requirement is broken:", *told]
    lines += entry("faults", told, width)
    lines += entry("comes from", origins_words(origins), width)
    lines += entry("specimen", [verdict.specimen], width)
    against = f"{verdict.requirement}, decision rule {verdict.decision_rule}"
    if verdict.budget:
        against += f", uncertainty by budget {clean(verdict.budget)}"
    if verdict.length_m is not None:
        against += f", length {length_words(verdict.length_m)}"
    lines += entry("against", [against], width)
    lines += entry("record", [verdict.record or "not stored"], width)
    rows = worst_rows(verdict)
    if rows:
        lines += ["", *_rows_table(rows, width)]
        for row in rows:
            if row.outcome is Outcome.CONDITIONAL_PASS and decided_elsewhere(row):
                lines += wrapped(f"{row.outcome.value}: {row_words(row)}", width)
        lines += _legend(verdict.rows, width)
    for note in other_notes(verdict):
        lines += entry("note", [note], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def requirement_table(verdicts: Sequence[Verdict], *, width: int = 80) -> str:
    """Return one line for each requirement: its outcome, and what stands against a pass or came closest.

    At most `width` columns, at least 40; sentences where there is no room for three columns.
    """
    width = max(width, NARROWEST)
    cells = [
        (clean(verdict.requirement), verdict.outcome.value, nearest_words(verdict)) for verdict in verdicts
    ]
    heads = ("requirement", "outcome", "worst")
    first, second = (max(columns(line[i]) for line in (heads, *cells)) + 2 for i in (0, 1))
    room = width - first - second
    if room < NARROWEST // 2:
        return "\n".join(text for cell in cells for text in wrapped("{}: {}; {}".format(*cell), width)) + "\n"
    lines = [f"{heads[0]:<{first}}{heads[1]:<{second}}{heads[2]}"]
    lines.append("-" * min(width, first + second + max(columns(cell[2]) for cell in cells)))
    for name, outcome, worst in cells:
        texts = wrapped(worst, room)
        lines.append(f"{padded(name, first)}{outcome:<{second}}{texts[0]}")
        lines += [f"{'':<{first + second}}{text}" for text in texts[1:]]
    return "\n".join(lines) + "\n"


def _rows_table(rows: Sequence[VerdictRow], width: int) -> list[str]:
    """Return the rows as a table, without the column of units where it is too wide, or as sentences."""
    told = any(row.expanded_uncertainty is not None for row in rows)
    leave_out = set() if told else {"U"}
    for unwanted in (leave_out, leave_out | {"unit"} if told else leave_out):
        lines = _table(rows, unwanted, width)
        if all(columns(line.rstrip()) <= width for line in lines):
            if "unit" in unwanted:
                lines += wrapped("delay and skew in ns, all else in dB", width)
            return lines
    # a narrow terminal: one sentence a row instead
    return [line for row in rows for line in wrapped(f"{row.outcome.value}: {_sentence(row)}", width)]


def _sentence(row: VerdictRow) -> str:
    if row.expanded_uncertainty is None:
        return row_words(row)
    return f"{row_words(row)}; U {uncertainty_words(row.expanded_uncertainty)} {row.parameter.unit}"


def _table(rows: Sequence[VerdictRow], leave_out: Collection[str], width: int) -> list[str]:
    heads = [name for name in _COLUMNS if name not in leave_out]
    cells = [[_COLUMNS[name](row) for name in heads] for row in rows]
    widths = [max(columns(line[i]) for line in (heads, *cells)) for i in range(len(heads))]
    gap = 2 if sum(widths) + 2 * (len(widths) - 1) <= width else 1
    at = heads.index("limit")
    heads[at] = "limit "  # its cells end in the mark of their standing
    widths[at] = max(widths[at], columns(heads[at]))
    lines = [
        (" " * gap).join(
            cell.rjust(widths[i]) if heads[i].strip() in _FIGURES else cell.ljust(widths[i])
            for i, cell in enumerate(line)
        )
        for line in (heads, *cells)
    ]
    return [lines[0], "-" * columns(lines[0].rstrip()), *lines[1:]]


_COLUMNS: Mapping[str, Callable[[VerdictRow], str]] = {
    "parameter": lambda row: parameter_words(row.parameter),
    "end": lambda row: row.end or "",
    "pairs": lambda row: pairs_words(row.pairs),
    "margin": lambda row: signed(row.worst_margin_db),
    "MHz": lambda row: megahertz(row.frequency_hz),
    "value": lambda row: number(row.value),
    "U": lambda row: uncertainty_words(row.expanded_uncertainty),
    "limit": lambda row: f"{number(row.limit)}{standing_mark(row.standing) or ' '}",
    "unit": lambda row: row.parameter.unit,
    "outcome": lambda row: row.outcome.value,
}
_FIGURES = frozenset({"margin", "MHz", "value", "U", "limit"})


def _legend(rows: Sequence[VerdictRow], width: int) -> list[str]:
    lines = [""]
    if any(len(row.pairs) == 2 and row.end for row in rows):
        lines += wrapped("pairs: the receiving pair first, then the disturbing one", width)
    if any(row.expanded_uncertainty is not None for row in rows):
        lines += wrapped(english()("uncertainty.expanded"), width)
    else:
        lines += wrapped(english()("uncertainty.not_evaluated"), width)
    for outcome in (Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL):
        if any(row.outcome is outcome for row in rows):
            lines += wrapped(f"{outcome.value}: {conditional_words(outcome)}", width)
    for standing in standings(rows):
        mark = standing_mark(standing)
        if mark:
            lines += wrapped(f"{mark} limit {standing_words(standing)}", width)
    for parameter, note in row_notes(rows):
        lines += wrapped(f"{parameter_words(parameter)}: {note}", width)
    return lines
