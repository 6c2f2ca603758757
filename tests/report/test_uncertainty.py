"""How uncertainty, guard band, conditional outcomes and the budget are told."""

from __future__ import annotations

import dataclasses
import math
import re
import unicodedata
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

from benchsweep.records import BudgetRow, Contribution, End, Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report import ReportItem, budget_table, measurement_table, verdict_table, write_html
from benchsweep.report._figures import _panel
from benchsweep.report._limits import Bar
from benchsweep.report._select import worst_rows

P = Parameter


def row(
    parameter: Parameter,
    end: str | None,
    pairs: tuple[str, ...],
    margin: float,
    outcome: Outcome,
    *,
    sides: tuple[float, float] = (0.4, 0.41),
    guard_band: float | None = 0.4,
    note: str = "",
) -> VerdictRow:
    return VerdictRow(
        parameter, end, pairs, margin, 212.5e6, 38.4 + margin, 38.4, max(sides), outcome, "from-memory", note,
        *sides, guard_band,
    )  # fmt: skip


ELSEWHERE = "decided at 12 MHz: margin +1.20 dB, guard band 3.00 dB"
ROWS = (
    row(P.INSERTION_LOSS, "A", ("12",), 0.25, Outcome.CONDITIONAL_PASS),
    row(P.NEXT, "A", ("36", "45"), 8.0, Outcome.PASS),
    row(P.NEXT, "B", ("36", "45"), -0.21, Outcome.CONDITIONAL_FAIL),
    row(P.RETURN_LOSS, "A", ("12",), -2.0, Outcome.FAIL),
    row(P.RETURN_LOSS, "B", ("12",), 0.3, Outcome.FAIL),
    row(P.TCL, "B", ("12",), 1.0, Outcome.CONDITIONAL_PASS, note=ELSEWHERE),
    row(P.DELAY, None, ("78",), 400.0, Outcome.PASS, sides=(math.inf, 0.01)),
)
VERDICT = Verdict("a.h5", "cord 7", "tia-6a-cord", "four-way", 2.0, Outcome.FAIL, ROWS, None, ("a note",))


def alone(*rows: VerdictRow) -> Verdict:
    return dataclasses.replace(VERDICT, rows=rows, outcome=rows[0].outcome)


def test_the_table_has_a_column_for_the_uncertainty() -> None:
    text = verdict_table(VERDICT, width=100)
    cells = [re.split(r"\s{2,}", line.strip()) for line in text.splitlines()]
    assert ["parameter", "end", "pairs", "margin", "MHz", "value", "U", "limit", "unit", "outcome"] in cells
    assert ["NEXT", "A", "36-45", "+8.00", "212.50", "46.40", "0.41", "38.40*", "dB", "pass"] in cells
    assert "U: expanded uncertainty, k = 2" in text
    assert "was evaluated" not in text
    assert "infinite" in next(line for line in text.splitlines() if line.startswith("delay"))


def test_without_a_budget_there_is_no_such_column() -> None:
    plain = dataclasses.replace(
        ROWS[1], expanded_uncertainty=None, uncertainty_low=None, uncertainty_high=None, guard_band=None
    )
    text = verdict_table(alone(plain))
    assert not re.search(r"\bU\b", text)
    assert "No measurement uncertainty was evaluated" in text


@pytest.mark.parametrize("width", [40, 60, 72, 80, 100])
def test_the_table_keeps_within_the_width_and_loses_no_uncertainty(width: int) -> None:
    lines = verdict_table(VERDICT, width=width).splitlines()
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split())
    assert "U 0.41 dB" in text or re.search(r"38\.65 +0\.41 +38\.40\*", text)
    assert "conditional-pass: inside the limit, but by less than the guard band" in text
    assert "conditional-fail: outside the limit, but by less than the guard band" in text


def test_units_go_below_a_table_that_would_be_too_wide() -> None:
    text = verdict_table(VERDICT, width=80)
    head = next(line for line in text.splitlines() if line.startswith("parameter"))
    assert "unit" not in head.split()
    assert "\ndelay and skew in ns, all else in dB\n" in text


def test_what_stands_against_a_pass_tells_the_guard_band() -> None:
    text = " ".join(verdict_table(VERDICT, width=100).split())
    at = "at 212.50 MHz"
    assert f"0.21 dB outside the limit {at}, less than the guard band of 0.40 dB" in text
    assert f"0.30 dB inside the limit {at}, less than the guard band of 0.40 dB" in text
    assert f"2.00 dB outside the limit {at} return loss" in text  # fails with and without a guard band
    assert f"1.00 dB inside the limit {at}; {ELSEWHERE}" in text


def test_the_closest_call_of_a_conditional_pass_is_the_conditional_row() -> None:
    nearer = row(P.RETURN_LOSS, "B", ("12",), 0.1, Outcome.PASS, guard_band=0.05)
    verdict = dataclasses.replace(alone(nearer, ROWS[0]), outcome=Outcome.CONDITIONAL_PASS)
    closest = next(line for line in verdict_table(verdict).splitlines() if line.startswith("closest"))
    assert "insertion loss, end A, pair 12" in closest


def test_a_record_names_its_budget_and_its_verification(tmp_path: Path, build: SimpleNamespace) -> None:
    item = build.item(points=60)
    plain = " ".join(measurement_table(item.measurement).split())
    assert "budget none: no uncertainty is stated" in plain
    assert "verification" not in plain
    known = dataclasses.replace(
        item.measurement, budget_toml='name = "bench-3"\n', verification="drift 0.01 dB: in use"
    )
    text = measurement_table(known)
    assert "budget       bench-3\n" in text
    assert "verification drift 0.01 dB: in use\n" in text
    page = write_html(
        tmp_path / "a.html", [dataclasses.replace(item, measurement=known)], title="t"
    ).read_text()
    assert "<dt>uncertainty budget</dt><dd><bdi>bench-3</bdi></dd>" in page
    assert "<dt>verification</dt><dd><bdi>drift 0.01 dB: in use</bdi></dd>" in page


TERMS = (
    Contribution("directivity", 0.31, 0.9, "common-practice", "data sheet, " + "very long words " * 6),
    Contribution("noise", 0.0004, 0.0005, "published", "measured"),
    Contribution("balance", 0.0, 0.0, "from-memory", "O.9"),
)
BUDGET = (
    BudgetRow(P.RETURN_LOSS, "A", ("12",), 1e8, 21.0, 0.61, 0.66, TERMS),
    BudgetRow(P.SKEW, None, ("12", "36"), 1e6, 2.0, 0.01, math.inf, ()),
)


def test_a_budget_is_told_term_by_term() -> None:
    lines = budget_table(BUDGET, record="a.h5", requirement="tia-6a-cord").splitlines()
    text = " ".join(" ".join(lines).split())
    assert "at the smallest margin to tia-6a-cord" in text
    assert "return loss, end A, pair 12: 21.00 dB at 100.00 MHz, U +0.66 / -0.61 dB" in lines
    cells = [re.split(r"\s{2,}", line.strip()) for line in lines]
    assert ["term", "u", "share", "source"] in cells
    assert any(cell[:3] == ["directivity+", "0.310", "90.0 %"] for cell in cells)
    assert ["noise", "0.0004", "< 0.1 %", "measured"] in cells
    assert ["balance*", "0.000", "0.0 %", "O.9"] in cells
    assert "skew, pairs 12-36: 2.00 ns at 1.000 MHz, U +infinite / -0.01 ns" in lines
    assert "no term contributes" in text
    assert "+ figure common practice in the trade" in text
    assert "* figure from memory, to be verified" in text
    assert "at the worst value" in budget_table(BUDGET, record="a.h5")


@settings(max_examples=60, deadline=None)
@given(name=st.text(max_size=60), source=st.text(max_size=120), width=st.integers(40, 120))
def test_hostile_terms_are_harmless_and_fit(name: str, source: str, width: int) -> None:
    terms = (Contribution(name, 0.1, 1.0, "published", source),)
    text = budget_table((dataclasses.replace(BUDGET[0], terms=terms),), record=name, width=width)
    for line in text.splitlines():
        wide = sum(unicodedata.east_asian_width(char) in "WF" for char in line)
        marks = sum(bool(unicodedata.combining(char)) for char in line)
        assert len(line) + wide - marks <= width
    assert not {unicodedata.category(char) for char in text.replace("\n", "")} & {"Cc", "Cs", "Zl", "Zp"}


def with_uncertainty(item: ReportItem) -> ReportItem:
    """The worst rows of a report with an uncertainty of 0.4 dB, and one that passes on a condition."""
    verdict = item.verdict
    rows = tuple(
        dataclasses.replace(
            one, expanded_uncertainty=0.5, uncertainty_low=0.4, uncertainty_high=0.5, guard_band=0.4
        )
        for one in verdict.rows
    )
    rows = (dataclasses.replace(rows[0], outcome=Outcome.CONDITIONAL_PASS), *rows[1:])
    verdict = dataclasses.replace(
        verdict, rows=rows, decision_rule="four-way", notes=("decision rule: four outcomes",)
    )
    return dataclasses.replace(item, verdict=verdict, budget=BUDGET)


def test_the_page_tells_uncertainty_rule_and_budget(tmp_path: Path, build: SimpleNamespace) -> None:
    page = write_html(tmp_path / "a.html", [with_uncertainty(build.item(points=60))], title="t").read_text()
    assert "U (k = 2)" in page
    assert "guard band</th>" in page
    assert "decision rule: four outcomes" in page
    assert "conditional-pass: inside the limit, but by less than the guard band." in page
    assert page.count("<details>") == 2
    assert "<details open" not in page
    assert re.search(r"U \+0\.66 / -0\.61 dB; most from <bdi>directivity</bdi> \(90\.0 %\)", page)
    assert page.index("directivity</bdi></th>") < page.index("noise</bdi></th>") < page.index("balance</bdi>")
    assert "from memory, to be verified" in page
    assert "No measurement uncertainty" not in page


def test_drawings_show_interval_and_acceptance_limit(tmp_path: Path, build: SimpleNamespace) -> None:
    item = build.item(points=60)
    plain = write_html(tmp_path / "a.html", [item], title="t").read_text()
    page = write_html(tmp_path / "b.html", [with_uncertainty(item)], title="t").read_text()
    assert "<details>" not in plain
    assert "the bar through it" in page
    assert "the bar through it" not in plain


@pytest.mark.parametrize(
    ("parameter", "end", "sense"), [(P.NEXT, "B", "min"), (P.INSERTION_LOSS, "A", "max")]
)
def test_interval_and_acceptance_limit_are_drawn_where_the_numbers_are(
    parameter: Parameter, end: End, sense: str, build: SimpleNamespace
) -> None:
    item = with_uncertainty(build.item(points=60))
    traces = [trace for trace in item.traces if (trace.parameter, trace.end) == (parameter, end)]
    (worst,) = [one for one in worst_rows(item.verdict) if (one.parameter, one.end) == (parameter, end)]
    curve = item.limits[parameter]
    assert curve.sense == sense
    axes = Figure().add_subplot()
    _panel(axes, end, traces, [Bar("limit", curve, {end: worst})])
    lines = {line.get_gid(): line for line in axes.get_lines()}
    assert worst.value is not None
    assert worst.limit is not None
    assert list(lines["uncertainty"].get_ydata()) == [worst.value - 0.4, worst.value + 0.5]
    # Inside the limit: above a minimum, below a maximum.
    assert list(lines["acceptance"].get_ydata()) == [worst.limit + (0.4 if sense == "min" else -0.4)]
    low, high = axes.get_ylim()
    assert low < worst.value - 0.4 < worst.value + 0.5 < high


def test_no_acceptance_limit_is_drawn_where_another_point_decided(build: SimpleNamespace) -> None:
    item = with_uncertainty(build.item(points=60))
    traces = [trace for trace in item.traces if (trace.parameter, trace.end) == (P.NEXT, "B")]
    (worst,) = [one for one in worst_rows(item.verdict) if (one.parameter, one.end) == (P.NEXT, "B")]
    axes = Figure().add_subplot()
    elsewhere = dataclasses.replace(worst, note=f"a; {ELSEWHERE}")
    _panel(axes, "B", traces, [Bar("limit", item.limits[P.NEXT], {"B": elsewhere})])
    drawn = {line.get_gid() for line in axes.get_lines()}
    assert "uncertainty" in drawn
    assert "acceptance" not in drawn


def test_an_interval_without_end_leaves_room_for_the_traces(build: SimpleNamespace) -> None:
    item = build.item(points=60)
    traces = [trace for trace in item.traces if trace.parameter is P.DELAY]
    worst = dataclasses.replace(
        next(one for one in worst_rows(item.verdict) if one.parameter is P.DELAY),
        expanded_uncertainty=math.inf,
        uncertainty_low=0.4,
        uncertainty_high=math.inf,
        guard_band=math.inf,
    )
    axes = Figure().add_subplot()
    _panel(axes, None, traces, [Bar("limit", item.limits[P.DELAY], {None: worst})])
    assert np.all(np.isfinite(axes.get_ylim()))
    assert axes.get_ylim()[1] < 60.0
    assert "acceptance" not in {line.get_gid() for line in axes.get_lines()}
