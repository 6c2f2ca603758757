"""The report on a field tester: whether it agrees with the bench, and what that stands on."""

from __future__ import annotations

from benchsweep.report.content import charts
from benchsweep.report.content._comparison_head import comparison_head, derived_comparison_number
from benchsweep.report.content._comparison_history import (
    comparison_provenance,
    due_section,
    over_time_section,
)
from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content._comparison_opening import (
    agreement_box,
    comparison_doubts,
    simulated_comparison,
)
from benchsweep.report.content._comparison_rows import (
    agreement_limits_section,
    compared_section,
    uncertainty_section,
    worst_compared_section,
)
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._printed import printed, safety_section
from benchsweep.report.document import Block, Document, Given, Items, Paragraph, Section, plain
from benchsweep.report.text import Texts

__all__ = ["comparison_document"]


def comparison_document(
    item: ComparisonItem, texts: Texts, *, title: str = "", particulars: Particulars | None = None
) -> Document:
    """Return the report on a comparison of a field tester. The same item gives the same document.

    Parameters
    ----------
    item
        The comparison.
    texts
        The words.
    title
        Heading; empty: that of the texts, with the name of the tester.
    particulars
        What the laboratory says of itself, its customer and the report; None: nothing.
    """
    stated = Particulars() if particulars is None else particulars
    number = stated.number or derived_comparison_number(item)
    doubts = comparison_doubts(item, texts)
    blocks: list[Block] = [agreement_box(item, doubts, texts)]
    blocks += comparison_head(item, number, stated, texts)
    if doubts:
        blocks.append(Section((texts("doubts.title"),), (Items(doubts),), anchor="doubts"))
    blocks.append(worst_compared_section(item.comparison, texts))
    drawings = charts.difference_drawings(item, texts, prefix="comparison-")
    if drawings:
        legend = Paragraph(
            (texts("differences.legend", pairs=charts.pair_legend(texts, markers=True)),), legend=True
        )
        blocks.append(Section((texts("differences.title"),), (*drawings, legend), anchor="differences"))
    dots = charts.agreement_drawings(item, texts, prefix="comparison-")
    for section in (
        compared_section(item.comparison, texts),
        uncertainty_section(item.comparison, texts),
        agreement_limits_section(item.comparison, dots, texts),
        over_time_section(item, texts),
        due_section(item.due, texts),
    ):
        blocks += [] if section is None else [section]
    blocks += [comparison_provenance(item, texts), safety_section(texts)]
    named = texts.line("comparison.title", tester=Given(item.comparison.tester))
    return printed(
        (Given(title),) if title else named,
        blocks,
        texts,
        number=number,
        laboratory=stated.laboratory,
        simulated=plain(simulated_comparison(item, texts)),
    )
