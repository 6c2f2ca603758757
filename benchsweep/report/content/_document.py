"""The whole report: head, overview, series, specimens, and what belongs to all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchsweep.report.content import charts
from benchsweep.report.content._document_head import Reported, head_blocks, simulated_words
from benchsweep.report.content._document_number import derived_number
from benchsweep.report.content._item import ReportItem, grouped
from benchsweep.report.content._means import means_section
from benchsweep.report.content._opening import opened
from benchsweep.report.content._overview import OVERVIEW, overview_section
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._printed import printed, safety_section
from benchsweep.report.content._series import series_section
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content._shared import shared
from benchsweep.report.content._subject import Detail, ReportPart, report_part
from benchsweep.report.content._traces import traces_reading
from benchsweep.report.content._verdict_rows import reading_legend
from benchsweep.report.document import Block, Document, Given, Paragraph, Section
from benchsweep.report.text import Texts

__all__ = ["assembled", "report_document"]


def report_document(
    items: Sequence[ReportItem],
    texts: Texts,
    *,
    title: str = "",
    particulars: Particulars | None = None,
    series: Sequence[SeriesItem] = (),
    detail: Detail = "full",
) -> Document:
    """Return the report of graded measurements, and of series over their time.

    The same items give the same document. Items of one measurement that follow each other are told together.

    Parameters
    ----------
    items
        In the order in which they are told.
    texts
        The words.
    title
        Heading; empty: that of the texts.
    particulars
        What the laboratory says of itself, its customer and the report; None: nothing.
    series
        Whose change over time is told, before what was graded.
    detail
        How much is told of each measurement; see `subject_section`.
    """
    parts = [
        report_part(group, texts, place=place, detail=detail)
        for place, group in enumerate(grouped(items), start=1)
    ]
    return assembled(parts, texts, title=title, particulars=particulars, series=series, detail=detail)


def assembled(
    parts: Sequence[ReportPart],
    texts: Texts,
    *,
    title: str = "",
    particulars: Particulars | None = None,
    series: Sequence[SeriesItem] = (),
    detail: Detail = "full",
) -> Document:
    """Return the report that parts make which were made before, here or in other processes.

    Parameters
    ----------
    parts
        In order; the place of each, from 1, is that with which it was made.
    """
    given = Particulars() if particulars is None else particulars
    number = given.number or derived_number(parts, series)
    reported = Reported(parts, series, number, derived=not given.number)
    box, told = opened([part.summary for part in parts], [part.section for part in parts], texts)
    blocks: list[Block] = [] if box is None else [box]
    blocks += head_blocks(reported, given, texts)
    if len(parts) > 1:
        drawings = charts.gathered_drawings([part.kept for part in parts], texts, prefix=f"{OVERVIEW}-")
        blocks.append(overview_section([part.summary for part in parts], texts, drawings=drawings))
    several = len(parts) + len(series) > 1
    sections = [series_section(item, texts, place=place) for place, item in enumerate(series, start=1)]
    sections += told
    blocks += [replace(section, own_page=several) for section in shared(sections, texts)]
    if detail == "brief" and parts:
        blocks.append(means_section([part.means for part in parts], texts))
        faults = Paragraph((texts("faults.brief"),), legend=True)
        reading = (reading_legend(None, texts), traces_reading(texts), faults)
        blocks.append(Section((texts("document.reading"),), reading))
    blocks.append(safety_section(texts))
    return printed(
        (Given(title),) if title else (texts("document.title"),),
        blocks,
        texts,
        number=number,
        laboratory=given.laboratory,
        simulated=simulated_words(reported, texts),
    )
