"""What the verdict of a record says is in its PDF, figure by figure."""

from __future__ import annotations

import re
from decimal import Decimal
from types import SimpleNamespace

import pytest
from pypdf import PdfReader

from benchsweep.records import Outcome, VerdictRow
from benchsweep.report import ReportItem, english, report_document

FIGURE = r"([+-]?\d+\.\d+)"
ROW = re.compile(
    rf"(?:\b([AB]) )?(\d\d(?:-\d\d)?) {FIGURE} {FIGURE} {FIGURE} {FIGURE}[a-z*]? (?:dB|ns) ([a-z -]+)$"
)


@pytest.fixture(scope="module")
def items(build: SimpleNamespace) -> list[ReportItem]:
    return [build.item("good cord", points=41), build.item("bad cord", points=41, fault_db=11.0, seed=2)]


@pytest.fixture(scope="module")
def reader(items: list[ReportItem], pdf: SimpleNamespace) -> PdfReader:
    return pdf.read(report_document(items, english()))


@pytest.fixture(scope="module")
def pages(reader: PdfReader) -> list[str]:
    return [page.extract_text() for page in reader.pages]


def same(printed: str, value: float) -> bool:
    """Whether a printed figure is the value, rounded to the decimals that are printed."""
    half = Decimal(1).scaleb(int(Decimal(printed).as_tuple().exponent)) / 2
    return abs(Decimal(printed) - Decimal(value)) <= half * Decimal("1.000001")


def matches(row: VerdictRow, found: tuple[str, ...]) -> bool:
    end, pairs, margin, at, value, limit, outcome = found
    return (
        (end or None) == row.end
        and pairs == "-".join(row.pairs)
        and margin[0] in "+-"
        and same(margin, row.worst_margin_db)
        and same(at, row.frequency_hz / 1e6)
        and same(value, row.value)
        and same(limit, row.limit)
        and outcome == row.outcome.value.replace("-", " ")
    )


def test_every_row_of_every_verdict_is_printed_as_it_is(items: list[ReportItem], pages: list[str]) -> None:
    parts = "\n".join(pages).split("Every graded trace")[1:]
    assert len(parts) == len(items)
    for item, part in zip(items, parts, strict=True):
        found = [
            match.groups() for match in map(ROW.search, part.split("Provenance")[0].splitlines()) if match
        ]
        assert len(found) == len(item.verdict.rows) == 119
        for row in item.verdict.rows:
            assert any(matches(row, printed) for printed in found), row


def test_the_worst_of_each_parameter_and_end_is_printed_first(
    items: list[ReportItem], pages: list[str]
) -> None:
    parts = "\n".join(pages).split("Worst margin of each parameter at each end")[1:]
    for item, part in zip(items, parts, strict=True):
        found = [
            match.groups() for match in map(ROW.search, part.split("Standing of")[0].splitlines()) if match
        ]
        worst: dict[tuple[str, str | None], VerdictRow] = {}
        for row in item.verdict.rows:
            key = (row.parameter.value, row.end)
            if key not in worst or row.worst_margin_db < worst[key].worst_margin_db:
                worst[key] = row
        assert len(found) == len(worst)
        for row in worst.values():
            assert any(matches(row, printed) for printed in found), row


def test_the_outcomes_are_the_verdicts(items: list[ReportItem], pages: list[str]) -> None:
    assert [item.verdict.outcome for item in items] == [Outcome.PASS, Outcome.FAIL]
    told = "\n".join(pages)
    failing = sum(row.outcome is Outcome.FAIL for row in items[1].verdict.rows)
    assert 0 < failing < 119
    assert f"{failing} fail, {119 - failing} pass" in told
    assert "pairs 3-6 and 4-5 are split at end B" in told


def test_each_specimen_begins_a_page_and_has_its_charts(
    items: list[ReportItem], reader: PdfReader, pages: list[str], pdf: SimpleNamespace
) -> None:
    begins = [place for place, told in enumerate(pages) if told.splitlines()[2].endswith(" cord")]
    assert len(begins) == 2
    # One chart of each parameter; each says in words what it shows.
    figures = pdf.tagged(reader, "/Figure")
    assert len(figures) >= 2 * 13
    assert all(len(figure["/Alt"]) > 20 for figure in figures)


def test_every_page_has_the_number_of_the_report(reader: PdfReader, pages: list[str]) -> None:
    number = re.search(r"^Test report ([0-9A-F-]+)$", pages[0], re.MULTILINE)
    assert number
    for place, told in enumerate(pages, start=1):
        assert told.splitlines()[0] == number.group()
        assert told.splitlines()[1].startswith("simulated bench: for practice")
        assert f"page {place} of {len(pages)}" in told


def test_nothing_stands_outside_the_pages(reader: PdfReader, pdf: SimpleNamespace) -> None:
    for page in reader.pages[:4]:
        for left, right, base in pdf.runs(page):
            assert left >= 39
            assert right <= 595.3 - 39
            assert 20 < base < 842 - 20
