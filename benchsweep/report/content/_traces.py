"""The charts of the parameters over frequency, and how they are read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from benchsweep.report.content import charts
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._verdict_rows import numbers_line
from benchsweep.report.document import Block, Line, Paragraph, Section, line
from benchsweep.report.text import Texts

__all__ = ["traces_reading", "traces_section"]


def traces_section(
    group: Sequence[ReportItem], texts: Texts, *, prefix: str, detail: Literal["full", "brief"]
) -> Section | None:
    """Return the charts of a measurement; None when there is nothing to draw.

    Parameters that no requirement judges stand folded behind the others. In ``brief`` the legend is left out:
    it stands once in the report.
    """
    drawn: tuple[Block, ...] = charts.parameter_drawings(
        group, texts, prefix=prefix, detail=detail, judged=True
    )
    others = charts.parameter_drawings(group, texts, prefix=prefix, detail=detail, judged=False)
    if not drawn and not others:
        return None
    if drawn and others:
        drawn = (*drawn, Section((texts("traces.not_judged"),), others, folded=True))
    legend = (Paragraph(_legend(group, texts), legend=True),) if detail == "full" else ()
    return Section((texts("traces.title"),), (*legend, *(drawn or others)))


def traces_reading(texts: Texts) -> Paragraph:
    """Return how charts are read, whatever may be in them, for a brief report, in which it stands once."""
    keys = ("traces.limit", "traces.sure", "traces.acceptance", "traces.idle", "traces.held")
    parts = [charts.pair_legend(texts, markers=True), *map(texts, keys)]
    return Paragraph((" ".join(parts),), legend=True)


def _legend(group: Sequence[ReportItem], texts: Texts) -> Line:
    several = len(group) > 1
    parts: list[str | Line] = [charts.pair_legend(texts, markers=True)]
    if several:
        parts.append(texts.line("traces.limits", numbers=numbers_line(group)))
    else:
        parts.append(texts("traces.limit"))
    rows = [row for item in group for row in item.verdict.rows]
    if any(item.bands for item in group):
        parts.append(texts("traces.band"))
    if any(row.expanded_uncertainty is not None for row in rows):
        parts.append(texts("traces.sure"))
    if any(row.guard_band is not None for row in rows):
        parts.append(texts("traces.acceptance"))
    if any(item.graded for item in group):
        parts.append(texts("traces.graded_several") if several else texts("traces.graded"))
    if any(mask.any() for item in group for mask in item.not_counting.values()):
        parts.append(texts("traces.idle"))
    curves = [curve for item in group for curve in item.limits.values()]
    if any(curve.held is not None and curve.held.any() for curve in curves):
        parts.append(texts("traces.held"))
    told: Line = ()
    for part in parts:
        told = line(told, " " if told else "", part)
    return told
