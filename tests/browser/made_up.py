"""A document with made-up charts; values are packed from the description of the format alone."""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from benchsweep.report.chart import Picture
from benchsweep.report.document import (
    Box,
    Column,
    Document,
    Drawn,
    Facts,
    Given,
    Items,
    Line,
    Link,
    Listing,
    Paragraph,
    Row,
    Section,
    Strong,
    Table,
)
from benchsweep.report.html import CONTROLS
from benchsweep.report.text import english

PAIRS = ("12", "36", "45", "78")
BOXES = ((50.0, 30.0, 200.0, 140.0), (310.0, 30.0, 200.0, 140.0))
COUNT = 60
QUOTE = {'"': "&quot;"}


def packed(values: Sequence[float]) -> dict[str, Any]:
    """Differences of ten-thousandths, zigzag, seven bits to a byte, low ones first."""
    data, before, gaps = bytearray(), 0, []
    for place, value in enumerate(values):
        whole = round(value * 10_000) if math.isfinite(value) else before
        if not math.isfinite(value):
            gaps.append([place, place + 1])
        step, before = whole - before, whole
        unsigned = 2 * step if step >= 0 else -2 * step - 1
        while unsigned > 127:
            data.append(unsigned % 128 + 128)
            unsigned //= 128
        data.append(unsigned)
    return {"v": base64.b64encode(bytes(data)).decode(), "gaps": gaps}


def frequencies() -> list[float]:
    """1 to 60 MHz."""
    return [1.0 + step for step in range(COUNT)]


def loss(pair: int, end: int) -> list[float]:
    """Made-up values in dB that differ by pair and end, negative ones, large ones and gaps among them."""
    values = [
        (-1) ** pair * (70.0 + 3.0 * pair - 20.0 * math.log10(f) + 2.0 * math.sin(f / 3 + end))
        for f in frequencies()
    ]
    if pair == 2:
        values[10:13] = [math.inf, math.nan, math.inf]
    return values


def limit() -> list[float]:
    """A made-up limit in dB that the third pair crosses."""
    return [74.0 - 20.0 * math.log10(f) for f in frequencies()]


def picture(name: str, hostile: str = "") -> Picture:
    """Two panels, ends A and B, four curves each; the first frequencies are idle for the first pair."""
    panels, parts = [], []
    for end, (left, top, width, height) in enumerate(BOXES):
        curves, drawn = [], []
        for place, pair in enumerate(PAIRS):
            values = loss(place, end)
            u = [0.2 + 0.01 * step for step in range(COUNT)]
            curves.append(
                {
                    "name": pair + hostile,
                    "pairs": [pair],
                    "grid": 0,
                    "data": packed(values),
                    "limit": 0,
                    "idle": [[0, 5]] if place == 0 else [],
                    "low": packed(u),
                    "high": packed(u if place else [2 * value for value in u]),
                }
            )
            across, down = width / math.log(COUNT), height / 160
            points = " ".join(
                f"{left + across * math.log(f):.1f},{top + down * (80 - value):.1f}"
                for f, value in zip(frequencies(), values, strict=True)
                if math.isfinite(value)
            )
            drawn.append(
                f'<g class="curve" data-pairs={quoteattr(pair)}><polyline points="{points}" fill="none" '
                f'stroke="#333"/><text x="{left + width}" y="{top + 10 * place}" font-size="8">'
                f"{escape(pair + hostile)}</text></g>"
            )
        axis = {"log": True, "low": 1.0, "high": 60.0}
        panels.append(
            {
                "title": f"end {'AB'[end]}: fail, worst 36 at 17 MHz{hostile}",
                "name": f"end {'AB'[end]}{hostile}",
                "box": [left, top, width, height],
                "x": {"words": "frequency", "unit": "MHz", **axis},
                "y": {"words": "loss", "unit": "dB", "log": False, "low": -80.0, "high": 80.0},
                "grids": [{"first": 1.0, "step": 1.0, "count": COUNT}],
                "limits": [{"name": "limit", "sense": "min", "grid": 0, "data": packed(limit())}],
                "curves": curves,
                "marks": [
                    {"x": 17.0, "y": 1.0, "words": "worst", "pairs": ["36"]},
                    {"x": 41.0, "y": 1.0, "words": "worst", "pairs": ["45"]},
                ],
            }
        )
        drawn.append(
            f'<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="none" stroke="#888"/>'
        )
        parts.append(
            f'<g class="panel" data-view="{(0, 270)[end]} 0 {(270, 277)[end]} 200" '
            f'aria-label="{escape(panels[-1]["title"], QUOTE)}">{"".join(drawn)}</g>'
        )
    words = f"Loss over frequency at both ends{hostile}"
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 547 200" role="img" class="chart" '
        f'aria-label="{escape(words, QUOTE)}"><defs></defs>{"".join(parts)}</svg>'
    )
    return Picture(name, words, svg, json.dumps({"panels": panels}, separators=(",", ":")))


def controls() -> dict[str, str]:
    """The words of the catalogue."""
    texts = english()
    return {name: texts(f"controls.{name}") for name in CONTROLS}


def document(hostile: str = "", rows: int = 60) -> Document:
    """A report of two specimens; `hostile` stands wherever others gave something."""

    def given(text: str) -> Line:
        return (Given(f"{text}{hostile}"),)

    columns = (
        Column("parameter", kept=True),
        Column("end"),
        *(Column(name, number=True) for name in ("limit", "value", "margin", "U", "frequency")),
        Column("outcome", kept=True),
    )
    traces = tuple(
        Row(
            (("insertion loss",), ("A",), *((f"{place + part}.25",) for part in range(5)), ("pass",)),
            "fail" if place == 4 else "undecided" if place == 5 else "",
        )
        for place in range(rows)
    )
    specimens = [
        Section(
            ("Specimen ", *given(f"cord {place}")),
            (
                Box(
                    "fail", (("1 of 60 graded traces fails",), given("note")), (given("near end A"),), "fail"
                ),
                Paragraph(
                    ("Something ", Strong("not to be missed"), ", see ", Link("measured-1", Given("there")))
                )
                if place == 1
                else Paragraph(("Nothing else.",), legend=True),
                Section(("What is wrong",), (Items((("first",), given("second")), numbered=True),)),
                Section(
                    ("Charts",),
                    tuple(
                        Drawn(picture(f"c-{place}-{number}", hostile), (f"NEXT {number}",))
                        for number in range(3)
                    ),
                    f"charts-{place}",
                    tellable=PAIRS,
                ),
                Section(
                    ("How it was measured",),
                    (
                        Facts((((("operator",), (given("Ines"), given("Vogt")))),)),
                        Listing(("[station]", f"  name = '{hostile}'", "", "end")),
                    ),
                    f"measured-{place}",
                    folded=True,
                ),
                Section(
                    ("Every graded trace",),
                    (Table(columns, traces, ("Traces",)),),
                    f"rows-{place}",
                    folded=True,
                ),
            ),
            f"specimen-{place}",
            own_page=True,
        )
        for place in (1, 2)
    ]
    return Document(
        ("Report of ", *given("lot 7")),
        f"2026-118{hostile}",
        "en",
        (
            Facts(((("laboratory",), (given("Cable laboratory"),)), (("customer",), (given("a mill"),)))),
            *specimens,
            Section(("Safety",), (Paragraph(("Mind the voltages.",)),), "safety"),
        ),
        given("Cable laboratory"),
        "End of report",
        "page {page} of {pages}",
        controls(),
    )
