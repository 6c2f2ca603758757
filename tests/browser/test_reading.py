"""Values are read off charts by pointer and by keyboard, and pairs are chosen."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchsweep.report.document import Drawn
from benchsweep.report.html import write_html
from tests.browser.conftest import Open
from tests.browser.made_up import COUNT, PAIRS, document, frequencies, limit, loss, packed, picture


@pytest.fixture
def page(opened: Open, tmp_path: Path) -> Any:
    """The made-up report, its charts ready."""
    page = opened(write_html(tmp_path / "r.html", document())).page
    page.locator(".reader").nth(11).wait_for(state="attached")
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
    assert table(page) == ("NEXT 0, end B, frequency 17 MHz", expected(17, 1)), "at the first mark"
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
        assert table(page) == (f"NEXT 0, end B, frequency {f} MHz", expected(f, 1)), key


def test_a_key_goes_from_one_worst_point_to_the_next(page: Any) -> None:
    slider = page.locator("#chart-c-1-0 .reader").first
    slider.focus()
    page.keyboard.press("End")
    told = []
    for key in ("w", "W", "w"):
        page.keyboard.press(key)
        told.append(slider.get_attribute("aria-valuetext").replace("\u00a0", " ").split(";")[0])
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
    assert table(page) == (f"NEXT 0, end A, frequency {f:g} MHz", expected(int(f), 0, ("12", "78")))


@pytest.mark.parametrize("f", [1, 2, 13, 33, 59])
def test_the_pointer_reads_values(page: Any, f: int) -> None:
    page.locator("#chart-c-1-0 .reader").first.scroll_into_view_if_needed()
    edges = page.locator("#chart-c-1-0 .reader").first.bounding_box()
    x = edges["x"] + edges["width"] * math.log(f) / math.log(60)
    page.mouse.move(x, edges["y"] + 20)
    assert table(page) == (f"NEXT 0, end A, frequency {f} MHz", expected(f, 0))
    line = page.locator("#chart-c-1-0 .cursor").bounding_box()
    assert line["x"] + line["width"] / 2 == pytest.approx(x, abs=1.0), "the line stands at the pointer"
    second = page.locator("#chart-c-1-0 .reader").nth(1).bounding_box()
    page.mouse.click(second["x"] + second["width"] * math.log(f) / math.log(60), second["y"] + 20)
    assert table(page) == (f"NEXT 0, end B, frequency {f} MHz", expected(f, 1))


def test_a_finger_reads_and_steps(page: Any) -> None:
    figure = page.locator("#chart-c-1-0")
    figure.locator(".reader").first.dispatch_event(
        "click",
        figure.locator(".reader").first.evaluate("p => ({clientX: p.getBoundingClientRect().right + 1})"),
    )
    assert table(page)[0] == "NEXT 0, end A, frequency 60 MHz"
    figure.get_by_role("button", name="previous point").click()
    assert table(page) == ("NEXT 0, end A, frequency 59 MHz", expected(59, 0))
    figure.get_by_role("button", name="go to worst point").click()
    figure.get_by_role("button", name="next point").click()
    assert table(page) == ("NEXT 0, end A, frequency 18 MHz", expected(18, 0))


def test_a_resting_pointer_unfolds_nothing(page: Any) -> None:
    """The wheel moves charts beneath the pointer: the page must not grow then."""
    edges = page.locator("#chart-c-1-0 .reader").first.bounding_box()
    page.mouse.move(edges["x"] + 50, 1)
    for _ in range(8):
        page.mouse.wheel(0, 150)
        page.wait_for_timeout(40)
    assert page.evaluate("scrollY") > 600
    assert page.locator(".readout").count() == 0


def spoken(f: int, place: int, end: int = 0) -> str:
    at = frequencies().index(float(f))
    value, margin = loss(place, end)[at], loss(place, end)[at] - limit()[at]
    told = f"{f} MHz; {PAIRS[place]}: {value:.2f} dB, margin {margin:+.2f} dB"
    return told.replace(" MHz", "\u00a0MHz").replace(" dB", "\u00a0dB")


def test_what_is_read_aloud(page: Any) -> None:
    """A slider in focus tells where it is and the least margin there; else a live region does, once."""
    slider = page.locator("#chart-c-1-0 .reader").first
    slider.focus()
    assert slider.get_attribute("role") == "slider"
    assert slider.get_attribute("aria-label") == "read values: NEXT 0, end A"
    page.keyboard.press("ArrowRight")
    assert slider.get_attribute("aria-valuetext") == spoken(18, 3)
    page.locator("#chart-c-1-0").get_by_role("button", name="next point").click()
    page.locator("[aria-live=polite]").get_by_text(spoken(19, 3), exact=True).wait_for(state="attached")


def test_a_frequency_is_typed(page: Any) -> None:
    figure = page.locator("#chart-c-1-0")
    figure.locator(".reader").nth(1).focus()
    page.keyboard.press("Tab")
    field = figure.get_by_role("spinbutton", name="frequency")
    assert field.evaluate("field => field === document.activeElement"), "next to the slider"
    assert field.evaluate("field => field.closest('label').textContent") == "frequencyMHz"
    for typed, f in (("33", 33), ("41.4", 41), ("1e9", COUNT), ("-5", 1), ("0.5e1", 5)):
        field.fill(typed)
        page.keyboard.press("Enter")
        assert table(page) == (f"NEXT 0, end B, frequency {f} MHz", expected(f, 1)), typed
        assert field.input_value() == str(f)
    field.fill("")
    page.keyboard.press("Enter")
    assert field.input_value() == "5"
    assert table(page) == ("NEXT 0, end B, frequency 5 MHz", expected(5, 1))


@pytest.mark.parametrize("width", [1280, 400])
def test_a_readout_stands_beneath_its_own_panel(page: Any, width: int) -> None:
    """So do the panels on a small screen: what belongs to end B is not beside the page."""
    page.set_viewport_size({"width": width, "height": 900})
    figure = page.locator("#chart-c-1-0")
    panels = figure.locator(".plot")
    for place in (1, 0):
        figure.locator(".reader").nth(place).focus()
        assert figure.locator(".readout").count() == 1
        box, panel = (
            figure.locator(".readout").bounding_box(),
            panels.nth(place).locator("svg").bounding_box(),
        )
        assert box["y"] >= panel["y"] + panel["height"]
        assert panel["x"] - 1 <= box["x"] < box["x"] + box["width"] <= panel["x"] + panel["width"] + 1
        assert panel["x"] + panel["width"] <= width
    if width == 400:  # the readout leaves the panel above the one that is pointed at
        slider = figure.locator(".reader").nth(1)
        slider.scroll_into_view_if_needed()
        before = slider.bounding_box()
        page.mouse.move(before["x"] + 90, before["y"] + 30)
        page.wait_for_timeout(100)
        assert slider.bounding_box()["y"] == pytest.approx(before["y"], abs=1.0)
        assert panels.nth(1).locator(".readout").count() == 1
    first, second = (panels.nth(place).locator("svg").bounding_box() for place in (0, 1))
    assert (second["x"] > first["x"]) == (width == 1280)


def test_the_frame_of_focus_leaves_the_chart_free(page: Any) -> None:
    slider = page.locator("#chart-c-1-0 .reader").first
    page.keyboard.press("Tab")  # a person at the keyboard: the frame is for them
    slider.focus()
    style = (
        "e => { const s = getComputedStyle(e); return [s.outlineStyle, s.outlineWidth, s.outlineOffset]; }"
    )
    assert page.locator("#chart-c-1-0 .plot > .wide").first.evaluate(style) == ["solid", "3px", "1px"]
    assert slider.evaluate(style)[1] == "1px"


@pytest.mark.parametrize(("where", "scale"), [("chart", 10), ("panel", 100), ("data", 1000)])
def test_a_chart_may_count_in_other_units(opened: Open, tmp_path: Path, where: str, scale: int) -> None:
    """What is packed is a thousand times the value if the scale tells so: that is all that it changes."""
    made = picture("c")
    told = json.loads(made.readout)
    panel = told["panels"][0]
    holders = {"chart": [told], "panel": [panel], "data": [curve["data"] for curve in panel["curves"]]}
    for holder in holders[where]:
        holder["scale"] = scale
    drawn = Drawn(replace(made, readout=json.dumps(told)), ("NEXT",))
    page = opened(write_html(tmp_path / "r.html", replace(document(), blocks=(drawn,)))).page
    page.locator(".reader").first.focus()
    _, cells = table(page, "c")
    at, by = frequencies().index(17.0), 10_000 / scale
    assert float(cells["36"][0]) == pytest.approx(loss(1, 0)[at] * by, abs=5.1e-5 * by + 0.0051)
    assert float(cells["36"][3]) == pytest.approx((0.2 + 0.01 * at) * (by if where != "data" else 1))


def test_a_small_interval_is_not_told_as_nothing(opened: Open, tmp_path: Path) -> None:
    made = picture("c")
    told = json.loads(made.readout)
    curve = told["panels"][0]["curves"][1]
    curve["low"] = curve["high"] = packed([0.00123] * COUNT)
    drawn = Drawn(replace(made, readout=json.dumps(told)), ("delay",))
    page = opened(write_html(tmp_path / "r.html", replace(document(), blocks=(drawn,)))).page
    page.locator(".reader").first.focus()
    assert table(page, "c")[1]["36"][3] == "0.0012"


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
    assert seen("c-2-0") == ["36", "78"] * 2, "in all parts, as is said"
    told = [" ".join(field.inner_text().split()) for field in fields.all()]
    assert told == ["Pairs shown, in all parts of this report 12 36 45 78 show all pairs"] * 2
    boxes = fields.nth(1).locator("input")
    assert [box.is_checked() for box in boxes.all()] == [False, True, False, True]
    assert table(page) == ("NEXT 0, end A, frequency 17 MHz", expected(17, 0, ("36", "78")))
    for pair in ("36", "78"):
        fields.first.locator(f"input[value='{pair}']").click()
    assert seen("c-1-0") == []
    assert table(page)[1] == {"no curve is shown here": []}
    assert "no pair is chosen" in fields.first.get_by_role("status").inner_text()
    page.emulate_media(media="print")
    assert seen("c-1-0") == list(PAIRS) * 2, "what is printed is whole"
    page.emulate_media(media="screen")
    fields.first.get_by_role("button", name="show all pairs").click()
    assert seen("c-1-0") == list(PAIRS) * 2
    assert table(page) == ("NEXT 0, end A, frequency 17 MHz", expected(17, 0))
