"""The page as a whole in a real browser: alone, harmless, accessible, narrow, printed."""

from __future__ import annotations

import io
import re
import socket
from pathlib import Path
from typing import Any

import pytest

from benchsweep.report.html import write_html
from tests.browser.conftest import Open
from tests.browser.made_up import document

HOSTILE = "<script>alert(1)</script></script><!--\u202e\"'><img src=x onerror=alert(2)>" + "W" * 300


@pytest.fixture
def report(tmp_path: Path) -> Path:
    return write_html(tmp_path / "r.html", document())


def ready(page: Any) -> None:
    page.locator(".reader").nth(11).wait_for(state="attached")


def test_it_opens_without_a_message_and_asks_for_nothing(report: Path, opened: Open) -> None:
    seen = opened(report)
    ready(seen.page)
    assert seen.messages == []
    assert seen.requests == [report.as_uri()]
    assert seen.page.title() == "Report of lot 7"


def test_what_others_gave_does_nothing(tmp_path: Path, opened: Open) -> None:
    seen = opened(write_html(tmp_path / "r.html", document(HOSTILE)), width=400)
    page = seen.page
    page.on("dialog", lambda dialog: seen.messages.append(dialog.message))
    ready(page)
    page.get_by_role("button", name="open all folded parts").click()
    page.locator(".reader").first.focus()
    told = HOSTILE.replace("\u202e", "?")
    assert seen.messages == []
    assert seen.requests == [page.url]
    assert page.locator("img, script:not([type]):not(:last-of-type)").count() == 0
    assert page.locator("h1 bdi").inner_text() == f"lot 7{told}"
    assert HOSTILE in page.locator(".readout caption").text_content(), "as the chart gave it, and as text"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "long words are broken"
    assert page.locator("pre").first.inner_text().splitlines()[1] == f"  name = '{told}'"


@pytest.mark.parametrize(
    "injected",
    [
        "<script>document.title = 'taken'</script>",
        "<img src='data:,x' onerror=\"document.title = 'taken'\">",
        "<iframe src=\"javascript:parent.document.title = 'taken'\"></iframe>",
        "<script src='http://127.0.0.1:PORT/x.js'></script>",
        "<link rel='stylesheet' href='http://127.0.0.1:PORT/x.css'>",
        "<style>body { display: none }</style>",
        "<base href='http://127.0.0.1:PORT/'>",
    ],
)
def test_what_is_put_into_the_file_does_not_run(report: Path, opened: Open, injected: str) -> None:
    text = report.read_text(encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as server:
        injected = injected.replace("PORT", str(server.getsockname()[1]))
        report.write_text(text.replace("</h1>", f"</h1>{injected}", 1), encoding="utf-8")
        seen = opened(report)
        ready(seen.page)
        server.settimeout(0.0)
        with pytest.raises(BlockingIOError):
            server.accept()
    assert seen.page.title() == "Report of lot 7"
    assert any("Content Security Policy" in message for message in seen.messages), seen.messages
    assert seen.page.locator("h1").is_visible()
    assert seen.page.evaluate("document.baseURI") == report.as_uri()


def test_without_scripts_everything_is_there(report: Path, opened: Open) -> None:
    seen = opened(report, script=False)
    page = seen.page
    assert page.locator("svg.chart").count() == 12, "two panels each"
    assert all(chart.is_visible() for chart in page.locator("svg.chart").all())
    assert page.locator("fieldset, button, .reader, .readout").count() == 0, "nothing without effect"
    assert not page.get_by_text("operator").first.is_visible()
    page.locator("section summary").first.click()
    assert page.get_by_text("operator").first.is_visible()
    assert seen.messages == []


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (400, 800)])
def test_nothing_stands_in_the_way_of_anybody(tmp_path: Path, opened: Open, width: int, height: int) -> None:
    """The rules of axe-core: WCAG 2.2 A and AA and good practice; none broken, whatever its weight."""
    from axe_playwright_python.sync_playwright import Axe

    report = write_html(tmp_path / "r.html", document(rows=8))
    page = opened(report, width=width, height=height).page
    ready(page)
    page.get_by_role("button", name="open all folded parts").click()
    page.locator(".reader").first.focus()
    page.keyboard.press("ArrowRight")
    found = Axe().run(page)
    assert found.response["passes"], "it did look"
    assert [
        (rule["id"], rule["impact"], rule["nodes"][0]["html"][:200]) for rule in found.response["violations"]
    ] == []


@pytest.mark.parametrize(("width", "height"), [(400, 800), (320, 256)], ids=["phone", "1280 at 400 %"])
def test_narrow_pages_are_moved_in_one_direction(report: Path, opened: Open, width: int, height: int) -> None:
    page = opened(report, width=width, height=height).page
    ready(page)
    page.get_by_role("button", name="open all folded parts").click()
    page.locator(".reader").first.focus()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    beyond = page.evaluate(
        """() => [...document.querySelectorAll("body *:not(.skip, .wide *)")]
        .filter(element => element.getBoundingClientRect().right > innerWidth + 1)
        .map(element => element.outerHTML.slice(0, 80))"""
    )
    assert beyond == []
    wide = page.locator(".wide:has(table)").first
    page.locator("main .wide[tabindex='0']").first.wait_for()
    assert wide.get_attribute("tabindex") == (
        "0" if wide.evaluate("w => w.scrollWidth > w.clientWidth") else None
    )
    smallest = page.locator("#chart-c-1-0 svg text").first.evaluate(
        "text => text.getBoundingClientRect().height"
    )
    assert smallest >= 8.0, "words of charts stay readable"


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (320, 256)])
def test_the_keyboard_reaches_everything_and_is_seen(
    report: Path, opened: Open, width: int, height: int
) -> None:
    page = opened(report, width=width, height=height).page
    ready(page)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "report"
    reached: dict[str, int] = {}
    for _ in range(140):
        page.keyboard.press("Tab")
        told = page.evaluate(
            """() => { const on = document.activeElement, edges = on.getBoundingClientRect();
            if (on === document.body) return null;
            const x = Math.max(edges.left, 0) + Math.min(edges.width, 20) / 2;
            const seen = document.elementFromPoint(x, edges.top + Math.min(edges.height, 20) / 2);
            const there = seen && (on.contains(seen) || seen.contains(on));
            return [on.tagName + "." + on.className, Boolean(there)]; }"""
        )
        if told is None:
            break
        reached[told[0]] = reached.get(told[0], 0) + 1
        assert told[1], f"{told[0]} is focused and not seen"
    assert reached["DIV.reader"] == 12
    assert reached["INPUT."] == 8 + 12, "boxes of pairs, and a number beneath each panel"
    assert reached["SUMMARY."] == 5, "the list of contents, and two parts of each specimen"
    assert reached["A."] >= 1


def test_links_open_what_is_folded(report: Path, opened: Open) -> None:
    page = opened(report).page
    page.get_by_role("link", name="there").click()
    page.get_by_text("operator").first.wait_for(state="visible")
    heading = page.locator("#measured-1 summary").bounding_box()
    assert 0 <= heading["y"] < 300


@pytest.mark.parametrize("script", [True, False])
def test_printed_pages_are_whole(report: Path, opened: Open, script: bool) -> None:
    from pypdf import PdfReader

    text = report.read_text(encoding="utf-8")
    # Words of each chart's own, one in each corner; and rows of several lines.
    for place, name in enumerate(("c-1-0", "c-1-1", "c-1-2", "c-2-0", "c-2-1", "c-2-2")):
        start = text.index(f'id="chart-{name}"')
        for left in (2, 480):
            corners = "".join(
                f'<text x="{left}" y="{y}" font-size="8">corner{place}</text>' for y in (8, 198)
            )
            start = text.index("</svg>", start) + 6
            text = text[: start - 6] + corners + text[start - 6 :]
            start += len(corners)
    numbered = iter(range(1000))
    text = re.sub(
        r'(<th scope="row" class="k">)insertion loss</th><td class="k">A</td>',
        lambda found: (
            f"{found[1]}row{(n := next(numbered))}a</th><td>one word{'<br>more' * (n % 3)}<br>row{n}b</td>"
        ),
        text,
    )
    report.write_text(text, encoding="utf-8")
    seen = opened(report, script=script)
    if script:
        ready(seen.page)
        seen.page.locator(".reader").first.focus()
    printed = PdfReader(io.BytesIO(seen.page.pdf(prefer_css_page_size=True))).pages
    pages = [" ".join(page.extract_text().split()) for page in printed]
    for place in range(6):
        assert sorted(page.count(f"corner{place}") for page in pages)[-2:] == [0, 4], "a chart is cut"
    rows = next(numbered)
    assert rows == 120
    for n in range(rows):
        both = [(f"row{n}a" in page, f"row{n}b" in page) for page in pages]
        assert both.count((True, True)) == 1, f"row {n} is missing"
        assert both.count((False, False)) == len(pages) - 1, f"row {n} is cut"
    for place, page in enumerate(pages, start=1):
        assert f"page {place} of {len(pages)}" in page
        assert "2026-118" in page
        assert "Report of lot 7" in page
    whole = "\n".join(pages)
    assert whole.count("operator") == 2, "what is folded on the screen is printed"
    for no in ("open all folded", "Pairs shown", "worst point", "Skip to"):
        assert no not in whole
    assert "End of report" in pages[-1]
    assert "Mind the voltages" in pages[-1], "the end does not stand alone"
