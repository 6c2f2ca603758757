"""The HTML page: alone on the disc it tells everything, and no name typed by anybody can change it."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchsweep.errors import UsageError
from benchsweep.records import Outcome, Specimen, Verdict
from benchsweep.report import ReportItem, write_html

VOID = {"meta", "br", "link", "img", "input", "hr"}


class Page(HTMLParser):
    """Collects text, tags and attributes, and insists that tags close in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def items(build: SimpleNamespace) -> list[ReportItem]:
    return [build.item(), build.item("defective cord", fault_db=11.0, seed=2)]


@pytest.fixture(scope="module")
def page(items: list[ReportItem], tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("report") / "new folder" / "report.html"
    assert write_html(path, items, title="Two cords") == path
    assert [child.name for child in path.parent.iterdir()] == ["report.html"]
    return path.read_text(encoding="utf-8")


def test_the_page_stands_alone(page: str) -> None:
    parsed = Page(page)
    assert not {"script", "link", "iframe", "object", "embed", "img"} & set(parsed.tags)
    for name, value in parsed.attributes:
        assert not name.startswith("on")
        if name in ("href", "xlink:href", "src", "action", "data"):
            assert value is not None
            assert value.startswith("#")
    assert not re.search(r"url\((?!#)", page)
    assert "@import" not in page
    assert "default-src 'none'" in page
    # Name spaces are the only addresses on the page.
    assert set(re.findall(r"https?://[^\"' ]*", page)) <= {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


def test_every_number_behind_the_verdict_is_on_the_page(page: str, items: list[ReportItem]) -> None:
    parsed = Page(page)
    rows = re.findall(r'<tr class="[a-z-]*">(.*?)</tr>', page, re.DOTALL)
    cells = [
        tuple(re.sub(r"<[^>]*>", "", cell) for cell in re.findall(r"<t[hd].*?</t[hd]>", row)) for row in rows
    ]
    for item in items:
        for row in item.verdict.rows:
            wanted = (
                "-".join(row.pairs),
                f"{row.worst_margin_db:+.2f}",
                f"{row.value:.2f}",
                f"{row.limit:.2f}*",
            )
            assert any(
                (line[2], line[3], line[5], line[6]) == wanted and line[1] == (row.end or "")
                for line in cells
            ), wanted
    assert parsed.tags.count("figure") == 2 * 13


def test_the_verdict_comes_first(page: str) -> None:
    text = Page(page).text
    assert text.index("outcome") < text.index("wiring") < text.index("Worst margin") < text.index("Traces")
    assert text.index("Traces") < text.index("Calibration") < text.index("Provenance") < text.index("Safety")
    assert re.search(r"fail\s+of 119 graded traces 6 fail, 113 pass", text)
    assert "pairs 3-6 and 4-5 are split at end B" in text


def test_what_a_reader_must_know_is_said(page: str) -> None:
    text = Page(page).text
    for words in (
        "No measurement uncertainty was evaluated",
        "from memory, to be verified against your own copy of the standard",
        "invented, clause 7.3",
        "confirm that no voltage is present",
        "simulated-contacts",
        "load port 16",
        "2026-03-01T08:00:00Z",
        "Simulated works,bench analyzer 16 ports,1,0",
        "IF bandwidth 1000 Hz",
        "ab" * 32,
        "/data/archive/20260301T123005Z-cord.h5",
        'name = "contacts"',
        "temperature_degc",
        "Largest disagreement between hookups",
    ):
        assert words in text, words


def test_an_evaluated_uncertainty_is_shown(build: SimpleNamespace, tmp_path: Path) -> None:
    item = build.item()
    rows = tuple(dataclasses.replace(row, expanded_uncertainty=0.37) for row in item.verdict.rows[:3])
    known = dataclasses.replace(item, verdict=dataclasses.replace(item.verdict, rows=rows), traces=())
    text = Page(write_html(tmp_path / "r.html", [known], title="x").read_text(encoding="utf-8")).text
    assert "U (k = 2)" in text
    assert "0.37" in text
    assert "No measurement uncertainty" not in text


HOSTILE = "<script>alert(1)</script>\"'&\u202e\x00\x1b[31m\ud800{{ 7*7 }}<!--" + "x" * 300


def test_hostile_names_are_harmless(build: SimpleNamespace, tmp_path: Path) -> None:
    item = build.item()
    measurement = dataclasses.replace(
        item.measurement,
        specimen=Specimen(HOSTILE, 1.0, HOSTILE),
        operator=HOSTILE,
        station=HOSTILE,
        origin=HOSTILE,
        source_file=HOSTILE,
        created_at=HOSTILE,
        fixture_toml=f"</pre>{HOSTILE}\n",
        software={HOSTILE: HOSTILE},
        ambient={HOSTILE: 1.0},
        consistency_db={HOSTILE: 1.0},
        analyzer=dataclasses.replace(item.measurement.analyzer, idn=HOSTILE, family=HOSTILE),
        calibration=dataclasses.replace(
            item.measurement.calibration, identifier=HOSTILE, kit=HOSTILE, method=HOSTILE
        ),
    )
    rows = tuple(dataclasses.replace(row, note=HOSTILE, standing=HOSTILE) for row in item.verdict.rows[:4])
    verdict = dataclasses.replace(
        item.verdict, specimen=HOSTILE, record=HOSTILE, requirement=HOSTILE, decision_rule=HOSTILE, rows=rows,
        notes=(HOSTILE,),
    )  # fmt: skip
    limits = {key: dataclasses.replace(curve, source=HOSTILE) for key, curve in item.limits.items()}
    bad = ReportItem(measurement, item.traces[:8], verdict, limits, HOSTILE)
    page = write_html(tmp_path / "r.html", [bad, bad], title=HOSTILE).read_text(encoding="utf-8")
    parsed = Page(page)
    assert "script" not in parsed.tags
    assert "{{ 7*7 }}" in parsed.text
    assert not set(page) & {"\u202e", "\x00", "\x1b", "\ufffd"}


def test_a_page_with_nothing_in_it(build: SimpleNamespace, tmp_path: Path) -> None:
    measurement = dataclasses.replace(
        build.item().measurement,
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
    for items in ([], [empty]):
        Page(write_html(tmp_path / "r.html", items, title="").read_text(encoding="utf-8"))
    assert "nothing was graded" in (tmp_path / "r.html").read_text(encoding="utf-8")


def test_same_items_same_bytes(page: str, items: list[ReportItem], tmp_path: Path) -> None:
    (tmp_path / "again.html").write_text("<!DOCTYPE html>an older report", encoding="utf-8")
    again = write_html(tmp_path / "again.html", items, title="Two cords")
    assert again.read_text(encoding="utf-8") == page


def test_a_cord_on_a_fine_grid_stays_small(build: SimpleNamespace, tmp_path: Path) -> None:
    item = build.item(points=1001)
    assert write_html(tmp_path / "r.html", [item], title="x").stat().st_size < 1.6e6


def test_a_place_that_cannot_be_written(build: SimpleNamespace, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="ascii")
    (tmp_path / "folder").mkdir()
    for path in (tmp_path / "file" / "r.html", tmp_path / "folder"):
        with pytest.raises(UsageError, match="cannot be written") as caught:
            write_html(path, [], title="x")
        assert "\n" not in str(caught.value)
        assert caught.value.hint
    assert sorted(child.name for child in tmp_path.iterdir()) == ["file", "folder"]


def test_the_tables_need_no_drawing_library() -> None:
    code = "import sys, benchsweep.report; sys.exit(bool({'matplotlib', 'jinja2'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
