"""The limits that a specimen was held against, and how each of them is known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from benchsweep.records import LimitCurve, Parameter
from benchsweep.report.content._budget import standing_line
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import Block, Column, Given, Items, Line, Paragraph, Row, Section, Table
from benchsweep.report.text import Texts, parameter_words

__all__ = ["limits_section", "limits_table", "standing_lines"]

_WORDS = {
    "from-memory": "limits_used.from_memory",
    "common-practice": "limits_used.common_practice",
    "published": "limits_used.published",
}
"""The sentences about each standing, the weakest first."""


def limits_section(group: Sequence[ReportItem], texts: Texts) -> Section | None:
    """Return source and standing of every limit line of a group, requirement by requirement.

    How many lines are of which standing comes first. None where nothing was graded against a line.
    """
    held = [item for item in group if item.limits]
    if not held:
        return None
    blocks: list[Block] = [
        Items(tuple(standing_lines([curve for item in held for curve in item.limits.values()], texts)))
    ]
    for item in held:
        table = limits_table(item.limits, texts)
        if len(group) == 1:
            blocks.append(table)
        else:
            blocks.append(Section((Given(item.verdict.requirement),), (table,), folded=True))
    blocks.append(Paragraph((texts("limits_used.legend"),), legend=True))
    return Section((texts("limits_used.title"),), tuple(blocks))


def standing_lines(curves: Iterable[LimitCurve], texts: Texts) -> Iterator[Line]:
    """Yield a sentence for each standing: how many of the limit lines have it, the weakest first."""
    counts = Counter(curve.standing for curve in curves)
    for standing, key in _WORDS.items():
        if counts[standing]:
            yield texts.line(key, count=counts[standing])
    for standing in sorted(set(counts) - set(_WORDS)):
        yield texts.line("limits_used.unknown", count=counts[standing], standing=Given(standing))


def limits_table(limits: Mapping[Parameter, LimitCurve], texts: Texts) -> Table:
    """Return sense, standing and source of each limit line."""
    order = list(Parameter)
    columns = (
        Column(texts("limits_used.parameter")),
        Column(texts("limits_used.must_be")),
        Column(texts("limits_used.standing")),
        Column(texts("limits_used.source")),
    )
    rows = []
    for parameter, curve in sorted(limits.items(), key=lambda entry: order.index(entry[0])):
        sense = texts("limits_used.at_least" if curve.sense == "min" else "limits_used.at_most")
        rows.append(
            Row(
                cells(
                    parameter_words(parameter, texts),
                    sense,
                    standing_line(curve.standing, texts),
                    given(curve.source),
                )
            )
        )
    return Table(columns, tuple(rows))
