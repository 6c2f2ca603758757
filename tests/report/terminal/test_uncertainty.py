"""Uncertainty on the terminal: its column, what the guard band has to do with an outcome, the budget."""

from __future__ import annotations

import dataclasses
import math
import re
import unicodedata
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.records import BudgetRow, Contribution, Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report import budget_table, measurement_table, verdict_table

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


def test_a_record_names_its_budget_and_its_verification(build: SimpleNamespace) -> None:
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
