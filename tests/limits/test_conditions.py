"""Insertion loss at the reference temperature, cables at the reference length, whose loss is subtracted."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from benchsweep.definitions import validate_model
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.limits import Conditions, Requirement, as_graded, grade, length_note
from benchsweep.records import FOUR_PAIRS, Interval, Outcome, Parameter, Trace

GRID = np.linspace(1e6, 100e6, 34)
HEAD = """
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "5e"
configuration = "cable"
standing = "published"
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
{more}
bands = [{{ from_mhz = 1.0, to_mhz = 100.0, limit = {{ form = "constant", level = {level} }} }}]
"""
# Of ANSI/TIA-568-C.2, 6.4.7, as quoted in the IEEE 802.3 4PPoE archive, message 00302.
TEMPERATURE = """
[temperature]
reference_degc = 20.0
tolerance_k = 3.0
standing = "common-practice"
source = "the clause"
slopes = [
  { construction = "unscreened", from_degc = 20.0, to_degc = 40.0, per_k = 0.004 },
  { construction = "unscreened", from_degc = 40.0, to_degc = 60.0, per_k = 0.006 },
  { construction = "screened", from_degc = 20.0, to_degc = 60.0, per_k = 0.002 },
]
"""
NORMALISE = """
[normalise]
length_m = 100.0
[[normalise.rules]]
parameters = ["insertion_loss", "delay", "skew"]
form = "proportional"
standing = "published"
source = "s"
[[normalise.rules]]
parameters = ["acr_f", "ps_acr_f"]
form = "incoherent"
standing = "common-practice"
source = "s"
[[normalise.rules]]
parameters = ["next", "ps_next"]
form = "saturating"
standing = "from-memory"
source = "s"
"""
LOSS = LINE.format(parameter="insertion_loss", sense="max", level=22.0, more="")
PASS, FAIL, UNDECIDED = Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED


def own(*parts: str) -> Requirement:
    return validate_model(HEAD + "".join(parts), Requirement, where="own")


def minimum(parameter: str, level: float, more: str = "") -> str:
    return LINE.format(parameter=parameter, sense="min", level=level, more=more)


def trace(parameter, end, pairs, value):
    return Trace(parameter, end, tuple(pairs), GRID, np.broadcast_to(np.asarray(value, float), GRID.shape))


def losses(value):
    """Insertion loss of every pair at both ends; a mapping gives each pair its own."""
    of = value if isinstance(value, dict) else dict.fromkeys(FOUR_PAIRS, value)
    return [trace(Parameter.INSERTION_LOSS, e, (p,), of[p]) for e in "AB" for p in FOUR_PAIRS]


def graded(traces, requirement, **how):
    return grade(traces, requirement, specimen="x", **how)


def rows(verdict, parameter):
    return [row for row in verdict.rows if row.parameter is parameter]


# ---- temperature


@pytest.mark.parametrize(
    ("degc", "construction", "factor"),
    [
        (20.0, "unscreened", 1.0),
        (23.0, "unscreened", 1.0),  # within the tolerance
        (17.0, "screened", 1.0),
        (23.1, "unscreened", 1.0124),
        (30.0, "unscreened", 1.04),
        (40.0, "unscreened", 1.08),  # worked in quality.md of the facts: 1.08, 1.20, 1.08
        (60.0, "unscreened", 1.20),
        (60.0, "screened", 1.08),
        (60.0, None, 1.08),  # not told: the smaller
        (75.0, "unscreened", 1.20),  # no slope is stated above 60 degC
    ],
)
def test_insertion_loss_is_brought_to_twenty_degrees(degc, construction, factor):
    verdict = graded(losses(21.6), own(TEMPERATURE, LOSS), conditions=Conditions(degc, construction))
    assert verdict.outcome is PASS
    for row in verdict.rows:
        assert row.value == pytest.approx(21.6 / factor, rel=1e-12)
        assert row.worst_margin_db == pytest.approx(22.0 - 21.6 / factor, abs=1e-9)
        assert row.standing == ("published" if factor == 1.0 else "common-practice")
        assert row.note == ("" if factor == 1.0 else f"brought from {degc:g} to 20 degC")
    said = [note for note in verdict.notes if note.startswith("insertion loss was brought")]
    assert len(said) == (factor != 1.0)
    if said:
        assert f"divided by {factor:.4f}" in said[0]
        assert "the clause" in said[0]
        assert ("not told" in said[0]) is (construction is None)
        assert ("above 60 degC" in said[0]) is (degc > 60.0)


def test_a_warm_cable_that_fails_as_measured_passes_when_corrected():
    requirement = own(TEMPERATURE, LOSS)
    assert graded(losses(22.8), requirement, conditions=Conditions(22.0)).outcome is FAIL
    assert graded(losses(22.8), requirement, conditions=Conditions(40.0, "unscreened")).outcome is PASS
    assert graded(losses(22.8), requirement, conditions=Conditions(40.0, "screened")).outcome is PASS
    assert graded(losses(22.8), requirement, conditions=Conditions(30.0, "screened")).outcome is FAIL


def test_in_the_cold_a_pass_is_undecided_and_a_fail_a_fail():
    requirement = own(TEMPERATURE, LOSS)
    cold = Conditions(10.0, "unscreened")
    verdict = graded(losses(20.0), requirement, conditions=cold)
    assert verdict.outcome is UNDECIDED
    assert all("measured at 10 degC" in row.note and row.value == 20.0 for row in verdict.rows)
    assert any("not corrected" in note for note in verdict.notes)
    assert graded(losses(22.5), requirement, conditions=cold).outcome is FAIL


@pytest.mark.parametrize(("construction", "factor"), [("unscreened", 0.96), ("screened", 0.98), (None, 0.96)])
def test_the_slope_is_extended_into_the_cold_on_request(construction, factor):
    asked = Conditions(10.0, construction, extrapolate_cold=True)
    verdict = graded(losses(20.0), own(TEMPERATURE, LOSS), conditions=asked)
    assert verdict.outcome is PASS
    assert verdict.rows[0].value == pytest.approx(20.0 / factor)
    assert any("as asked" in note for note in verdict.notes)


def test_a_temperature_that_nobody_told_is_noted():
    verdict = graded(losses(20.0), own(TEMPERATURE, LOSS))
    assert verdict.outcome is PASS
    assert "the temperature was not told: insertion loss is taken to be that at 20 degC" in verdict.notes
    # Nothing of it where the requirement states none, or limits no insertion loss.
    for requirement in (own(LOSS), own(TEMPERATURE, minimum("return_loss", 10.0))):
        assert not any("temperature" in n for n in graded([], requirement).notes)


def test_a_construction_without_a_slope_is_not_corrected():
    only = TEMPERATURE.replace('"screened"', '"unscreened"').replace(
        '  { construction = "unscreened", from_degc = 20.0, to_degc = 60.0, per_k = 0.002 },\n', ""
    )
    verdict = graded(losses(20.0), own(only, LOSS), conditions=Conditions(40.0, "screened"))
    assert (verdict.outcome, verdict.rows[0].value) == (PASS, 20.0)
    assert any("no temperature slope is stated for screened" in note for note in verdict.notes)


def test_only_insertion_loss_is_corrected_and_uncertainty_is_asked_as_measured():
    asked = []

    def assess(requests):
        asked.extend(requests)
        return [Interval(np.full(at.shape, 0.5), np.full(at.shape, 1.0)) for _, at in requests]

    traces = losses(24.0) + [trace(Parameter.RETURN_LOSS, e, (p,), 15.0) for e in "AB" for p in FOUR_PAIRS]
    requirement = own(TEMPERATURE, LOSS, minimum("return_loss", 10.0))
    verdict = graded(traces, requirement, conditions=Conditions(60.0, "unscreened"), assess=assess)
    loss, reflected = rows(verdict, Parameter.INSERTION_LOSS), rows(verdict, Parameter.RETURN_LOSS)
    assert {row.value for row in reflected} == {15.0}
    assert {(row.uncertainty_low, row.uncertainty_high) for row in reflected} == {(0.5, 1.0)}
    assert loss[0].value == pytest.approx(20.0)
    # An error of the measured value is divided like the value.
    assert (loss[0].uncertainty_low, loss[0].uncertainty_high) == pytest.approx((0.5 / 1.2, 1.0 / 1.2))
    assert all(float(item.value[0]) in (24.0, 15.0) for item, _ in asked)


@pytest.mark.parametrize("degc", [float("nan"), float("inf"), -273.15, 900.0])
def test_a_temperature_that_makes_no_sense(degc):
    with pytest.raises(UsageError, match="temperature"):
        Conditions(degc)


def test_a_construction_that_is_none():
    with pytest.raises(UsageError, match="foiled"):
        Conditions(20.0, "foiled")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("from_degc = 40.0", "from_degc = 45.0", "follow on one another"),
        ("from_degc = 40.0", "from_degc = 30.0", "follow on one another"),
        ("to_degc = 40.0", "to_degc = 10.0", "must be above"),
        ("per_k = 0.006", "per_k = -0.006", "per_k"),
        ("tolerance_k = 3.0", "tolerance_k = -1.0", "tolerance_k"),
        ('"screened"', '"foiled"', "construction"),
    ],
)
def test_slopes_that_make_no_sense_are_refused(old, new, words):
    assert old in TEMPERATURE
    with pytest.raises(DefinitionError, match=words):
        own(TEMPERATURE.replace(old, new), LOSS)


# ---- length


def test_loss_delay_and_skew_are_in_proportion_to_the_length():
    delays = [trace(Parameter.DELAY, None, (p,), 270.0) for p in FOUR_PAIRS]
    limits = LOSS + LINE.format(parameter="delay", sense="max", level=545.0, more="")
    verdict = graded(losses(10.5) + delays, own(NORMALISE, limits), length_m=50.0)
    assert verdict.outcome is PASS
    assert verdict.length_m == 50.0
    assert {row.value for row in rows(verdict, Parameter.INSERTION_LOSS)} == {21.0}
    assert {row.value for row in rows(verdict, Parameter.DELAY)} == {540.0}
    assert {row.note for row in verdict.rows} == {"brought to 100 m"}
    assert (
        "measured on 50 m, brought to 100 m: insertion loss, delay and skew proportional (published); "
        "ACR-F and PS ACR-F incoherent (common-practice); NEXT and PS NEXT saturating (from-memory)"
    ) in verdict.notes


@pytest.mark.parametrize(
    ("length_m", "change"), [(50.0, -3.010), (90.0, -0.458), (100.0, 0.0), (200.0, 3.010)]
)
def test_far_end_crosstalk_adds_in_power_over_the_length(length_m, change):
    """Worked: 50 m -3.010 dB, 90 m -0.458 dB (couplings at random along the cable: power ~ length)."""
    traces = [trace(Parameter.ACR_F, e, p, 40.0) for e in "AB" for p in itertools.permutations(FOUR_PAIRS, 2)]
    verdict = graded(traces, own(NORMALISE, minimum("acr_f", 20.0)), length_m=length_m)
    assert verdict.rows[0].value == pytest.approx(40.0 + change, abs=5e-4)
    assert verdict.rows[0].standing == ("published" if change == 0.0 else "common-practice")


def near_end_power(loss_db_of_100_m: float, length_m: float) -> float:
    """Return the NEXT power of evenly spread couplings, summed piece by piece: there and back, two pairs.

    The wave travels x metres in the disturbing pair and x metres back in the disturbed one: it loses the
    attenuation of both, so exp(-4 alpha x) in power when they are alike.
    """
    pieces = 20_000
    x = (np.arange(pieces) + 0.5) * length_m / pieces
    return float(np.sum(10.0 ** (-2.0 * loss_db_of_100_m * x / 100.0 / 10.0))) * length_m / pieces


@pytest.mark.parametrize(("loss", "length_m"), [(19.8, 50.0), (2.0, 50.0), (2.0, 10.0), (40.0, 20.0)])
def test_near_end_crosstalk_saturates_with_the_length(loss, length_m):
    traces = losses(loss * length_m / 100.0) + [
        trace(Parameter.NEXT, e, p, 45.0) for e in "AB" for p in itertools.combinations(FOUR_PAIRS, 2)
    ]
    verdict = graded(traces, own(NORMALISE, minimum("next", 30.0)), length_m=length_m)
    expected = -10.0 * np.log10(near_end_power(loss, 100.0) / near_end_power(loss, length_m))
    assert [row.value - 45.0 for row in verdict.rows] == pytest.approx([expected] * 12, abs=1e-6)
    if (loss, length_m) == (19.8, 50.0):  # worked: -0.045 dB
        assert verdict.rows[0].value - 45.0 == pytest.approx(-0.045, abs=5e-4)


def test_pairs_of_unlike_loss_count_with_their_mean():
    of = dict(zip(FOUR_PAIRS, (1.0, 2.0, 3.0, 4.0), strict=True))
    traces = losses(of) + [
        trace(Parameter.NEXT, e, p, 45.0) for e in "AB" for p in itertools.combinations(FOUR_PAIRS, 2)
    ]
    verdict = graded(traces, own(NORMALISE, minimum("next", 30.0)), length_m=25.0)
    row = next(row for row in verdict.rows if row.pairs == ("12", "78"))
    worked = 45.0 - 10.0 * np.log10((1.0 - 10.0 ** (-10.0 / 5.0)) / (1.0 - 10.0 ** (-2.5 / 5.0)))
    assert row.value == pytest.approx(worked, abs=1e-9)


def test_a_power_sum_is_that_of_the_corrected_combinations():
    of = dict(zip(FOUR_PAIRS, (1.0, 2.0, 3.0, 4.0), strict=True))
    near = {pairs: 40.0 + 3.0 * number for number, pairs in enumerate(itertools.combinations(FOUR_PAIRS, 2))}
    traces = losses(of) + [trace(Parameter.NEXT, e, p, v) for e in "AB" for p, v in near.items()]
    for e, pair in itertools.product("AB", FOUR_PAIRS):
        power = sum(10.0 ** (-v / 10.0) for p, v in near.items() if pair in p)
        traces.append(trace(Parameter.PS_NEXT, e, (pair,), -10.0 * np.log10(power)))
    requirement = own(NORMALISE, minimum("next", 10.0), minimum("ps_next", 10.0))
    verdict = graded(traces, requirement, length_m=25.0)
    single = {(row.end, row.pairs): row.value for row in rows(verdict, Parameter.NEXT)}
    for row in rows(verdict, Parameter.PS_NEXT):
        power = sum(10.0 ** (-v / 10.0) for (e, p), v in single.items() if e == row.end and row.pairs[0] in p)
        assert row.value == pytest.approx(-10.0 * np.log10(power), abs=1e-9)


@pytest.mark.parametrize("length_m", [100.0, 150.0])
def test_near_end_crosstalk_of_a_long_cable_is_taken_as_measured(length_m):
    traces = losses(20.0) + [
        trace(Parameter.NEXT, e, p, 45.0) for e in "AB" for p in itertools.combinations(FOUR_PAIRS, 2)
    ]
    verdict = graded(traces, own(NORMALISE, minimum("next", 30.0)), length_m=length_m)
    assert {(row.value, row.note) for row in verdict.rows} == {(45.0, "")}


@pytest.mark.parametrize("signal", [0.0, -0.3, np.inf])
def test_losses_of_nothing_or_everything_break_nothing(signal):
    """So short that noise makes a loss of nothing; or no signal at all."""
    traces = losses(signal) + [
        trace(Parameter.NEXT, e, p, np.inf) for e in "AB" for p in itertools.combinations(FOUR_PAIRS, 2)
    ]
    traces += [trace(Parameter.PS_NEXT, e, (p,), np.inf) for e in "AB" for p in FOUR_PAIRS]
    requirement = own(NORMALISE, minimum("next", 30.0), minimum("ps_next", 30.0))
    verdict = graded(traces, requirement, length_m=1.0)
    assert verdict.outcome is PASS
    assert {row.value for row in verdict.rows} == {np.inf}


def test_without_a_length_a_cable_is_taken_as_the_reference():
    verdict = graded(losses(21.0), own(NORMALISE, LOSS))
    assert (verdict.outcome, verdict.rows[0].value, verdict.length_m) == (PASS, 21.0, None)
    assert "the length was not told and is taken as 100 m, for which the limits hold" in verdict.notes


def test_what_cannot_be_brought_to_the_reference_is_undecided_and_says_why():
    traces = [trace(Parameter.NEXT, e, p, 45.0) for e in "AB" for p in itertools.combinations(FOUR_PAIRS, 2)]
    verdict = graded(traces, own(NORMALISE, minimum("next", 30.0)), length_m=50.0)
    assert verdict.outcome is UNDECIDED
    assert verdict.rows[0].note == "cannot be graded: insertion loss of 12 was not measured"


def test_length_and_temperature_together_and_the_uncertainty_follows():
    def assess(requests):
        return [Interval(np.full(at.shape, 0.1), np.full(at.shape, 0.1)) for _, at in requests]

    verdict = graded(losses(11.0), own(NORMALISE, TEMPERATURE, LOSS), length_m=50.0,
                     conditions=Conditions(45.0, "unscreened"), assess=assess)  # fmt: skip
    row = verdict.rows[0]
    # 20 K at 0.4 % and 5 K at 0.6 %: 1.11; 50 m to 100 m: 2
    assert row.value == pytest.approx(11.0 * 2.0 / 1.11)
    assert row.expanded_uncertainty == pytest.approx(0.1 * 2.0 / 1.11)
    assert row.note == "brought from 45 to 20 degC, brought to 100 m"
    assert row.standing == "common-practice"


def test_traces_for_plots_are_those_that_are_graded():
    requirement = own(NORMALISE, TEMPERATURE, LOSS)
    traces = [*losses(11.0), trace(Parameter.RETURN_LOSS, "A", ("12",), 20.0)]
    found = as_graded(traces, requirement, length_m=50.0, conditions=Conditions(45.0, "unscreened"))
    assert {item.parameter for item in found} == {Parameter.INSERTION_LOSS}
    assert found[0].value == pytest.approx(np.full(GRID.shape, 22.0 / 1.11))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('["acr_f", "ps_acr_f"]', '["acr_f", "return_loss"]', "return_loss is not incoherent"),
        ('["acr_f", "ps_acr_f"]', "[]", "parameters"),
        ('["next", "ps_next"]', '["next", "next"]', "more than one rule for next"),
        ("length_m = 100.0", "length_m = 0.0", "length_m"),
        ('"saturating"', '"squared"', "form"),
    ],
)
def test_rules_of_length_that_make_no_sense_are_refused(old, new, words):
    with pytest.raises(DefinitionError, match=words):
        own(NORMALISE.replace(old, new), LOSS)


# ---- the usual length, dc


def test_a_specimen_longer_than_usual_is_noted():
    usual = '[length]\nmaximum_m = 100.0\nstanding = "common-practice"\nsource = "practice"\n'
    requirement = own(usual, LOSS)
    assert length_note(requirement, None) == length_note(requirement, 100.9) == ""
    assert length_note(own(LOSS), 400.0) == ""
    words = length_note(requirement, 104.0)
    assert words.startswith(
        "a length of 104.0 m exceeds the usual 100 m of a cable (common-practice: practice)"
    )
    assert "decides nothing" in words


def test_dc_limits_are_told_and_not_graded():
    dc = '[[dc]]\nquantity = "loop resistance"\nmaximum = 25.0\nunit = "ohm"\nstanding = "published"\n'
    dc += 'source = "s"\n'
    verdict = graded(losses(20.0), own(dc, LOSS))
    assert verdict.outcome is PASS
    assert [note for note in verdict.notes if "loop resistance at most 25 ohm" in note]
    with pytest.raises(DefinitionError, match="more than one dc limit"):
        own(dc, dc, LOSS)


# ---- whose insertion loss


def unlike():
    """FEXT of every combination and the loss of every pair, all different; ACR-F below the disturbed pair."""
    loss = dict(zip(FOUR_PAIRS, (18.0, 19.0, 20.5, 21.0), strict=True))
    far = {p: 50.0 + n for n, p in enumerate(itertools.permutations(FOUR_PAIRS, 2))}
    traces = losses(loss)
    for end, (pairs, value) in itertools.product("AB", far.items()):
        traces.append(trace(Parameter.FEXT, end, pairs, value))
        traces.append(trace(Parameter.ACR_F, end, pairs, value - loss[pairs[0]]))
    for end, pair in itertools.product("AB", FOUR_PAIRS):
        power = sum(10.0 ** (-v / 10.0) for p, v in far.items() if p[0] == pair)
        traces.append(trace(Parameter.PS_ACR_F, end, (pair,), -10.0 * np.log10(power) - loss[pair]))
    return traces, loss, far


def test_far_end_crosstalk_less_the_loss_of_the_disturbing_pair():
    """ELFEXT of the B series; by hand from FEXT and the losses. The default is the disturbed pair."""
    traces, loss, far = unlike()
    plain = graded(traces, own(minimum("acr_f", 20.0), minimum("ps_acr_f", 20.0)))
    of = 'insertion_loss_of = "disturbing-pair"\n'
    old = graded(traces, own(minimum("acr_f", 20.0, of), minimum("ps_acr_f", 20.0, of)))
    for verdict, subtracted in ((plain, 0), (old, 1)):
        for row in rows(verdict, Parameter.ACR_F):
            assert row.value == pytest.approx(far[row.pairs] - loss[row.pairs[subtracted]], abs=1e-9)
        for row in rows(verdict, Parameter.PS_ACR_F):
            summed = sum(
                10.0 ** (-(value - loss[pairs[subtracted]]) / 10.0)
                for pairs, value in far.items()
                if pairs[0] == row.pairs[0]
            )
            assert row.value == pytest.approx(-10.0 * np.log10(summed), abs=1e-9)


def test_a_disturbing_pair_without_a_signal_does_not_look_good():
    traces, _, _ = unlike()
    broken = [
        trace(t.parameter, t.end, t.pairs, np.inf)
        if t.parameter is Parameter.INSERTION_LOSS and t.pairs == ("78",)
        else t
        for t in traces
    ]
    verdict = graded(broken, own(minimum("acr_f", 20.0, 'insertion_loss_of = "disturbing-pair"')))
    assert {row.outcome for row in verdict.rows if row.pairs[1] == "78"} == {FAIL}
    assert {row.outcome for row in verdict.rows if row.pairs[1] != "78"} == {PASS}


def test_without_fext_the_disturbing_pair_cannot_be_told():
    traces = [t for t in unlike()[0] if t.parameter is not Parameter.FEXT]
    verdict = graded(traces, own(minimum("acr_f", 20.0, 'insertion_loss_of = "disturbing-pair"')))
    assert verdict.outcome is UNDECIDED
    assert verdict.rows[0].note == "cannot be graded: FEXT of 12 and 36 was not measured"


def test_whose_loss_means_something_only_for_far_end_ratios():
    with pytest.raises(DefinitionError, match="only for acr_f, ps_acr_f"):
        own(minimum("next", 20.0, 'insertion_loss_of = "disturbing-pair"'))
