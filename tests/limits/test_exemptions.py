"""Where lines do not count: pairs, combinations and power sums, by insertion loss and by FEXT."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from benchsweep.definitions import validate_model
from benchsweep.errors import DefinitionError
from benchsweep.limits import Requirement, grade
from benchsweep.records import FOUR_PAIRS, Outcome, Parameter, Trace

GRID = np.linspace(1e6, 50e6, 50)
TEXT = """
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "E"
configuration = "channel"
standing = "published"
[source]
document = "d"
checked = "c"
[[lines]]
parameter = "{parameter}"
sense = "min"
standing = "published"
source = "s"
exempt_where = {{ {rule}, standing = "common-practice" }}
bands = [{{ from_mhz = 1.0, to_mhz = 50.0, limit = {{ form = "constant", level = 30.0 }} }}]
"""
LOW_LOSS = 'parameter = "insertion_loss", below = 4.0'
HIGH_FEXT = 'parameter = "fext", above = 70.0'
PASS, FAIL = Outcome.PASS, Outcome.FAIL
KINDS = {
    "next": tuple(itertools.combinations(FOUR_PAIRS, 2)),
    "acr_n": tuple(itertools.permutations(FOUR_PAIRS, 2)),
    "acr_f": tuple(itertools.permutations(FOUR_PAIRS, 2)),
    "fext": tuple(itertools.permutations(FOUR_PAIRS, 2)),
}


def own(parameter: str, rule: str) -> Requirement:
    return validate_model(TEXT.format(parameter=parameter, rule=rule), Requirement, where="own")


def trace(parameter, end, pairs, value):
    return Trace(
        Parameter(parameter), end, pairs, GRID, np.broadcast_to(np.asarray(value, float), GRID.shape)
    )


def bad(parameter):
    """Every trace of a parameter, beyond the limit everywhere."""
    groups = KINDS.get(parameter, tuple((pair,) for pair in FOUR_PAIRS))
    return [trace(parameter, end, pairs, 20.0) for end in "AB" for pairs in groups]


def losses(of):
    return [trace("insertion_loss", end, (pair,), of(pair)) for end in "AB" for pair in FOUR_PAIRS]


def graded(traces, parameter, rule):
    return grade(traces, own(parameter, rule), specimen="x")


# ---- insertion loss


@pytest.mark.parametrize("parameter", ["next", "acr_n"])
def test_a_combination_does_not_count_only_where_both_pairs_lose_little(parameter):
    """For information only where insertion loss is below 4.0 dB (ISO/IEC 11801, from memory)."""
    few = {"12", "45"}
    traces = bad(parameter) + losses(lambda pair: 3.0 if pair in few else 4.0)
    verdict = graded(traces, parameter, LOW_LOSS)
    assert {row.pairs for row in verdict.rows if row.outcome is PASS} == {
        pairs for pairs in KINDS[parameter] if set(pairs) == few
    }
    exempt = [row for row in verdict.rows if row.outcome is PASS]
    assert all(row.worst_margin_db is None and "at every point" in row.note for row in exempt)
    assert {row.standing for row in exempt} == {"common-practice"}
    assert {row.standing for row in verdict.rows if row.outcome is FAIL} == {"published"}


@pytest.mark.parametrize("parameter", ["ps_next", "ps_acr_n"])
@pytest.mark.parametrize("lossy", [None, *FOUR_PAIRS])
def test_a_power_sum_goes_by_the_loss_of_its_own_pair(parameter, lossy):
    """PS NEXT of a pair, where the loss of the pair is below 4.0 dB (ISO/IEC 11801, from memory)."""
    traces = bad(parameter) + losses(lambda pair: 5.0 if pair == lossy else 1.0)
    verdict = graded(traces, parameter, LOW_LOSS)
    assert {row.pairs for row in verdict.rows if row.outcome is FAIL} == ({(lossy,)} if lossy else set())


def test_return_loss_of_a_pair_goes_by_that_pair_alone():
    traces = bad("return_loss") + losses(lambda pair: 5.0 if pair == "36" else 1.0)
    verdict = graded(traces, "return_loss", LOW_LOSS)
    assert {row.pairs for row in verdict.rows if row.outcome is FAIL} == {("36",)}


def test_the_row_says_how_many_points_do_not_count_and_where():
    rising = 0.2 * GRID / 1e6  # 4.0 dB at 20 MHz, where the line counts again
    traces = bad("next") + losses(lambda pair: rising)
    row = graded(traces, "next", LOW_LOSS).rows[0]
    assert row.note == "does not count where insertion loss is below 4 dB: 19 of 50 points, 1 to 19 MHz"
    assert row.frequency_hz == 20e6


def test_the_loss_seen_from_the_other_end_serves():
    """A passive pair loses the same both ways."""
    there = [t for t in losses(lambda pair: 1.0) if t.end == "B"]
    assert graded(bad("next") + there, "next", LOW_LOSS).outcome is PASS


def test_what_is_needed_and_was_not_measured_is_named_and_everything_counts():
    traces = bad("next") + [t for t in losses(lambda pair: 1.0) if t.pairs != ("78",)]
    verdict = graded(traces, "next", LOW_LOSS)
    concerned = [row for row in verdict.rows if "78" in row.pairs]
    assert {row.outcome for row in concerned} == {FAIL}
    assert {row.note for row in concerned} == {
        "every point counts, because insertion loss of 78 was not measured"
    }
    assert {row.outcome for row in verdict.rows if "78" not in row.pairs} == {PASS}


# ---- FEXT


def far(of):
    return [trace("fext", end, pairs, of(end, pairs)) for end in "AB" for pairs in KINDS["fext"]]


def test_acr_f_does_not_count_where_its_own_fext_is_high():
    """For information only where the measured FEXT exceeds 70 dB (from memory); ordered, end by end."""
    quiet = ("A", ("12", "36"))
    traces = bad("acr_f") + far(lambda end, pairs: 71.0 if (end, pairs) == quiet else 70.0)
    verdict = graded(traces, "acr_f", HIGH_FEXT)
    assert [(row.end, row.pairs) for row in verdict.rows if row.outcome is PASS] == [quiet]
    assert "FEXT is above 70 dB" in next(row.note for row in verdict.rows if row.outcome is PASS)


@pytest.mark.parametrize("loud", [None, ("12", "36"), ("36", "12")])
def test_ps_acr_f_does_not_count_where_all_that_it_sums_is_high(loud):
    traces = bad("ps_acr_f") + far(lambda end, pairs: 60.0 if pairs == loud else 80.0)
    verdict = graded(traces, "ps_acr_f", HIGH_FEXT)
    failing = {row.pairs[0] for row in verdict.rows if row.outcome is FAIL}
    assert failing == (set() if loud is None else {loud[0]})


def test_no_signal_at_all_is_high_fext():
    traces = bad("acr_f") + far(lambda end, pairs: np.inf)
    assert graded(traces, "acr_f", HIGH_FEXT).outcome is PASS


# ---- files


@pytest.mark.parametrize(
    ("parameter", "rule", "words"),
    [
        ("next", 'parameter = "insertion_loss"', "either below or above"),
        ("next", LOW_LOSS + ", above = 3.0", "either below or above"),
        ("next", 'parameter = "return_loss", below = 4.0', "exempt_where.parameter"),
        ("next", HIGH_FEXT, "fext exempts only"),
        ("next", 'parameter = "insertion_loss", below = -4.0', "below"),
    ],
)
def test_rules_that_make_no_sense_are_refused(parameter, rule, words):
    with pytest.raises(DefinitionError, match=words):
        own(parameter, rule)
