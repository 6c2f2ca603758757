"""Values are read off charts by pointer and by keyboard, and pairs are chosen."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from benchsweep.report.html import write_html
from tests.browser.conftest import Open
from tests.browser.made_up import COUNT, PAIRS, document, frequencies, limit, loss


@pytest.fixture
def page(opened: Open, tmp_path: Path) -> Any:
    """The made-up report, its charts ready."""
    page = opened(write_html(tmp_path / "r.html", document())).page
    page.wait_for_function("document.querySelectorAll('.reader').length === 12")
    return page


def table(page: Any, chart: str = "c-1-0") -> tuple[str, dict[str, list[str]]]:
    """What the readout of a chart says: its caption, and the cells of each curve."""
    caption, rows = page.locator(f"#chart-{chart} .readout").evaluate(
        """box => [box.querySelector("caption").textContent,
        [...box.querySelectorAll("tbody tr")].map(row => [...row.cells].map(cell => cell.textContent))]"""
    )
    return caption.replace("\u00a0", " "), {name: cells for name, *cells in rows}


def expected(f: int, end: int, pairs: tuple[str, ...] = PAIRS) -> dict[str, list[str]]:
    """What it must say, from the same numbers, not through what was packed."""
    at = frequencies().index(float(f))
    told = {}
    for place, pair in enumerate(PAIRS):
        value, u = loss(place, end)[at], 0.2 + 0.01 * at
        idle = place == 0 and at < 5
        there = math.isfinite(value)
        told[pair] = [
            f"{value:.2f}" if there else "-",
            "-" if idle else f"{limit()[at]:.2f}",
            f"{value - limit()[at]:+.2f}" if there and not idle else "-",
            f"{u:.2f}" if place else f"+{2 * u:.2f} / -{u:.2f}",
        ]
    return {pair: told[pair] for pair in pairs}


def test_the_keyboard_reads_values(page: Any) -> None:
    page.locator("#chart-c-1-0 .reader").nth(1).focus()
    assert table(page) == ("end B, frequency 17 MHz", expected(17, 1)), "at the first mark"
    for key, f in (
        ("ArrowRight", 18),
        ("ArrowUp", 19),
        ("ArrowLeft", 18),
        ("ArrowDown", 17),
        ("PageUp", 20),
        ("PageDown", 17),
        ("Home", 1),
        ("ArrowLeft", 1),
        ("End", COUNT),
        ("PageUp", COUNT),
    ):
        page.keyboard.press(key)
        assert table(page) == (f"end B, frequency {f} MHz", expected(f, 1)), key


def test_a_key_goes_from_one_worst_point_to_the_next(page: Any) -> None:
    slider = page.locator("#chart-c-1-0 .reader").first
    slider.focus()
    page.keyboard.press("End")
    told = []
    for key in ("w", "W", "w"):
        page.keyboard.press(key)
        told.append(slider.get_attribute("aria-valuetext").replace("\u00a0", " "))
    assert told == ["17 MHz", "41 MHz", "17 MHz"]
    page.locator(".pairs input[value='36']").first.uncheck()
    slider.focus()
    page.keyboard.press("w")
    assert slider.get_attribute("aria-valuenow") == "41", "the mark of a hidden curve is passed over"


def test_without_marks_the_least_margin_is_found(page: Any) -> None:
    for pair in ("36", "45"):
        page.locator(f".pairs input[value='{pair}']").first.uncheck()
    page.locator("#chart-c-1-0 .reader").first.focus()
    page.keyboard.press("w")
    margins = {
        (f, place): loss(place, 0)[at] - limit()[at]
        for at, f in enumerate(frequencies())
        for place in (0, 3)
        if place or at >= 5
    }
    (f, _) = min(margins, key=lambda key: margins[key])
    assert table(page) == (f"end A, frequency {f:g} MHz", expected(int(f), 0, ("12", "78")))


@pytest.mark.parametrize("f", [1, 2, 13, 33, 59])
def test_the_pointer_reads_values(page: Any, f: int) -> None:
    page.locator("#chart-c-1-0 .reader").first.scroll_into_view_if_needed()
    edges = page.locator("#chart-c-1-0 .reader").first.bounding_box()
    x = edges["x"] + edges["width"] * math.log(f) / math.log(60)
    page.mouse.move(x, edges["y"] + 20)
    assert table(page) == (f"end A, frequency {f} MHz", expected(f, 0))
    line = page.locator("#chart-c-1-0 .cursor").bounding_box()
    assert line["x"] + line["width"] / 2 == pytest.approx(x, abs=1.0), "the line stands at the pointer"
    second = page.locator("#chart-c-1-0 .reader").nth(1).bounding_box()
    page.mouse.click(second["x"] + second["width"] * math.log(f) / math.log(60), second["y"] + 20)
    assert table(page) == (f"end B, frequency {f} MHz", expected(f, 1))


def test_a_finger_reads_and_steps(page: Any) -> None:
    figure = page.locator("#chart-c-1-0")
    figure.locator(".reader").first.dispatch_event(
        "click", figure.locator(".reader").first.evaluate("p => ({clientX: p.getBoundingClientRect().right})")
    )
    assert table(page)[0] == "end A, frequency 60 MHz"
    figure.get_by_role("button", name="back").click()
    assert table(page) == ("end A, frequency 59 MHz", expected(59, 0))
    figure.get_by_role("button", name="worst point").click()
    figure.get_by_role("button", name="on").click()
    assert table(page) == ("end A, frequency 18 MHz", expected(18, 0))


def test_a_resting_pointer_unfolds_nothing(page: Any) -> None:
    """The wheel moves charts beneath the pointer: the page must not grow then."""
    edges = page.locator("#chart-c-1-0 .reader").first.bounding_box()
    page.mouse.move(edges["x"] + 50, 1)
    for _ in range(8):
        page.mouse.wheel(0, 150)
        page.wait_for_timeout(40)
    assert page.evaluate("scrollY") > 600
    assert page.locator(".readout").count() == 0


def test_little_is_read_aloud(page: Any) -> None:
    slider = page.locator("#chart-c-1-0 .reader").first
    slider.focus()
    assert slider.get_attribute("role") == "slider"
    assert slider.get_attribute("aria-label") == "read values: end A"
    page.keyboard.press("ArrowRight")
    at = frequencies().index(18.0)
    value, margin = loss(3, 0)[at], loss(3, 0)[at] - limit()[at]
    told = f"78: {value:.2f} dB, margin {margin:+.2f} dB"
    page.wait_for_function(
        "told => document.querySelector('[aria-live=polite]').textContent === told",
        arg=told.replace(" dB", "\u00a0dB"),
    )


def test_pairs_are_chosen(page: Any) -> None:
    page.locator("#chart-c-1-0 .reader").first.focus()
    fields = page.locator("fieldset.pairs")
    assert fields.count() == 2, "one for each section with pairs to be told apart"
    for pair in ("12", "45"):
        fields.first.locator(f"input[value='{pair}']").focus()
        page.keyboard.press("Space")

    def seen(chart: str) -> list[str]:
        groups = page.locator(f"#chart-{chart} svg [data-pairs]")
        return [group.get_attribute("data-pairs") for group in groups.all() if group.is_visible()]

    assert seen("c-1-0") == seen("c-1-2") == ["36", "78"] * 2
    assert seen("c-2-0") == list(PAIRS) * 2, "the other specimen is left alone"
    assert table(page) == ("end A, frequency 17 MHz", expected(17, 0, ("36", "78")))
    for pair in ("36", "78"):
        fields.first.locator(f"input[value='{pair}']").click()
    assert seen("c-1-0") == []
    assert table(page)[1] == {"no curve is shown here": []}
    assert "no pair is chosen" in fields.first.get_by_role("status").inner_text()
    page.emulate_media(media="print")
    assert seen("c-1-0") == list(PAIRS) * 2, "what is printed is whole"
    page.emulate_media(media="screen")
    fields.first.get_by_role("button", name="all").click()
    assert seen("c-1-0") == list(PAIRS) * 2
    assert table(page) == ("end A, frequency 17 MHz", expected(17, 0))
