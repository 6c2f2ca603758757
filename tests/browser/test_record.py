"""From a simulated specimen to the readout in a browser: the page says what grading said, in its place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchsweep.report.text import english
from tests.browser.conftest import Open
from tests.conftest import Run

# As long as a name may be, less "lot "; what shows nothing the command refuses.
HOSTILE = "<script>alert(1)</script>\"'" + "W" * 165


def signs(row: dict[str, Any]) -> tuple[str, str]:
    """The panel in which a graded row stands, by chart and end."""
    return row["parameter"].replace("_", "-"), f"end {row['end']}"


def test_readouts_say_what_grading_says(
    coarse_station: Callable[[int], Path], run: Run, opened: Open, tmp_path: Path
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    done = run(
        "qualify", "--station", coarse_station(60), "--specimen", HOSTILE, "--against", "tia-6a-cord",
        "--length-m", 2, "--lot", f"lot {HOSTILE}", "--json",
    )  # fmt: skip
    graded = run("grade", done.json["record"], "--against", "tia-6a-cord", "--json").json
    file = tmp_path / "r.html"
    name = HOSTILE
    answer = run("report", done.json["record"], "--against", "tia-6a-cord", "--customer", name, "-o", file)
    assert answer.code == 0
    seen = opened(file)
    page = seen.page
    page.on("dialog", lambda dialog: seen.messages.append(dialog.message))
    page.locator(".drawn:has(> script)").last.locator(".reader").first.wait_for(state="attached")
    words = english()
    worst: dict[tuple[str, str], dict[str, Any]] = {}
    for row in graded["rows"]:
        if row["worst_margin_db"] is not None:
            best = worst.setdefault(signs(row), row)
            if row["worst_margin_db"] < best["worst_margin_db"]:
                worst[signs(row)] = row
    assert len(worst) >= 4
    for (parameter, end), row in worst.items():
        figure = page.locator(f"figure[id$='-{parameter}']").first
        slider = figure.locator(f".reader[aria-label*='{end}']")
        slider.focus()
        page.keyboard.press("End")
        page.keyboard.press("w")
        assert float(slider.get_attribute("aria-valuenow")) == pytest.approx(
            row["frequency_hz"] / 1e6, rel=1e-6
        )
        rows = figure.locator(".readout tbody tr").evaluate_all(
            "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
        )
        (told,) = [cells for cells in rows if set(cells[0].split("-")) == set(row["pairs"])]
        value, limit, margin = (float(text) for text in told[1:4])
        assert value == pytest.approx(row["value"], abs=0.0052), told
        assert limit == pytest.approx(row["limit"], abs=0.0052), told
        assert margin == pytest.approx(row["worst_margin_db"], abs=0.0052), told
        sides = [float(text) for text in told[4].replace("+", "").replace("-", "").split("/")]
        assert max(sides) == pytest.approx(row["expanded_uncertainty"], abs=0.0052), told
        assert min(sides) == pytest.approx(
            min(row["uncertainty_low"], row["uncertainty_high"]), abs=0.0052
        ), told
    assert page.get_by_text(words("outcome." + graded["outcome"]), exact=True).first.is_visible()
    page.get_by_role("button", name=words("controls.open_all")).click()
    assert [(rule["id"], rule["nodes"][0]["html"]) for rule in Axe().run(page).response["violations"]] == []
    assert seen.messages == []
    assert seen.requests == [file.as_uri()]
    page.set_viewport_size({"width": 400, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 400, "a name of 300 letters is broken"
