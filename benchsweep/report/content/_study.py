"""The report on a study of repeatability: its design, what was measured, what follows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import GaugeStudy, InterlaboratoryStudy, NestedStudy
from benchsweep.report.content._overview_pieces import short_time
from benchsweep.report.content._particulars import Particulars
from benchsweep.report.content._pieces import cells, fact, facts, given, short_digest
from benchsweep.report.content._printed import printed, safety_section
from benchsweep.report.content._study_item import StudyItem
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
    Table,
    line,
)
from benchsweep.report.text import Texts

__all__ = ["study_document"]


def study_document(
    item: StudyItem, texts: Texts, *, title: str = "", particulars: Particulars | None = None
) -> Document:
    """Return the report on a study, finished or not. The same item gives the same document."""
    stated = Particulars() if particulars is None else particulars
    planned = item.planned
    number = stated.number or short_digest([planned.study, planned.design.seed, item.digest])
    blocks: list[Block] = [_box(item, texts), _head(item, number, stated, texts)]
    if item.doubts:
        told = tuple(given(each) for each in item.doubts)
        blocks.append(Section((texts("doubts.title"),), (Items(told),), anchor="doubts"))
    blocks += _results(item, texts)
    blocks.append(_runs(item, texts))
    blocks.append(safety_section(texts))
    named = texts.line("study.title", study=Given(planned.study))
    return printed(
        (Given(title),) if title else named,
        blocks,
        texts,
        number=number,
        laboratory=stated.laboratory,
    )


def _box(item: StudyItem, texts: Texts) -> Box:
    runs = len(item.planned.design.runs)
    done = len(item.measured)
    word = texts("study.finished" if done == runs else "study.unfinished")
    lines: list[Line] = [
        texts.line("study.of", study=Given(item.planned.study), subject=Given(item.planned.subject)),
        (texts("study.measured", done=done, count=runs),),
    ]
    told: list[Line] = []
    for quantity, results in item.results.items():
        words = next((each.words for each in results if not isinstance(each, InterlaboratoryStudy)), "")
        if words:
            told.append(texts.line("study.result", quantity=Given(quantity), words=Given(words)))
    return Box(word, tuple(lines), tuple(told[:8]), "" if done == runs else "undecided")


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


def _results(item: StudyItem, texts: Texts) -> Iterator[Section]:
    for quantity, results in item.results.items():
        unit = item.units.get(quantity, "dB")
        blocks: list[Block] = []
        for result in results:
            if isinstance(result, GaugeStudy):
                blocks += _gauge(result, unit, texts)
            elif isinstance(result, NestedStudy):
                blocks += _nested(result, unit, texts)
            else:
                blocks += _laboratories(result, item.planned.design.operators, unit, texts)
        yield Section(given(quantity), tuple(blocks))


def _gauge(found: GaugeStudy, unit: str, texts: Texts) -> Iterator[Block]:
    contribution, share = dict(found.contribution_percent), dict(found.study_percent)
    rows = []
    for name, value in (
        ("repeatability", found.repeatability),
        ("reproducibility", found.reproducibility),
        ("gauge", found.gauge),
        ("part", found.part),
        ("total", found.total),
    ):
        rows.append(
            Row(
                cells(
                    texts(f"study.{name}"),
                    f"{value:.4f}",
                    _percent(contribution.get(name)),
                    _percent(share.get(name)),
                )
            )
        )
    columns = (
        Column(texts("study.source")),
        Column(texts("study.deviation", unit=unit), number=True),
        Column(texts("study.contribution"), number=True),
        Column(texts("study.share"), number=True),
    )
    yield Table(columns, tuple(rows), (texts("study.anova" if found.table else "study.average_range"),))
    told = texts("study.categories", count=found.categories)
    yield Paragraph(line(told, " " if found.words else "", given(found.words)), legend=True)
    if found.table:
        yield Section((texts("study.table"),), tuple(_variance(found, texts)), folded=True)


def _variance(found: GaugeStudy, texts: Texts) -> Iterator[Block]:
    columns = (
        Column(texts("study.source")),
        Column(texts("study.squares"), number=True),
        Column(texts("study.freedom"), number=True),
        Column(texts("study.mean_square"), number=True),
        Column("F", number=True),
        Column("p", number=True),
    )
    rows = tuple(
        Row(
            cells(
                given(row.term),
                f"{row.sum_of_squares:.5g}",
                str(row.freedom),
                _short(row.mean_square),
                _short(row.f),
                _short(row.p_value),
            )
        )
        for row in found.table
    )
    yield Table(columns, rows)
    if found.pooling_level is not None:
        key = "study.pooled" if found.pooled else "study.kept"
        yield Paragraph((texts(key, level=f"{found.pooling_level:g}"),), legend=True)


def _nested(found: NestedStudy, unit: str, texts: Texts) -> Iterator[Block]:
    columns = (
        Column(texts("study.level")),
        Column(texts("study.seen", unit=unit), number=True),
        Column(texts("study.component", unit=unit), number=True),
        Column(texts("study.freedom"), number=True),
    )
    rows = tuple(
        Row(cells(given(name), f"{seen:.4f}", f"{own:.4f}", str(freedom)))
        for name, seen, own, freedom in zip(
            found.levels, found.deviation, found.component, found.freedom, strict=True
        )
    )
    yield Table(columns, rows, (texts("study.nested_caption"),))
    if found.mating_uncertainty is not None:
        told = texts("study.mating", value=f"{found.mating_uncertainty:.3f}", unit=unit)
        yield Paragraph((told,))
    if found.words:
        yield Paragraph(given(found.words), legend=True)


def _laboratories(
    found: InterlaboratoryStudy, operators: Sequence[str], unit: str, texts: Texts
) -> Iterator[Block]:
    yield facts(
        [
            fact(texts("study.mean"), f"{found.mean:.4f} {unit}"),
            fact(texts("study.repeatability_limit"), f"{found.repeatability_limit:.4f} {unit}"),
            fact(texts("study.reproducibility_limit"), f"{found.reproducibility_limit:.4f} {unit}"),
        ]
    )
    columns = (
        Column(texts("study.operator")),
        Column("h", number=True),
        Column("k", number=True),
    )
    rows = tuple(
        Row(
            cells(given(name), f"{h:+.3f}", f"{k:.3f}"),
            "fail" if abs(h) > found.h_critical or k > found.k_critical else "",
        )
        for name, h, k in zip(operators, found.h, found.k, strict=False)
    )
    caption = texts("study.consistency", h=f"{found.h_critical:.3f}", k=f"{found.k_critical:.3f}")
    yield Table(columns, rows, (caption,))
    if found.outliers:
        yield Items(tuple(given(each) for each in found.outliers))


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


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _short(value: float | None) -> str:
    return "-" if value is None else f"{value:.4g}"
