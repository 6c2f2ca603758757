"""Pages of a report on a field tester: a band of one trace, no empty columns, plain rows, dates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from benchsweep.records import Agreement
from benchsweep.report import ComparisonItem, comparison_document, english
from benchsweep.report.content.charts._difference import agreement_charts, difference_charts
from benchsweep.report.document import Section, Strong, Table
from tests.report.content.comparisons_made import comparison_item
from tests.report.content.told import facts_of, section_in, tables_of, text_of

TEXTS = english()


def whole(item: ComparisonItem) -> Section:
    document = comparison_document(item, TEXTS)
    return Section(document.title, document.blocks)


def tables_in(section: Section) -> Iterator[Table]:
    for block in section.blocks:
        if isinstance(block, Table):
            yield block
        elif isinstance(block, Section):
            yield from tables_in(block)


def single_numbers(item: ComparisonItem) -> ComparisonItem:
    """Return the same where the tester told a worst margin of each trace only."""
    rows = tuple(
        replace(row, basis="point", compared=1, left_out=0, mean_difference=None, deviation=None,
                share_beyond=None)
        for row in item.comparison.rows
    )  # fmt: skip
    return replace(item, comparison=replace(item.comparison, rows=rows), differences=(), uncertainties={})


def test_a_band_is_of_one_trace_and_only_where_it_counts() -> None:
    item = comparison_item(bad=(5,))
    spiked = {key: value.copy() for key, value in item.uncertainties.items()}
    for each in item.differences:
        spiked[each.parameter, each.end, each.pairs][~each.counts] = 500.0  # a null: of no meaning
    charts = difference_charts(replace(item, uncertainties=spiked), TEXTS, prefix="")
    bands = [
        (panel, curve)
        for chart, _ in charts
        for panel in chart.panels
        for curve in panel.curves
        if curve.high is not None
    ]
    assert len(bands) == len([panel for chart, _ in charts for panel in chart.panels])
    for panel, curve in bands:
        assert curve.high is not None
        assert curve.high.max() == 1.02
        assert curve.x.min() > 10.0  # MHz; below nothing counts
        assert f"ring and band: {'-'.join(curve.pairs) or curve.name.removeprefix('U of ')}" in panel.title


def test_a_band_of_one_point_is_wide_enough_to_be_seen() -> None:
    item = comparison_item(bad=(5,))
    lone = np.arange(200) == 150
    differences = tuple(replace(each, counts=lone) for each in item.differences)
    chart, _ = difference_charts(replace(item, differences=differences), TEXTS, prefix="")[-1]
    (band,) = [curve for curve in chart.panels[0].curves if curve.high is not None]
    assert band.x[-1] / band.x[0] > 1.3


def test_nothing_is_written_where_points_are() -> None:
    item = comparison_item(bad=(3, 5))
    for chart, _ in (
        *difference_charts(item, TEXTS, prefix=""),
        *agreement_charts(item, TEXTS, prefix=""),
    ):
        assert [mark.words for panel in chart.panels for mark in panel.marks if mark.words] == []
    chart, _ = agreement_charts(item, TEXTS, prefix="")[0]
    assert chart.panels[0].title == "NEXT, bias +0.10, limits -0.30 to +0.50"


def test_where_only_single_numbers_are_told_no_column_is_empty_and_it_is_said_why() -> None:
    item = single_numbers(comparison_item(bad=(5,)))
    section = section_in(whole(item), "All 8 results")
    assert "The tester told one number of each trace" in text_of(section)
    told = tables_of(section)
    assert len(told) == 1
    for table in [*told, *tables_of(section_in(whole(item), "Uncertainty of"))]:
        for column in zip(*table[1:], strict=True):
            assert set(column) - {"", "-"}, table[0]
    assert "deviation" in text_of(section_in(whole(comparison_item()), "All 8 results"))


def test_columns_of_what_nobody_stated_are_left_out() -> None:
    item = comparison_item()
    rows = tuple(
        replace(row, decisive=replace(row.decisive, mating_uncertainty=None))
        for row in item.comparison.rows
        if row.decisive is not None
    )
    item = replace(item, comparison=replace(item.comparison, rows=rows))
    (table,) = tables_of(section_in(whole(item), "Uncertainty of"))
    assert "mating" not in table[0]
    assert {"bench", "tester", "temperature"} <= set(table[0])


def test_only_what_is_beyond_is_set_off_and_one_row_the_furthest() -> None:
    item = comparison_item(bad=(3, 5, 7))
    rows = [
        replace(row, outcome=Agreement.UNDECIDED) if place == 7 else row
        for place, row in enumerate(item.comparison.rows)
    ]
    item = replace(item, comparison=replace(item.comparison, rows=tuple(rows)))
    table = next(tables_in(section_in(whole(item), "All 8 results")))
    assert sorted(row.emphasis for row in table.rows) == [""] * 7 + ["fail"]
    strong = [any(isinstance(part, Strong) for part in row.cells[-1]) for row in table.rows]
    assert sum(strong) == 2


def test_reasons_of_many_are_said_once() -> None:
    item = comparison_item()
    why = "mating may explain it: it is not stated"
    rows = [
        replace(row, outcome=Agreement.UNDECIDED, words=f"{row.parameter.term}: 1.0 dB; {why}")
        for row in item.comparison.rows
    ]
    rows[0] = replace(rows[0], words=rows[0].words + "; 75% of 24 points lie beyond their uncertainty")
    told = text_of(
        section_in(whole(replace(item, comparison=replace(item.comparison, rows=tuple(rows)))), "Why it is")
    )
    assert told.count(why) == 1
    assert f"8 results (insertion loss 2, return loss 2, NEXT 4): {why}" in told
    assert "insertion loss 12: 75% of 24 points" in told


def test_the_cover_tells_when_the_tester_measured() -> None:
    item = comparison_item()
    assert "tester measured on" not in facts_of(whole(item))
    found = replace(item.comparison, measured_at="2026-01-05T09:00:00+00:00", doubts=("half a year apart",))
    item = replace(item, comparison=found)
    told = facts_of(whole(item))
    assert told["tester measured on"] == ["2026-01-05"]
    assert told["bench measured on"] == ["2026-06-10"]
    assert list(told).index("tester measured on") == list(told).index("bench measured on") + 1
    assert "half a year apart" in text_of(section_in(whole(item), "What makes it doubtful"))
    (earlier,) = tables_of(section_in(whole(item), "Over time"))
    assert [row[1] for row in earlier] == ["measured", "-", "-", "-", "-", "-", "2026-01-05"]
