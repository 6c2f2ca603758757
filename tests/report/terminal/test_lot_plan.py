"""A sampling plan on a terminal: against binomial and hypergeometric probabilities computed here."""

from __future__ import annotations

import re
from math import comb

import numpy as np
import pytest
from scipy.stats import binom, hypergeom

from benchsweep.records import OperatingCurve, SamplingPlan, Severity
from benchsweep.report import sampling_table
from benchsweep.statistics.sampling import operating_curve, zero_acceptance_plan


def curve_of(plan: SamplingPlan, *, scheme: bool = False) -> OperatingCurve:
    percent = np.linspace(0.0, 40.0, 801)
    accepted = binom.cdf(plan.accept, plan.sample_size, percent / 100.0)
    bad = np.arange(plan.lot_size + 1)
    outgoing = percent * accepted * (1.0 - plan.sample_size / plan.lot_size)

    def at(level: float) -> float:
        return float(np.interp(-level, -accepted, percent))

    return OperatingCurve(
        plan,
        percent,
        accepted,
        100.0 * bad / plan.lot_size,
        hypergeom.cdf(plan.accept, plan.lot_size, bad, plan.sample_size),
        outgoing,
        plan.sample_size + (1.0 - accepted) * (plan.lot_size - plan.sample_size),
        None
        if plan.aql_percent is None
        else 1.0 - float(binom.cdf(plan.accept, plan.sample_size, plan.aql_percent / 100.0)),
        at(0.95),
        at(0.5),
        at(0.1),
        float(outgoing.max()),
        float(percent[outgoing.argmax()]),
        accepted**2 if scheme else None,
    )


NORMAL = SamplingPlan(
    "attributes",
    90,
    20,
    0,
    1,
    0.65,
    "II",
    Severity.NORMAL,
    "E",
    "F",
    20,
    source="Table II-A",
    standing="published",
)
REDUCED = SamplingPlan("attributes", 300, 20, 1, 4, 2.5, "II", Severity.REDUCED, "H", "H", 20)
ZERO = SamplingPlan("zero-acceptance", 20, 3, 0, 1, limiting_percent=50.0, consumer_risk=0.1)
VARIABLES = SamplingPlan(
    *("variables", 40, 5, 0, 1, 1.0, "IV", Severity.NORMAL, "D", "D", 5, ("next", "return_loss"), 1.53)
)


def rows_of(text: str, head: str) -> dict[float, list[float]]:
    """Return the rows of a table below a head, by their first number."""
    lines = text.splitlines()
    begin = next(at for at, line in enumerate(lines) if line.startswith(head)) + 2
    rows = {}
    for line in lines[begin:]:
        numbers = re.findall(r"\d+(?:\.\d+)?", line)
        if not numbers or not line[0].isdigit():
            break
        rows[float(numbers[0])] = [float(each) for each in numbers[1:]]
    return rows


def test_the_tables_are_the_distributions() -> None:
    told = sampling_table(NORMAL, curve_of(NORMAL))
    process = rows_of(told, "process, % nonconforming")
    assert 0.65 in process
    assert len(process) > 5
    for percent, (accepted, *_) in process.items():
        assert accepted == pytest.approx(100.0 * (1.0 - percent / 100.0) ** 20, abs=0.06)
    lot = rows_of(told, "nonconforming in this lot")
    assert lot[1.0] == [1.11, pytest.approx(100.0 * 70 / 90, abs=0.06)]
    assert lot[2.0][1] == pytest.approx(100.0 * (70 * 69) / (90 * 89), abs=0.06)


def test_plan_arrow_and_risks_are_told() -> None:
    told = " ".join(sampling_table(NORMAL, curve_of(NORMAL)).split())
    assert "test 20 of 90 reels; accept with none nonconforming (Ac 0, Re 1)" in told
    assert "code letter E; there the table has an arrow down to letter F" in told
    assert "producer's risk at the AQL: 12.2 % of lots" in told  # 1 - 0.9935^20
    # 1 - 0.95^(1/20), 1 - 0.5^(1/20), 1 - 0.1^(1/20) in percent
    assert "95 % of cases at 0.256 % nonconforming, in 50 % at 3.41 %, in 10 % at 10.9 %" in told


def test_between_ac_and_re_reduced_inspection_ends() -> None:
    told = sampling_table(REDUCED, curve_of(REDUCED))
    assert "with 2 to 3 nonconforming the lot is accepted and reduced inspection ends" in " ".join(
        told.split()
    )
    assert "arrow" not in told
    assert "between" not in sampling_table(NORMAL, curve_of(NORMAL))


def test_the_row_of_the_limiting_quality_is_among_those_of_the_lot() -> None:
    plan = zero_acceptance_plan(60, limiting_percent=10.0)
    told = sampling_table(plan, operating_curve(plan))
    # 6 of 60 nonconforming, 19 drawn without replacement: C(54, 19) / C(60, 19), in percent.
    risk = 100.0 * comb(54, 19) / comb(60, 19)
    (row,) = [line.split() for line in told.splitlines() if line.startswith("6 *")]
    assert row == ["6", "*", "10.00", f"{risk:.1f}"]
    words = " ".join(told.split())
    assert f"this lot: accepted in {risk:.3g} % of cases with 6 of 60 nonconforming" in words
    assert "in 10 % at 11.4 % (consumer's risk of the process)" in words
    assert "* limiting quality in this lot: the plan keeps this risk to 10 % at most" in words


def test_zero_acceptance_and_variables() -> None:
    told = " ".join(sampling_table(ZERO, curve_of(ZERO)).split())
    assert "with 50 % nonconforming is accepted in at most 10 of 100 cases" in told
    assert "AQL" not in told
    # With 3 of 20 reels tested a lot with one bad reel is accepted in 85 % of cases (hypergeometric).
    assert rows_of(sampling_table(ZERO, curve_of(ZERO)), "nonconforming in this lot")[1.0] == [5.0, 85.0]
    told = " ".join(sampling_table(VARIABLES, curve_of(VARIABLES)).split())
    assert "mean / s of the worst margins of NEXT and of return loss is at least k = 1.53" in told


@pytest.mark.parametrize("width", [40, 60, 80, 100])
@pytest.mark.parametrize("plan", [NORMAL, REDUCED, ZERO, VARIABLES], ids=lambda plan: plan.method)
def test_within_the_columns_also_in_ascii(plan: SamplingPlan, width: int) -> None:
    for ascii_only in (False, True):
        told = sampling_table(plan, curve_of(plan, scheme=True), width=width, ascii_only=ascii_only)
        assert max(map(len, told.splitlines())) <= width
        assert told.isascii() or not ascii_only


def test_the_plot_marks_the_aql_and_draws_the_scheme() -> None:
    told = sampling_table(NORMAL, curve_of(NORMAL, scheme=True), ascii_only=True)
    plot = [line[6:] for line in told.splitlines() if re.match(r" *\d* [|+]", line)]
    (marked,) = (line for line in plot if "X" in line)
    assert plot.index(marked) == 1  # 88 % of ten lines from above, at 0.65 of 22 %
    assert marked.index("X") == 2
    assert "with switching to tightened" in told
    assert "with switching %" in told
    alone = sampling_table(NORMAL, curve_of(NORMAL), ascii_only=True)
    assert "switching" not in alone
