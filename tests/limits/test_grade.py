"""Grading: margins, exemption, missing and partly covered data, wiring, notes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.definitions import validate_model
from benchsweep.errors import UsageError
from benchsweep.limits import (
    Requirement,
    grade,
    limit_curve,
    load_requirement,
)
from benchsweep.records import (
    FOUR_PAIRS,
    Outcome,
    Parameter,
    Trace,
    WiringFinding,
    WiringReport,
)

GRID = np.linspace(1e6, 500e6, 500)
COMBINATIONS = tuple(itertools.combinations(FOUR_PAIRS, 2))

OWN = """
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "6A"
configuration = "channel"
standing = "published"
[source]
document = "d"
checked = "c"
"""
RETURN_LOSS = """
[[lines]]
parameter = "return_loss"
sense = "min"
standing = "published"
source = "s"
exempt_where = { parameter = "insertion_loss", below = 3.0, standing = "from-memory" }
[[lines.bands]]
from_mhz = 1.0
to_mhz = 500.0
limit = { form = "constant", level = 20.0 }
"""
DELAY = """
[[lines]]
parameter = "delay"
sense = "max"
standing = "published"
source = "s"
[[lines.bands]]
from_mhz = 1.0
to_mhz = 500.0
limit = { form = "constant", level = 500.0 }
"""


def own(*lines: str) -> Requirement:
    return validate_model(OWN + "".join(lines), Requirement, where="own")


def trace(parameter, end, pairs, value, grid=GRID):
    return Trace(parameter, end, pairs, grid, np.broadcast_to(np.asarray(value, dtype=float), grid.shape))


def cord_traces(length_m=2.0, over=3.0, grid=GRID, requirement="tia-6a-cord"):
    """Traces that lie `over` dB above every limit of a cord."""
    cord = load_requirement(requirement)
    traces = []
    for parameter, groups in (
        (Parameter.RETURN_LOSS, [(p,) for p in FOUR_PAIRS]),
        (Parameter.NEXT, COMBINATIONS),
    ):
        limit = np.nan_to_num(limit_curve(cord, parameter, grid, length_m=length_m).value)
        traces += [trace(parameter, end, pairs, limit + over, grid) for end in "AB" for pairs in groups]
    return traces


def replaced(traces, parameter, end, pairs, change):
    return [
        trace(parameter, end, pairs, change(t.frequency_hz, t.value.copy()), t.frequency_hz)
        if (t.parameter, t.end, t.pairs) == (parameter, end, pairs)
        else t
        for t in traces
    ]


def without(traces, *keys):
    return [t for t in traces if (t.parameter, t.end, t.pairs) not in keys]


def row_of(verdict, parameter, end, *pairs):
    found = [r for r in verdict.rows if (r.parameter, r.end, r.pairs) == (parameter, end, pairs)]
    assert len(found) == 1
    return found[0]


def graded(traces, requirement="tia-6a-cord", **kinds):
    if isinstance(requirement, str):
        requirement = load_requirement(requirement)
    return grade(traces, requirement, specimen="C-1", **{"length_m": 2.0, **kinds})


def test_a_good_cord_passes_with_one_row_for_every_trace():
    verdict = graded(cord_traces(), record="a.h5")
    assert verdict.outcome is Outcome.PASS
    assert len(verdict.rows) == 8 + 12
    assert all(row.worst_margin_db == pytest.approx(3.0, abs=1e-9) for row in verdict.rows)
    assert (verdict.record, verdict.specimen, verdict.requirement) == ("a.h5", "C-1", "tia-6a-cord")
    assert (verdict.decision_rule, verdict.length_m) == ("simple", 2.0)
    assert [row.end for row in verdict.rows[:8]] == ["A"] * 4 + ["B"] * 4
    assert [row.pairs for row in verdict.rows[8:14]] == list(COMBINATIONS)
    assert all(row.expanded_uncertainty is None for row in verdict.rows)


def test_the_worst_point_is_reported_with_value_limit_and_frequency():
    def dip(f, value):
        value[np.argmin(abs(f - 249e6))] -= 3.7
        return value

    verdict = graded(replaced(cord_traces(), Parameter.NEXT, "B", ("36", "45"), dip))
    row = row_of(verdict, Parameter.NEXT, "B", "36", "45")
    assert (verdict.outcome, row.outcome) == (Outcome.FAIL, Outcome.FAIL)
    assert row.worst_margin_db == pytest.approx(-0.7, abs=1e-9)
    assert row.frequency_hz == GRID[np.argmin(abs(GRID - 249e6))]
    assert row.value - row.limit == pytest.approx(-0.7, abs=1e-9)
    assert sum(r.outcome is Outcome.FAIL for r in verdict.rows) == 1


def test_the_limit_is_not_rounded():
    """20.049 dB against a limit that prints as 20.0: a margin of 0.004 dB passes, of -0.004 dB fails."""
    text = RETURN_LOSS.replace("level = 20.0", "level = 20.045").replace("exempt_where", "# exempt_where")
    for value, outcome in ((20.049, Outcome.PASS), (20.045, Outcome.PASS), (20.041, Outcome.FAIL)):
        traces = [trace(Parameter.RETURN_LOSS, e, p, value) for e, p in itertools.product("AB", _singles())]
        verdict = graded(traces, own(text))
        assert verdict.outcome is outcome
        assert verdict.rows[0].worst_margin_db == pytest.approx(value - 20.045, abs=1e-12)


def _singles():
    return [(p,) for p in FOUR_PAIRS]


def test_a_max_line_counts_the_other_way_and_in_nanoseconds():
    traces = [trace(Parameter.DELAY, None, p, 490.0 + 20.0 * (p == ("78",))) for p in _singles()]
    verdict = graded(traces, own(DELAY))
    assert [row.worst_margin_db for row in verdict.rows] == [10.0, 10.0, 10.0, -10.0]
    assert [row.end for row in verdict.rows] == [None] * 4
    assert verdict.outcome is Outcome.FAIL
    assert verdict.length_m is None  # none was needed


def test_infinite_losses_pass_and_infinite_ratios_fail():
    good = replaced(cord_traces(), Parameter.NEXT, "A", ("12", "36"), lambda f, v: v + np.inf)
    row = row_of(graded(good), Parameter.NEXT, "A", "12", "36")
    assert (row.outcome, row.worst_margin_db) == (Outcome.PASS, np.inf)
    bad = replaced(cord_traces(), Parameter.NEXT, "A", ("12", "36"), lambda f, v: v - np.inf)
    assert graded(bad).outcome is Outcome.FAIL


# ---- what is missing


def test_a_missing_trace_makes_an_undecided_row_and_a_note():
    traces = without(
        cord_traces(), (Parameter.NEXT, "B", ("12", "78")), (Parameter.RETURN_LOSS, "A", ("45",))
    )
    verdict = graded(traces)
    assert verdict.outcome is Outcome.UNDECIDED
    assert len(verdict.rows) == 20
    row = row_of(verdict, Parameter.NEXT, "B", "12", "78")
    assert (row.outcome, row.worst_margin_db, row.limit, row.note) == (
        Outcome.UNDECIDED,
        None,
        None,
        "not measured",
    )
    assert row_of(verdict, Parameter.RETURN_LOSS, "A", "45").note == "not measured"


def test_nothing_measured_is_undecided_for_every_expected_row():
    verdict = graded([], "tia-6a-channel")
    assert verdict.outcome is Outcome.UNDECIDED
    counts = {p: sum(r.parameter is p for r in verdict.rows) for p in Parameter}
    assert {p.value: n for p, n in counts.items() if n} == {
        "insertion_loss": 8,
        "return_loss": 8,
        "next": 12,
        "ps_next": 8,
        "acr_f": 24,
        "ps_acr_f": 8,
        "delay": 4,
        "skew": 6,
    }
    assert "length" in row_of(verdict, Parameter.DELAY, None, "12").note


def test_a_fail_outweighs_what_is_missing():
    traces = without(cord_traces(over=-1.0), (Parameter.NEXT, "B", ("12", "78")))
    assert graded(traces).outcome is Outcome.FAIL


def test_a_sweep_that_ends_early_is_undecided_and_says_what_is_missing():
    verdict = graded(cord_traces(grid=np.linspace(1e6, 250e6, 250)))
    assert verdict.outcome is Outcome.UNDECIDED
    row = verdict.rows[0]
    assert row.outcome is Outcome.UNDECIDED
    assert row.note == "not measured from 250 to 500 MHz"
    assert row.worst_margin_db == pytest.approx(3.0)  # of the part that was measured


def test_a_sweep_that_begins_late_and_fails_fails():
    verdict = graded(cord_traces(over=-2.0, grid=np.linspace(10e6, 250e6, 250)))
    row = verdict.rows[0]
    assert (verdict.outcome, row.outcome) == (Outcome.FAIL, Outcome.FAIL)
    assert row.worst_margin_db == pytest.approx(-2.0)
    assert row.note == "not measured from 1 to 10 MHz and 250 to 500 MHz"


def test_a_sweep_outside_the_line_is_undecided():
    traces = cord_traces(grid=np.linspace(600e6, 700e6, 11))
    verdict = graded(traces)
    assert {row.outcome for row in verdict.rows} == {Outcome.UNDECIDED}
    assert verdict.rows[0].note == "not measured from 1 to 500 MHz"


def test_edges_of_the_sweep_may_miss_by_rounding():
    grid = GRID.copy()
    grid[0] *= 1 + 5e-7
    grid[-1] *= 1 - 5e-7
    assert graded(cord_traces(grid=grid)).outcome is Outcome.PASS
    grid[-1] *= 1 - 1e-5
    assert graded(cord_traces(grid=grid)).outcome is Outcome.UNDECIDED


def test_a_sweep_wider_than_the_line_is_graded_inside_it_only():
    """A 6A sweep against category 5e: what lies above 100 MHz does not count."""

    def spoil(f, value):
        value[f > 100.5e6] = 0.0
        return value

    traces = cord_traces(requirement="tia-5e-cord")
    for t in list(traces):
        traces = replaced(traces, t.parameter, t.end, t.pairs, spoil)
    verdict = graded(traces, "tia-5e-cord")
    assert verdict.outcome is Outcome.PASS
    assert all(row.frequency_hz <= 100e6 * (1 + 1e-9) for row in verdict.rows)


# ---- low insertion loss


def reflecting(return_loss, insertion_loss):
    keys = list(itertools.product("AB", _singles()))
    return [trace(Parameter.RETURN_LOSS, e, p, return_loss) for e, p in keys] + [
        trace(Parameter.INSERTION_LOSS, e, p, insertion_loss) for e, p in keys
    ]


def test_return_loss_does_not_count_where_insertion_loss_is_low():
    loss = 0.2 * np.sqrt(GRID / 1e6)  # 3.0 dB at 225 MHz
    value = np.where(GRID < 224e6, 10.0, 30.0 - GRID / 1e8)
    verdict = graded(reflecting(value, loss), own(RETURN_LOSS))
    row = verdict.rows[0]
    assert (verdict.outcome, row.worst_margin_db, row.frequency_hz) == (Outcome.PASS, 5.0, 500e6)
    assert row.note == "does not count where insertion loss is below 3 dB: 224 of 500 points, 1 to 224 MHz"
    assert row.standing == "from-memory"  # the weaker standing of the exemption, as it was applied
    assert any(note.startswith("limits of standing from-memory") for note in verdict.notes)
    value = np.where(GRID < 226e6, 10.0, 25.0)
    assert graded(reflecting(value, loss), own(RETURN_LOSS)).outcome is Outcome.FAIL


def test_an_exemption_that_leaves_nothing_passes_with_a_note():
    verdict = graded(reflecting(5.0, 1.0), own(RETURN_LOSS))
    row = verdict.rows[0]
    assert (verdict.outcome, row.outcome, row.worst_margin_db) == (Outcome.PASS, Outcome.PASS, None)
    assert "at every point of this measurement" in row.note


def test_an_exemption_does_not_reach_where_nothing_was_measured():
    grid = np.linspace(1e6, 100e6, 100)
    traces = [Trace(t.parameter, t.end, t.pairs, grid, t.value[:100]) for t in reflecting(5.0, 1.0)]
    assert graded(traces, own(RETURN_LOSS)).outcome is Outcome.UNDECIDED


def test_an_exemption_that_is_not_met_changes_nothing():
    verdict = graded(reflecting(19.0, 3.0), own(RETURN_LOSS))
    assert verdict.outcome is Outcome.FAIL
    assert (verdict.rows[0].note, verdict.rows[0].standing) == ("", "published")


def test_the_exemption_is_per_pair():
    traces = reflecting(10.0, 1.0)
    traces = [t for t in traces if t.parameter is Parameter.RETURN_LOSS] + [
        trace(Parameter.INSERTION_LOSS, e, p, 9.0 if p == ("45",) else 1.0)
        for e, p in itertools.product("AB", _singles())
    ]
    verdict = graded(traces, own(RETURN_LOSS))
    failed = {(row.end, row.pairs) for row in verdict.rows if row.outcome is Outcome.FAIL}
    assert failed == {("A", ("45",)), ("B", ("45",))}


def test_without_insertion_loss_every_point_counts():
    traces = [t for t in reflecting(10.0, 1.0) if t.parameter is Parameter.RETURN_LOSS]
    assert graded(traces, own(RETURN_LOSS)).outcome is Outcome.FAIL


def test_an_infinite_margin_of_the_points_that_count_is_reported_among_them():
    value = np.where(GRID < 100e6, 5.0, np.inf)
    loss = np.where(GRID < 100e6, 1.0, 9.0)
    row = graded(reflecting(value, loss), own(RETURN_LOSS)).rows[0]
    assert (row.outcome, row.worst_margin_db) == (Outcome.PASS, np.inf)
    assert row.frequency_hz >= 100e6


# ---- wiring


def finding(kind):
    return WiringFinding(kind, (4, 5), ("45",), None, f"{kind}: in words")


@pytest.mark.parametrize("kind", ["open", "short", "reversed", "crossed", "split", "miswired"])
def test_a_wiring_fault_fails_a_cord_with_perfect_losses(kind):
    wiring = WiringReport((1, 2, 3, 5, 4, 6, 7, 8), (finding(kind),))
    verdict = graded(cord_traces(), wiring=wiring)
    assert verdict.outcome is Outcome.FAIL
    assert all(row.outcome is Outcome.PASS for row in verdict.rows)
    assert f"fails for its wiring: {kind}" in verdict.notes
    assert verdict.wiring is wiring


def test_wiring_that_cannot_be_told_is_a_note_only():
    unclear = WiringReport((None,) * 8, (finding("unclear"),), checked=False)
    verdict = graded(cord_traces(), wiring=unclear)
    assert verdict.outcome is Outcome.PASS
    assert "the wiring could not be told for certain" in verdict.notes
    silent = WiringReport((None,) * 8, (), checked=False)
    assert "the wiring was not checked" in graded(cord_traces(), wiring=silent).notes
    right = WiringReport((1, 2, 3, 4, 5, 6, 7, 8), ())
    assert not any("wiring" in note for note in graded(cord_traces(), wiring=right).notes)


def test_a_wiring_fault_outweighs_undecided_rows():
    wiring = WiringReport((1, 2, 3, 5, 4, 6, 7, 8), (finding("reversed"),))
    assert graded([], wiring=wiring).outcome is Outcome.FAIL


# ---- standing, rules, errors


def test_limits_from_memory_are_named_and_others_are_not():
    notes = graded(cord_traces()).notes
    assert notes == (
        "limits of standing from-memory: return loss, NEXT; "
        "verify them against your own copy of the standard",
    )
    traces = [trace(Parameter.DELAY, None, p, 10.0) for p in _singles()]
    assert graded(traces, own(DELAY)).notes == ()


def test_a_length_is_needed_before_anything_else():
    with pytest.raises(UsageError, match="depends on the length") as caught:
        graded(cord_traces(), length_m=None)
    assert "--length-m" in caught.value.hint
    for length in (0.0, -1.0, float("nan")):
        with pytest.raises(UsageError, match="length"):
            graded(cord_traces(), length_m=length)


def test_the_frequencies_of_the_traces_need_not_agree():
    traces = cord_traces()
    other = cord_traces(grid=np.linspace(1e6, 500e6, 777))
    mixed = [b if i % 2 else a for i, (a, b) in enumerate(zip(traces, other, strict=True))]
    verdict = graded(mixed)
    assert verdict.outcome is Outcome.PASS
    assert all(row.worst_margin_db == pytest.approx(3.0, abs=1e-9) for row in verdict.rows)


@settings(max_examples=40, deadline=None)
@given(
    over=st.floats(-5.0, 5.0),
    where=st.integers(0, GRID.size - 1),
    dip=st.floats(0.0, 5.0),
    end=st.sampled_from("AB"),
    pairs=st.sampled_from(COMBINATIONS),
)
def test_the_sign_of_the_margin_is_the_outcome(over, where, dip, end, pairs):
    def change(f, value):
        value[where] -= dip
        return value

    verdict = graded(replaced(cord_traces(over=over), Parameter.NEXT, end, pairs, change))
    for row in verdict.rows:
        assert (row.outcome is Outcome.PASS) == (row.worst_margin_db >= 0.0)
        assert row.worst_margin_db == row.value - row.limit
    assert row_of(verdict, Parameter.NEXT, end, *pairs).worst_margin_db == pytest.approx(over - dip, abs=1e-9)
    failed = any(row.worst_margin_db < 0.0 for row in verdict.rows)
    assert verdict.outcome is (Outcome.FAIL if failed else Outcome.PASS)


def test_a_trace_beyond_the_expected_ones_is_graded_too():
    """NEXT given the other way round is no reason to leave it out; the expected one is still missing."""
    traces = cord_traces()
    turned = [
        trace(t.parameter, t.end, t.pairs[::-1], t.value - 10.0)
        if (t.parameter, t.end, t.pairs) == (Parameter.NEXT, "A", ("12", "36"))
        else t
        for t in traces
    ]
    verdict = graded(turned)
    assert row_of(verdict, Parameter.NEXT, "A", "36", "12").outcome is Outcome.FAIL
    assert row_of(verdict, Parameter.NEXT, "A", "12", "36").outcome is Outcome.UNDECIDED
