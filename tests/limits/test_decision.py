"""The decision rule itself: zones, boundaries, risks, spelling.

Zones and boundaries: ILAC-G8:09/2019, 4.2.1 (simple), 4.2.2 (guard band), and its four-way statement.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm

from benchsweep.errors import UsageError
from benchsweep.limits import DECISION_RULES, SIMPLE, Decision
from benchsweep.records import Outcome

PASS, FAIL, UNDECIDED = Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED
CONDITIONAL_PASS, CONDITIONAL_FAIL = Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_FAIL

margins = st.floats(-60.0, 60.0)
uncertainties = st.floats(0.0, 20.0) | st.just(math.inf)
factors = st.floats(0.01, 10.0)


@pytest.mark.parametrize(
    ("margin", "simple", "guard_band", "four_way"),
    [
        # w = 0.5 dB; the boundaries belong to the better side, as a value at its limit passes.
        (0.75, PASS, PASS, PASS),
        (0.5, PASS, PASS, PASS),
        (0.499, PASS, FAIL, CONDITIONAL_PASS),
        (0.0, PASS, FAIL, CONDITIONAL_PASS),
        (-0.001, FAIL, FAIL, CONDITIONAL_FAIL),
        (-0.5, FAIL, FAIL, CONDITIONAL_FAIL),
        (-0.501, FAIL, FAIL, FAIL),
        (math.inf, PASS, PASS, PASS),
    ],
)
def test_the_zones(margin, simple, guard_band, four_way):
    found = tuple(Decision(rule).outcome(margin, 0.5) for rule in DECISION_RULES)
    assert found == (simple, guard_band, four_way)


@pytest.mark.parametrize("unknown", [None, math.inf, math.nan])
def test_without_a_guard_band_nothing_is_accepted(unknown):
    guarded, four_way = Decision("guard-band"), Decision("four-way")
    assert guarded.outcome(3.0, unknown) is UNDECIDED
    assert guarded.outcome(math.inf, unknown) is UNDECIDED
    assert guarded.outcome(-0.001, unknown) is FAIL  # with whatever guard band
    assert {four_way.outcome(margin, unknown) for margin in (3.0, 0.0, -9.0)} == {UNDECIDED}
    assert SIMPLE.outcome(0.0, unknown) is PASS


@pytest.mark.parametrize(
    ("factor", "percent", "words"),
    # Percentages as computed once for facts of the trade; the last one belongs to no rule's table.
    [(0.83, 4.9, "4.9 %"), (1.0, 2.3, "2.3 %"), (1.5, 0.13, "0.14 %"), (3.0, 1e-7, "0.001 %")],
)
def test_the_probability_of_false_acceptance(factor, percent, words):
    for rule in ("guard-band", "four-way"):
        decision = Decision(rule, factor)
        # U = 2 u, so w = r U = 2 r standard uncertainties.
        assert decision.false_acceptance == pytest.approx(norm.sf(2.0 * factor), rel=1e-9)
        assert 100.0 * decision.false_acceptance == pytest.approx(percent, rel=0.04)
        assert f"at most {words}" in decision.statement  # a bound, so never rounded down
    assert Decision("guard-band").false_acceptance <= 0.025


@pytest.mark.parametrize("text", ["simple", "guard-band 0.83", "guard-band", "four-way", "guard-band 1.5"])
def test_as_many_false_acceptances_as_stated(text):
    """The worst case: every specimen lies just beyond its limit, results scatter by U / 2."""
    decision = Decision.parse(text)
    rng = np.random.default_rng(20190905)
    draws, uncertainty = 40_000, 0.6
    margins_seen = rng.normal(-1e-9, uncertainty / 2.0, draws).tolist()
    band = decision.factor * uncertainty
    accepted = sum(decision.outcome(margin, band) is PASS for margin in margins_seen)
    stated = decision.false_acceptance
    assert accepted / draws == pytest.approx(stated, abs=4.0 * math.sqrt(stated * (1.0 - stated) / draws))


def test_a_large_uncertainty_of_a_loss_leans():
    """The figures of the module's docstring: the residual error as large as the signal, U = 6 dB."""
    uncertainty = 20.0 * math.log10(2.0)
    covered = 10.0 ** (0.83 * uncertainty / 20.0) - 1.0  # of the residual error, which is U at k = 2
    assert 100.0 * norm.sf(2.0 * covered) == pytest.approx(6.0, abs=0.1)


def test_the_statement_names_rule_source_and_risk():
    assert SIMPLE.false_acceptance == 0.5
    assert "4.2.1" in SIMPLE.statement
    assert "up to 50 %" in SIMPLE.statement
    assert "w = 0.83 U (ISO 14253-1:2017)" in Decision("guard-band", 0.83).statement
    assert "w = U, U the expanded" in Decision("guard-band").statement
    assert "ILAC-G8:09/2019, 4.2.2" in Decision("guard-band").statement
    assert "conditional within w of the limit on either side" in Decision("four-way").statement


@pytest.mark.parametrize(
    ("text", "rule", "factor", "told"),
    [
        ("simple", "simple", 1.0, "simple"),
        ("guard-band", "guard-band", 1.0, "guard-band"),
        ("guard-band 1.0", "guard-band", 1.0, "guard-band"),
        ("  guard-band  0.83 ", "guard-band", 0.83, "guard-band 0.83"),
        ("four-way 3", "four-way", 3.0, "four-way 3"),
    ],
)
def test_spelling(text, rule, factor, told):
    assert Decision.parse(text) == Decision(rule, factor)
    assert str(Decision.parse(text)) == told


@given(rule=st.sampled_from(["guard-band", "four-way"]), factor=st.floats(1e-6, 10.0))
def test_what_is_written_is_read_again(rule, factor):
    decision = Decision(rule, factor)
    assert Decision.parse(str(decision)) == decision


@pytest.mark.parametrize(
    ("text", "words", "hint"),
    [
        ("coin", "no decision rule named 'coin'", "simple, guard-band, four-way"),
        ("", "no decision rule named ''", "simple, guard-band, four-way"),
        ("Simple", "no decision rule named 'Simple'", "simple, guard-band, four-way"),
        ("guard-band 1 2", "is no decision rule", "guard-band 0.83"),
        ("guard-band 0,83", "'0,83' is no number", "guard-band 0.83"),
        ("guard-band -1", "would accept results beyond the limit", "four-way"),
        ("guard-band 0", "makes no sense", "above 0"),
        ("four-way nan", "makes no sense", "above 0"),
        ("four-way inf", "makes no sense", "at most 10"),
        ("simple 0.83", "has no guard band", "guard-band 0.83"),
    ],
)
def test_what_is_no_rule_is_refused_with_a_hint(text, words, hint):
    with pytest.raises(UsageError, match=r"rule|band") as caught:
        Decision.parse(text)
    assert words in caught.value.message
    assert hint in caught.value.hint


@given(margin=margins, uncertainty=uncertainties, factor=factors)
def test_a_guard_band_never_accepts_what_simple_acceptance_rejects(margin, uncertainty, factor):
    band = factor * uncertainty
    simple = SIMPLE.outcome(margin, band)
    for rule in ("guard-band", "four-way"):
        accepted = Decision(rule, factor).outcome(margin, band) in (PASS, CONDITIONAL_PASS)
        assert not accepted or simple is PASS


@given(margin=margins, uncertainty=uncertainties, factor=factors)
def test_four_outcomes_refine_two(margin, uncertainty, factor):
    """A pass is a pass of the guard band, and the limit itself parts the conditional ones."""
    band = factor * uncertainty
    two, four = (Decision(rule, factor).outcome(margin, band) for rule in ("guard-band", "four-way"))
    assert (four is PASS) == (two is PASS)
    if math.isfinite(band):
        assert (four in (PASS, CONDITIONAL_PASS)) == (SIMPLE.outcome(margin, band) is PASS)


@given(margin=margins, uncertainty=uncertainties, smaller=factors, larger=factors)
def test_a_wider_guard_band_accepts_no_more(margin, uncertainty, smaller, larger):
    assume(smaller <= larger)
    for rule in ("guard-band", "four-way"):
        wide = Decision(rule, larger).outcome(margin, larger * uncertainty)
        narrow = Decision(rule, smaller).outcome(margin, smaller * uncertainty)
        assert wide is not PASS or narrow is PASS
        if rule == "four-way":
            assert wide is not FAIL or narrow is FAIL  # and rejects no more outright
