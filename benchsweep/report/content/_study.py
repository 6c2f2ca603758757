"""The report on a study of repeatability: its design, what was measured, what follows."""

from __future__ import annotations

from typing import Literal

from benchsweep.report.content._overview_pieces import short_time
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import cells, fact, facts, given, short_digest
from benchsweep.report.content._printed import printed, safety_section
from benchsweep.report.content._study_item import StudyItem
from benchsweep.report.content._study_results import study_result_sections
from benchsweep.report.content._study_summary import study_quantity, study_summary_section
from benchsweep.report.document import (
    Block,
    Box,
    Column,
    Document,
    Given,
    Items,
    Line,
    Paragraph,
    Row,
    Section,
    Strong,
    Table,
    plain,
)
from benchsweep.report.text import Texts

__all__ = ["study_document"]

_MOST_TOLD = 8
_FULL_UP_TO = 12


def study_document(
    item: StudyItem,
    texts: Texts,
    *,
    title: str = "",
    particulars: Particulars | None = None,
    detail: Literal["full", "brief", ""] = "",
) -> Document:
    """Return the report on a study, finished or not. The same item gives the same document.

    Parameters
    ----------
    item
        The study.
    texts
        The words.
    title
        Heading; empty: that of the texts, with the name of the study.
    particulars
        What the laboratory says of itself, its customer and the report; None: nothing.
    detail
        ``full``: with the evaluation of each trace; ``brief``: without; empty: with it of a few traces.
    """
    stated = Particulars() if particulars is None else particulars
    planned = item.planned
    number = stated.number or short_digest([planned.study, planned.design.seed, item.digest])
    blocks: list[Block] = [_box(item, texts), _head(item, number, stated, texts)]
    if item.doubts:
        told = tuple(given(each) for each in item.doubts)
        blocks.append(Section((texts("doubts.title"),), (Items(told),), anchor="doubts"))
    summary = study_summary_section(item.summary, texts)
    blocks += [] if summary is None else [summary]
    full = detail == "full" or (not detail and len(item.results) <= _FULL_UP_TO)
    if full:
        blocks += study_result_sections(item, texts)
    elif item.results:
        blocks.append(Paragraph((texts("study.brief", count=len(item.results)),), legend=True))
    blocks.append(_runs(item, texts))
    blocks.append(safety_section(texts))
    named = texts.line("study.title", study=Given(planned.study))
    return printed(
        (Given(title),) if title else named,
        blocks,
        texts,
        number=number,
        laboratory=stated.laboratory,
        simulated=plain(_practice(item, texts)),
    )


def _box(item: StudyItem, texts: Texts) -> Box:
    runs = len(item.planned.design.runs)
    done = len(item.measured)
    word = texts("study.finished" if done == runs else "study.unfinished")
    lines: list[Line] = [
        texts.line("study.of", study=Given(item.planned.study), subject=Given(item.planned.subject)),
        (texts("study.measured", done=done, count=runs),),
    ]
    if item.simulated:
        lines.insert(1, _practice(item, texts))
    if item.doubts:
        lines.append((Strong(texts("lot.doubtful", count=len(item.doubts))),))
    told: list[Line] = []
    for row in item.summary[:_MOST_TOLD]:
        what = study_quantity(row.quantity, texts)
        told.append(texts.line("study.result", quantity=what, words=Given(row.words)) if row.words else what)
    return Box(word, tuple(lines), tuple(told), "" if done == runs else "undecided")


def _practice(item: StudyItem, texts: Texts) -> Line:
    """Return that it is practice; empty where it is not."""
    count, whole = item.simulated, len(item.measured)
    if not count:
        return ()
    if count == whole:
        return (Strong(texts("study.simulated")),)
    return (Strong(texts("study.some_simulated", count=count, whole=whole)),)


def _head(item: StudyItem, number: str, particulars: Particulars, texts: Texts) -> Block:
    planned, design = item.planned, item.planned.design
    return facts(
        [
            fact(texts("head.number"), given(number)),
            fact(texts("head.laboratory"), given(particulars.laboratory)),
            fact(texts("study.kind"), texts(f"study.{design.kind}")),
            fact(texts("study.parts"), given(", ".join(design.parts))),
            fact(texts("study.operators"), given(", ".join(design.operators))),
            fact(
                texts("study.size"),
                texts(
                    "study.size_words", matings=design.matings, trials=design.trials, freedom=design.freedom
                ),
            ),
            fact(texts("study.seed"), given(design.seed)),
            fact(texts("comparison_head.requirement"), given(planned.requirement)),
            fact(
                texts("study.planned"),
                texts.line("study.planned_by", by=Given(planned.by), at=Given(short_time(planned.at))),
            ),
            fact(texts("study.means"), *[given(each) for each in design.words]),
            fact(texts("comparison_provenance.history"), given(item.digest)),
        ]
    )


def _runs(item: StudyItem, texts: Texts) -> Section:
    columns = (
        Column(texts("study.run"), number=True),
        Column(texts("study.part_column")),
        Column(texts("study.operator")),
        Column(texts("study.mating_column"), number=True),
        Column(texts("study.trial_column"), number=True),
        Column(texts("study.measured_on"), kept=True),
        Column(texts("study.by")),
    )
    rows = []
    for run in item.planned.design.runs:
        done = item.measured.get(run.number)
        rows.append(
            Row(
                cells(
                    str(run.number),
                    given(run.part),
                    given(run.operator),
                    str(run.mating),
                    str(run.trial),
                    given(short_time(done.at)) if done else "",
                    given(done.by) if done else "",
                )
            )
        )
    title = (texts("study.runs"),)
    return Section(title, (Table(columns, tuple(rows)),), anchor="runs", folded=len(rows) > 40)
