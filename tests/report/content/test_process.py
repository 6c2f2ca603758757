"""A product over its lots: signals by rule and points, capability, tolerance, control charts."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from benchsweep.records import ChartSignal, ControlChart, Parameter, ProcessView
from benchsweep.report import english, load_texts, process_report_document, write_html, write_pdf
from benchsweep.report.content.charts import chart_name, control_charts, control_drawings
from benchsweep.report.document import Box, Document, Drawn, Section, plain
from benchsweep.statistics.process import capability
from tests.report.content.lots_made import view_of
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, tables_of, text_of, within
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()


def whole(document: Document) -> Section:
    return Section(document.title, document.blocks)


def test_a_signal_names_rule_and_points_and_is_no_failure() -> None:
    view = view_of(drop=2.0, baseline=30)
    document = process_report_document([view], TEXTS)
    (box,) = [block for block in document.blocks if isinstance(block, Box)]
    assert box.word == "signal"
    assert box.emphasis == "undecided"
    told = text_of(section_in(whole(document), "Signals"))
    ewma = next(chart for chart in view.charts if chart.kind == "ewma")
    signal = next(signal for signal in ewma.signals if signal.decisive)
    first = ewma.labels[signal.noticed]
    assert f"NEXT, EWMA of reels: {signal.words} [{signal.rule}]: " in told
    assert f"seen first with {first} (point {signal.noticed + 1})" in told
    assert signal.noticed >= 30  # the drop begins there


def test_practice_stands_at_the_head_of_every_page(tmp_path: Path) -> None:
    views = [view_of()]
    document = process_report_document(views, TEXTS, practice=(60, 0, 60))
    (box,) = [block for block in document.blocks if isinstance(block, Box)]
    assert "simulated bench: for practice, no real part was measured" in map(plain, box.lines)
    pages = PdfReader(write_pdf(tmp_path / "process.pdf", document)).pages
    assert len(pages) > 1
    for page in pages:
        assert "simulated bench: for practice" in " ".join(page.extract_text().split())
    some = process_report_document(views, TEXTS, practice=(3, 2, 60))
    assert plain(some.running) == (
        "3 of 60 were measured on the simulated bench: for practice, no real parts; "
        "of 2 of 60 it is not known whether they were measured on the simulated bench"
    )
    assert plain(process_report_document(views, TEXTS, practice=(0, 0, 60)).running) == ""


def test_the_box_names_the_weakest_margin_and_says_whether_it_drifts() -> None:
    strong, weak = view_of(Parameter.NEXT), view_of(Parameter.SKEW)
    weak = replace(weak, margin=weak.margin - 1.5, capability=capability(weak.margin - 1.5))
    quiet = [
        replace(view, charts=tuple(replace(c, signals=()) for c in view.charts)) for view in (strong, weak)
    ]

    def lines(views: list[ProcessView]) -> list[str]:
        document = process_report_document(views, TEXTS)
        return [plain(line) for block in document.blocks if isinstance(block, Box) for line in block.lines]

    # Ppk = mean / 3 s of all margins.
    ppk = np.mean(weak.margin) / (3.0 * np.std(weak.margin, ddof=1))
    told = lines(quiet)
    assert "no signal: nothing is seen to drift" in told
    (line,) = [each for each in told if each.startswith("weakest: ")]
    assert line.startswith(f"weakest: skew, Ppk {ppk:.2f}, at least ")
    drift = lines([quiet[1], view_of(Parameter.NEXT, drop=2.0, baseline=30)])
    assert "drift is seen by EWMA in: NEXT" in drift
    assert lines([replace(quiet[0], charts=())])[2:3] == ["too few reels to tell whether it drifts"]
    near = replace(quiet[0], capability=replace(quiet[0].capability, index=2888303.3, lower_bound=2e6))
    assert "weakest: NEXT, Ppk above 10, at least above 10 with 95 % confidence" in lines([near])


def test_signals_of_one_rule_in_one_chart_are_a_line() -> None:
    view = view_of()
    chart = view.charts[0]
    signals = (
        ChartSignal("beyond-limits", "a point beyond the control limits", (3,), True, 3),
        ChartSignal("beyond-limits", "a point beyond the control limits", (7, 8), True, 7),
        ChartSignal("run-of-eight", "eight points in a row", tuple(range(20, 28)), False, 27),
    )
    view = replace(view, charts=(replace(chart, signals=signals),))
    told = text_of(section_in(whole(process_report_document([view], TEXTS)), "Signals")).splitlines()
    assert told[1] == (
        "NEXT, individuals of reels: a point beyond the control limits [beyond-limits]: "
        "T0703 (point 4), T0707 (point 8), T0708 (point 9); seen first with T0703 (point 4)"
    )
    assert told[2] == "1 run rule broken, for information"
    assert told[3] == (
        "NEXT, individuals of reels: eight points in a row [run-of-eight]: "
        "T0720 (point 21) to T0727 (point 28); seen first with T0727 (point 28)"
    )


def test_without_a_signal_that_is_said() -> None:
    view = view_of()
    quiet = replace(view, charts=tuple(replace(chart, signals=()) for chart in view.charts))
    document = process_report_document([quiet], TEXTS)
    assert "None: no point lies beyond a control limit." in text_of(whole(document))
    assert isinstance(document.blocks[0], Box)
    assert document.blocks[0].word == "no signal"
    assert "60 reels" in plain(document.blocks[0].lines[0])
    with pytest.raises(ValueError, match="nothing"):
        process_report_document([], TEXTS)


def test_capability_and_tolerance_are_those_of_the_margins() -> None:
    views = [view_of(Parameter.NEXT), view_of(Parameter.DELAY, end=None)]
    section = whole(process_report_document(views, TEXTS))
    capability = tables_of(section)[0]
    margin = views[0].margin
    row = dict(zip(capability[0], capability[1], strict=True))
    assert row["parameter"] == "NEXT"
    assert float(row["mean"]) == pytest.approx(np.mean(margin), abs=0.006)
    # Montgomery's one-sided index: mean over three standard deviations.
    index = float(np.mean(margin) / (3.0 * np.std(margin, ddof=1)))
    assert row["index"] == f"Ppk {index:.2f}"
    assert float(row["at least"]) < index
    assert row["estimated % below 0"] == "< 0.001"
    tolerance = dict(zip(*tables_of(section)[1][:2], strict=True))
    # k of n = 60, 99 %, 95 %, one-sided: 2.807 (Natrella, Table A-7, from memory).
    assert tolerance["how"] == "normal, k = 2.807"
    lower = np.mean(margin) - 2.807 * np.std(margin, ddof=1)
    assert tolerance["margins"] == f"above {lower:+.2f}"
    assert facts_of(section)["lots"] == ["12, from 26-110 to 26-121"]


def test_the_whole_report_has_every_chart_a_lot_fewer() -> None:
    view = view_of()
    (chart,) = control_charts(view, TEXTS, prefix="p-")
    names = [chart_name(view, one, TEXTS) for one in view.charts]
    assert [panel.title for panel in chart.whole.panels] == names
    assert names == [
        "individuals of reels",
        "moving range of reels",
        "EWMA of reels",
        "means of lots",
        "standard deviations of lots",
    ]
    some = control_charts(view, TEXTS, prefix="p-", chosen=view.charts[:1])
    assert len(some[0].whole.panels) == 1


def test_points_limits_and_signals_are_drawn() -> None:
    view = view_of(drop=2.0, baseline=30)
    (made,) = control_charts(view, TEXTS, prefix="p-")
    panel = made.whole.panels[0]
    chart = view.charts[0]
    decisive = sorted({p for signal in chart.signals if signal.decisive for p in signal.points})
    diamonds = next(curve for curve in panel.curves if curve.look.marker == "diamond")
    assert diamonds.x.tolist() == [place + 1.0 for place in decisive]
    assert diamonds.y == pytest.approx(chart.value[decisive])
    names = [curve.name for curve in panel.curves if curve.name]
    assert names == [
        f"centre {chart.centre[-1]:.2f}",
        f"UCL {chart.upper[-1]:.2f}",
        f"LCL {chart.lower[-1]:.2f}",
    ]
    rings = [mark.x - 1 for mark in panel.marks]
    assert rings == list(dict.fromkeys(s.noticed for s in chart.signals if s.decisive))
    assert (panel.spans[0].begin, panel.spans[0].words) == (30.5, "baseline")
    assert panel.levels == (0.0,)
    assert made.whole.panels[1].levels == ()  # a range is no margin
    far = replace(view, charts=tuple(_raised(each, 40.0) for each in view.charts))
    (raised,) = control_charts(far, TEXTS, prefix="p-")
    assert {panel.levels for panel in raised.whole.panels} == {()}
    still = replace(
        chart,
        value=chart.value / 1e3,
        centre=chart.centre / 1e3,
        lower=chart.lower / 1e3,
        upper=chart.upper / 1e3,
    )
    (close,) = control_charts(replace(view, charts=(still,)), TEXTS, prefix="p-")
    told = [curve.name.split()[-1] for curve in close.whole.panels[0].curves if curve.name]
    assert len(set(told)) == 3
    assert float(told[0]) == pytest.approx(still.centre[-1], abs=1e-4)


def _raised(chart: ControlChart, by: float) -> ControlChart:
    return replace(
        chart,
        value=chart.value + by,
        centre=chart.centre + by,
        lower=chart.lower + by,
        upper=chart.upper + by,
    )


def test_what_is_read_off_a_control_chart_stands_where_it_is_drawn() -> None:
    (drawn,) = control_drawings(view_of(), TEXTS, prefix="p-")
    (made,) = control_charts(view_of(), TEXTS, prefix="p-")
    read = json.loads(drawn.picture.readout)
    boxes = re.findall(r'<clipPath id="[^"]*"><rect x="([\d.]+)" y="([\d.]+)"', drawn.picture.svg)
    assert [tuple(panel["box"][:2]) for panel in read["panels"]] == [
        pytest.approx((float(x), float(y)), abs=0.06) for x, y in boxes
    ]
    names = [curve["name"].split()[0] for curve in read["panels"][0]["curves"]]
    assert names == ["value", "centre", "UCL", "LCL"]
    assert read["panels"][0]["grids"] == [{"first": 1.0, "step": 1.0, "count": 60}]
    assert len(read["panels"]) == len(made.whole.panels)


def test_requirements_stand_by_themselves() -> None:
    views = [view_of(), replace(view_of(), requirement="cat6a-cable")]
    section = whole(process_report_document(views, TEXTS))
    assert section_in(section, "Against cat6a-cable")
    names = [block.picture.name for block in within(section) if isinstance(block, Drawn)]
    assert len(set(names)) == len(names) == 2


def test_words_of_ours_and_of_others(tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    view = replace(
        view_of(drop=1.5), product=HOSTILE, supplier=HOSTILE, requirement=HOSTILE, notes=(HOSTILE,)
    )
    labels = (HOSTILE, *view.charts[0].labels[1:])
    view = replace(view, charts=(replace(view.charts[0], labels=labels), *view.charts[1:]))
    document = process_report_document([view], texts)
    words = set(re.findall(r"[^\W\d_]{3,}", outside_marks(ours(whole(document)))))
    assert words == set()
    page = write_html(tmp_path / "p.html", document).read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert write_pdf(tmp_path / "p.pdf", document).read_bytes().startswith(b"%PDF")
