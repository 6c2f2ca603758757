"""The evaluation of each trace of a study: analysis of variance, nested levels, consistency."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchsweep.records import GaugeStudy, InterlaboratoryStudy, NestedStudy
from benchsweep.report.content._pieces import cells, fact, facts, given
from benchsweep.report.content._study_item import StudyItem
from benchsweep.report.content._study_summary import study_quantity
from benchsweep.report.document import Block, Column, Items, Paragraph, Row, Section, Table, line
from benchsweep.report.text import Texts, worst_first

__all__ = ["study_result_sections"]


def study_result_sections(item: StudyItem, texts: Texts) -> Iterator[Section]:
    """Yield the evaluations of each trace, the worst first."""
    for quantity in worst_first(item.results):
        results = item.results[quantity]
        unit = item.units.get(quantity, "dB")
        blocks: list[Block] = []
        for result in results:
            if isinstance(result, GaugeStudy):
                blocks += _gauge(result, unit, texts)
            elif isinstance(result, NestedStudy):
                blocks += _nested(result, unit, texts)
            else:
                blocks += _laboratories(result, item.planned.design.operators, unit, texts)
        yield Section(study_quantity(quantity, texts), tuple(blocks))


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


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _short(value: float | None) -> str:
    return "-" if value is None else f"{value:.4g}"
