"""Grading with an uncertainty: which side, which point, which outcome of the whole."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.definitions import validate_model
from benchsweep.errors import DefinitionError
from benchsweep.limits import Decision, Requirement, grade
from benchsweep.records import FOUR_PAIRS, Interval, Outcome, Parameter, Trace

GRID = np.linspace(1e6, 100e6, 50)
HEAD = """
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "5e"
configuration = "channel"
standing = "published"
{key}
[source]
document = "d"
checked = "c"
"""
LINE = """
[[lines]]
parameter = "{parameter}"
sense = "{sense}"
standing = "published"
source = "s"
{key}
[[lines.bands]]
from_mhz = 1.0
to_mhz = 100.0
limit = {{ form = "constant", level = 20.0 }}
"""
EXEMPT = 'exempt_where = { parameter = "insertion_loss", below = 3.0, standing = "published" }'
PASS, FAIL, UNDECIDED = Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED
CONDITIONAL_PASS, CONDITIONAL_FAIL = Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL


def own(*lines: tuple[Parameter, str] | tuple[Parameter, str, str], key: str = "") -> Requirement:
    text = HEAD.format(key=key)
    for parameter, sense, *more in lines:
        text += LINE.format(parameter=parameter, sense=sense, key=more[0] if more else "")
    return validate_model(text, Requirement, where="own")


RETURN_LOSS = own((Parameter.RETURN_LOSS, "min"))
INSERTION_LOSS = own((Parameter.INSERTION_LOSS, "max"))


def traces(value, parameter=Parameter.RETURN_LOSS, grid=GRID):
    values = np.broadcast_to(np.asarray(value, dtype=float), grid.shape)
    return [Trace(parameter, end, (pair,), grid, values) for end in "AB" for pair in FOUR_PAIRS]


class Assessor:
    """Gives uncertainties and keeps what it was asked; `low` and `high` are numbers or one per grid point."""

    def __init__(self, low, high=None, grid=GRID):
        high = low if high is None else high
        self.sides = [np.broadcast_to(np.asarray(side, dtype=float), grid.shape) for side in (low, high)]
        self.calls = []

    def __call__(self, requests):
        self.calls.append(list(requests))
        return [Interval(*(side[points] for side in self.sides)) for _, points in requests]


def graded(value, rule, assess, requirement=RETURN_LOSS, parameter=Parameter.RETURN_LOSS):
    decision = Decision.parse(rule)
    return grade(
        traces(value, parameter), requirement, specimen="C-1", length_m=2.0, decision=decision, assess=assess
    )


def outcomes(verdict):
    assert len({row.outcome for row in verdict.rows}) == 1
    return verdict.outcome, verdict.rows[0].outcome


@pytest.mark.parametrize(
    ("margin", "rule", "outcome"),
    [
        (1.0, "four-way", PASS),
        (0.875, "four-way", CONDITIONAL_PASS),
        (0.0, "four-way", CONDITIONAL_PASS),
        (-1.0, "four-way", CONDITIONAL_FAIL),
        (-1.125, "four-way", FAIL),
        (1.0, "guard-band", PASS),
        (0.875, "guard-band", FAIL),
        (0.875, "guard-band 0.83", PASS),
        (1.0, "guard-band 1.5", FAIL),
        (0.0, "simple", PASS),
        (-0.125, "simple", FAIL),
    ],
)
@pytest.mark.parametrize("sense", ["min", "max"])
def test_limits_are_one_sided(margin, rule, outcome, sense):
    """Only the uncertainty towards the limit counts: 1 dB here, and 9 dB on the other side."""
    if sense == "min":
        verdict = graded(20.0 + margin, rule, Assessor(1.0, 9.0))
    else:
        verdict = graded(
            20.0 - margin, rule, Assessor(9.0, 1.0), INSERTION_LOSS, parameter=Parameter.INSERTION_LOSS
        )
    assert outcomes(verdict) == (outcome, outcome)
    row = verdict.rows[0]
    assert row.worst_margin_db == margin
    assert row.expanded_uncertainty == 9.0
    assert {row.uncertainty_low, row.uncertainty_high} == {1.0, 9.0}
    factor = Decision.parse(rule).factor
    assert row.guard_band == (None if rule == "simple" else pytest.approx(factor))
    assert verdict.decision_rule == rule


def test_everything_is_asked_in_one_call_and_at_most_five_points_of_a_trace():
    requirement = own((Parameter.RETURN_LOSS, "min"), (Parameter.TCL, "min"))
    measured = traces(25.0 + np.sin(GRID / 3e6)) + traces(26.0 + np.cos(GRID / 5e6), Parameter.TCL)
    assess = Assessor(0.5)
    grade(measured, requirement, specimen="x", decision=Decision("guard-band"), assess=assess)
    (asked,) = assess.calls
    assert len(asked) == 16
    for trace, points in asked:
        assert 1 < points.size <= 5
        assert points[0] == np.argmin(trace.value)
        # One of each fifth of the line, and the lowest there.
        assert sorted(points // 10) == [0, 1, 2, 3, 4]
        assert all(trace.value[at] == trace.value[at // 10 * 10 :][:10].min() for at in points)


def test_one_point_is_asked_where_there_is_no_guard_band():
    for rule, requirement in (
        ("simple", RETURN_LOSS),
        ("guard-band", own((Parameter.RETURN_LOSS, "min"), key="contains_uncertainty = true")),
    ):
        assess = Assessor(0.5)
        graded(25.0 + np.sin(GRID / 3e6), rule, assess, requirement)
        assert [points.size for _, points in assess.calls[0]] == [1] * 8


def test_the_point_with_the_smallest_margin_less_guard_band_decides():
    # 2 dB of margin at 3 MHz with U 0.5 dB; 2.5 dB of margin at 97 MHz with U 3 dB.
    value = np.full(GRID.shape, 40.0)
    value[1], value[48] = 22.0, 22.5
    uncertainty = np.where(GRID > 50e6, 3.0, 0.5)
    row = graded(value, "guard-band", Assessor(uncertainty)).rows[0]
    assert row.outcome is FAIL
    assert (row.worst_margin_db, row.frequency_hz, row.expanded_uncertainty) == (2.0, GRID[1], 0.5)
    assert row.guard_band == 3.0
    assert row.note == f"decided at {GRID[48] / 1e6:.6g} MHz: margin +2.50 dB, guard band 3.00 dB"
    four = graded(value, "four-way", Assessor(uncertainty)).rows[0]
    assert four.outcome is CONDITIONAL_PASS
    simple = graded(value, "simple", Assessor(uncertainty)).rows[0]
    assert (simple.outcome, simple.note, simple.guard_band) == (PASS, "", None)


def test_the_guard_band_of_a_row_is_that_of_the_point_it_tells():
    # Both pass, and the one with the larger margin lies nearer to its acceptance limit.
    value = np.full(GRID.shape, 40.0)
    value[1], value[48] = 22.0, 22.5
    row = graded(value, "guard-band", Assessor(np.where(GRID > 50e6, 2.0, 0.5))).rows[0]
    assert (row.outcome, row.worst_margin_db, row.guard_band, row.note) == (PASS, 2.0, 0.5, "")


def test_a_point_beyond_its_own_guard_band_fails_however_wide_that_of_another_is():
    value = np.full(GRID.shape, 40.0)
    value[1], value[48] = 19.0, 19.2
    uncertainty = np.where(GRID > 50e6, 3.0, 0.5)
    row = graded(value, "four-way", Assessor(uncertainty)).rows[0]
    assert (row.outcome, row.guard_band, row.note) == (FAIL, 0.5, "")


@pytest.mark.parametrize("where", ["requirement", "line"])
def test_a_limit_that_contains_uncertainty_gets_no_guard_band(where):
    key = "contains_uncertainty = true"
    requirement = own(
        (Parameter.RETURN_LOSS, "min", key if where == "line" else ""),
        key=key if where == "requirement" else "",
    )
    for rule in ("guard-band", "four-way"):
        for assess in (Assessor(5.0), Assessor(math.inf), None):
            assert outcomes(graded(20.0, rule, assess, requirement)) == (PASS, PASS)
            assert outcomes(graded(19.9, rule, assess, requirement)) == (FAIL, FAIL)
        verdict = graded(20.0, rule, Assessor(5.0), requirement)
        assert (verdict.rows[0].guard_band, verdict.rows[0].expanded_uncertainty) == (0.0, 5.0)
        assert any(
            "no guard band" in note and note.endswith("already: return loss") for note in verdict.notes
        )


def test_a_line_may_say_otherwise_than_its_requirement():
    requirement = own(
        (Parameter.RETURN_LOSS, "min", "contains_uncertainty = false"),
        (Parameter.TCL, "min"),
        key="contains_uncertainty = true",
    )
    measured = traces(20.5) + traces(20.5, Parameter.TCL)
    verdict = grade(
        measured, requirement, specimen="x", decision=Decision("guard-band"), assess=Assessor(1.0)
    )
    assert {(row.parameter, row.outcome) for row in verdict.rows} == {
        (Parameter.RETURN_LOSS, FAIL),
        (Parameter.TCL, PASS),
    }


def test_whether_a_limit_contains_uncertainty_is_yes_or_no():
    with pytest.raises(DefinitionError, match="contains_uncertainty"):
        own((Parameter.RETURN_LOSS, "min"), key='contains_uncertainty = "perhaps"')


def test_without_a_budget():
    assert outcomes(graded(25.0, "simple", None)) == (PASS, PASS)
    assert outcomes(graded(25.0, "guard-band", None)) == (UNDECIDED, UNDECIDED)
    assert outcomes(graded(19.0, "guard-band", None)) == (FAIL, FAIL)
    assert outcomes(graded(25.0, "four-way", None)) == (UNDECIDED, UNDECIDED)
    assert outcomes(graded(19.0, "four-way", None)) == (UNDECIDED, UNDECIDED)
    row = graded(25.0, "guard-band", None).rows[0]
    assert row.note == "there is no uncertainty budget, so the guard band is not known"
    known = (row.expanded_uncertainty, row.uncertainty_low, row.uncertainty_high, row.guard_band)
    assert known == (None,) * 4


def test_an_infinite_uncertainty_accepts_nothing_but_only_on_the_side_of_the_limit():
    # The signal may be gone: the loss may be any number of dB higher.
    loss = {"requirement": INSERTION_LOSS, "parameter": Parameter.INSERTION_LOSS}
    verdict = graded(10.0, "guard-band", Assessor(1.0, math.inf), **loss)
    assert outcomes(verdict) == (UNDECIDED, UNDECIDED)
    assert "as large as the signal" in verdict.rows[0].note
    assert (verdict.rows[0].expanded_uncertainty, verdict.rows[0].guard_band) == (math.inf, math.inf)
    assert outcomes(graded(21.0, "guard-band", Assessor(1.0, math.inf), **loss)) == (FAIL, FAIL)
    assert outcomes(graded(10.0, "four-way", Assessor(1.0, math.inf), **loss)) == (UNDECIDED, UNDECIDED)
    # A minimum does not mind how much better the value may be.
    assert outcomes(graded(25.0, "guard-band", Assessor(1.0, math.inf))) == (PASS, PASS)


def test_no_signal_at_all_is_far_from_a_minimum_only_when_the_uncertainty_says_so():
    assert outcomes(graded(np.inf, "simple", Assessor(np.inf))) == (PASS, PASS)
    assert outcomes(graded(np.inf, "guard-band", Assessor(np.inf))) == (UNDECIDED, UNDECIDED)
    assert outcomes(graded(np.inf, "guard-band", Assessor(3.0))) == (PASS, PASS)


def test_the_worst_row_is_the_whole():
    decision = Decision("four-way")
    by_pair = {"12": 25.0, "36": 20.5, "45": 19.5, "78": 18.0}
    assert dict(zip(by_pair, (PASS, CONDITIONAL_PASS, CONDITIONAL_FAIL, FAIL), strict=True)) == {
        pair: decision.outcome(value - 20.0, 1.0) for pair, value in by_pair.items()
    }
    complete = [
        Trace(Parameter.RETURN_LOSS, end, (pair,), GRID, np.full(GRID.shape, 25.0))
        for end in "AB"
        for pair in FOUR_PAIRS
    ]
    for pairs, missing, whole in (
        ((), False, PASS),
        (("36",), False, CONDITIONAL_PASS),
        (("36",), True, UNDECIDED),
        (("36", "45"), True, CONDITIONAL_FAIL),
        (("36", "45", "78"), True, FAIL),
    ):
        measured = [
            Trace(t.parameter, t.end, t.pairs, GRID, np.full(GRID.shape, by_pair[t.pairs[0]]))
            if t.pairs[0] in pairs
            else t
            for t in complete
        ]
        if missing:
            measured = [t for t in measured if (t.end, t.pairs) != ("A", ("12",))]
        verdict = grade(measured, RETURN_LOSS, specimen="x", decision=decision, assess=Assessor(1.0))
        assert verdict.outcome is whole


@pytest.mark.parametrize(
    ("value", "outcome"),
    [(25.0, UNDECIDED), (20.5, UNDECIDED), (19.5, CONDITIONAL_FAIL), (18.0, FAIL)],
)
def test_a_sweep_that_ends_early_passes_nothing_and_hides_no_fail(value, outcome):
    short = GRID[:30]
    measured = traces(value, grid=short)
    verdict = grade(
        measured,
        RETURN_LOSS,
        specimen="x",
        decision=Decision("four-way"),
        assess=Assessor(1.0, grid=short),
    )
    assert outcomes(verdict) == (outcome, outcome)
    assert "not measured from" in verdict.rows[0].note


def test_points_that_do_not_count_decide_nothing():
    requirement = own((Parameter.RETURN_LOSS, "min", EXEMPT))
    # Return loss far beyond the limit below 50 MHz, where the insertion loss is small.
    low = GRID < 50e6
    measured = traces(np.where(low, 5.0, 22.0)) + traces(np.where(low, 1.0, 9.0), Parameter.INSERTION_LOSS)
    assess = Assessor(1.0)
    verdict = grade(measured, requirement, specimen="x", decision=Decision("guard-band"), assess=assess)
    assert verdict.outcome is PASS
    assert all(not low[points].any() for _, points in assess.calls[0])


def test_what_was_decided_and_at_which_risk_is_noted():
    for rule in ("simple", "guard-band", "four-way 1.5"):
        assert graded(25.0, rule, Assessor(1.0)).notes == (Decision.parse(rule).statement,)
    assert graded(25.0, "guard-band", None).notes == (Decision("guard-band").statement,)
    assert graded(25.0, "simple", None).notes == ()  # as before: no uncertainty was evaluated


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    slope=st.floats(0.0, 3.0),
    factor=st.floats(0.1, 4.0),
)
def test_whole_traces_a_guard_band_never_accepts_more_than_simple_acceptance(seed, slope, factor):
    rng = np.random.default_rng(seed)
    value = 21.0 + rng.normal(scale=0.5, size=GRID.size).cumsum() * 0.3
    uncertainty = 0.1 + slope * GRID / GRID[-1]
    simple = graded(value, "simple", Assessor(uncertainty))
    narrow = graded(value, f"guard-band {factor}", Assessor(uncertainty))
    wide = graded(value, f"guard-band {2 * factor}", Assessor(uncertainty))
    assert narrow.outcome is not PASS or simple.outcome is PASS
    assert wide.outcome is not PASS or narrow.outcome is PASS


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), error=st.floats(1e-4, 0.05), slope=st.floats(0.0, 1.0))
def test_five_points_find_what_all_points_would(seed, error, slope):
    """The residual error rises in amplitude with frequency; U in dB is what it makes of each value.

    Held against the same rule at every point of the grid. What the five points may overlook is the change
    of the error within a fifth of the line.
    """
    rng = np.random.default_rng(seed)
    value = 21.5 + rng.normal(scale=0.4, size=GRID.size).cumsum()
    residual = error * (1.0 + slope * GRID / GRID[-1])
    low = 20.0 * np.log10(1.0 + residual * 10 ** (value / 20.0))
    distance = (value - 20.0 - low).min()
    row = graded(value, "guard-band", Assessor(low)).rows[0]
    overlooked = low.max() * slope / 5.0
    if distance >= 0.0:
        assert row.outcome is PASS
    elif distance < -overlooked:
        assert row.outcome is FAIL
