"""What the verdict of a record says is on its page, figure by figure; how large a page is; an empty one."""

from __future__ import annotations

import dataclasses
import re
from html import unescape
from types import SimpleNamespace

import pytest

from benchsweep.records import Outcome, Verdict
from benchsweep.report import ReportItem, english, report_document
from benchsweep.report.html import html_page
from tests.report.html.test_page import Elements


@pytest.fixture(scope="module")
def items(build: SimpleNamespace) -> list[ReportItem]:
    return [build.item("good cord", points=41), build.item("bad cord", points=41, fault_db=11.0, seed=2)]


@pytest.fixture(scope="module")
def page(items: list[ReportItem]) -> str:
    return html_page(report_document(items, english()))


def cells(row: str) -> tuple[str, ...]:
    found = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
    return tuple(unescape(re.sub(r"<[^>]*>", "", cell)).replace("\N{NO-BREAK SPACE}", " ") for cell in found)


def test_every_number_behind_the_verdict_is_on_the_page(page: str, items: list[ReportItem]) -> None:
    parts = re.split("<h[1-6][^>]*>Every graded trace", page)[1:]
    assert len(parts) == len(items)
    for item, part in zip(items, parts, strict=True):
        table = part[: part.index("</table>")]
        told = [
            (row[1:4], row[5:7], row[-1]) for row in map(cells, re.findall(r"<tr.*?</tr>", table, re.DOTALL))
        ]
        for row in item.verdict.rows:
            wanted = (
                (row.end or "", "-".join(row.pairs), f"{row.worst_margin_db:+.2f}"),
                (f"{row.value:.2f}", f"{row.limit:.2f}"),
                row.outcome.value,
            )
            assert wanted in told, wanted
        assert len(told) == 1 + len(item.verdict.rows)


def test_each_parameter_is_drawn_once(page: str) -> None:
    assert [tag for tag, _ in Elements(page).starts].count("figure") == 2 * 13 + overview(page)


def overview(page: str) -> int:
    """Charts that show all specimens together."""
    return page[: page.index('<section id="specimen-1"')].count("<figure")


def test_a_page_with_nothing_in_it(items: list[ReportItem]) -> None:
    measurement = dataclasses.replace(
        items[0].measurement,
        calibration=None,
        analyzer=None,
        settings=None,
        fixture_toml="",
        consistency_db={},
        ambient={},
        software={},
        operator="",
        station="",
    )
    empty = ReportItem(measurement, (), Verdict("", "x", "r", "simple", None, Outcome.UNDECIDED, ()), {})
    for some in ([], [empty]):
        text = html_page(report_document(some, english()))
        assert Elements(text).open == []
        assert ("nothing was graded" in text) is bool(some)


def test_a_cord_on_a_fine_grid_stays_small(build: SimpleNamespace) -> None:
    """All values of 80 traces of 1001 points to be read off, in less than twenty bytes each."""
    item = build.item(points=1001)
    assert len(html_page(report_document([item], english())).encode()) < 1.1e6
