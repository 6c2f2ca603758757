"""Networks whose parameters follow from circuit theory, at the level of the traces."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from benchsweep.cabling import compute_traces
from benchsweep.records import FOUR_PAIRS, Parameter, SMatrix, balanced_ports

F = np.linspace(1e6, 500e6, 500)


def pick(traces, parameter, end, *pairs):
    found = [t for t in traces if (t.parameter, t.end, t.pairs) == (parameter, end, pairs)]
    assert len(found) == 1, (parameter, end, pairs)
    return found[0].value


def one_frequency_from_admittance(y, labels, rig):
    """S of a network of shunt admittances at 50 ohm: (1 - 50 Y)(1 + 50 Y)^-1."""
    y = np.asarray(y, dtype=np.complex128)
    eye = np.eye(len(y))
    s = (eye - 50.0 * y) @ np.linalg.inv(eye + 50.0 * y)
    return rig.to_mixed(SMatrix([100e6], s[None], tuple(labels), (50.0,) * len(labels)))


def shunt_admittance(labels, elements):
    """Nodal admittance: elements (node, node or None for ground, ohm)."""
    y = np.zeros((len(labels), len(labels)))
    for first, second, ohm in elements:
        i = labels.index(first)
        y[i, i] += 1 / ohm
        if second is not None:
            k = labels.index(second)
            y[k, k] += 1 / ohm
            y[i, k] -= 1 / ohm
            y[k, i] -= 1 / ohm
    return y


def test_three_equal_next_add_to_4_771_db_less(rig):
    pairs = ("36", "45", "78")
    mixed = rig.mixed_of(F, {("A:12/d", f"A:{q}/d"): 10 ** (-40 / 20) for q in pairs})
    traces = compute_traces(mixed)
    for q in pairs:
        assert pick(traces, Parameter.NEXT, "A", "12", q) == pytest.approx(np.full(F.size, 40.0), abs=1e-12)
    assert pick(traces, Parameter.PS_NEXT, "A", "12") == pytest.approx(
        np.full(F.size, 40.0 - 10 * np.log10(3)), abs=1e-12
    )
    assert 10 * np.log10(3) == pytest.approx(4.771, abs=5e-4)
    assert np.all(pick(traces, Parameter.PS_NEXT, "B", "12") == np.inf)


def test_the_smaller_next_of_the_two_directions_counts(rig):
    mixed = rig.mixed_of(F, {("A:12/d", "A:36/d"): 10 ** (-50 / 20), ("A:36/d", "A:12/d"): 10 ** (-45 / 20)})
    assert pick(compute_traces(mixed), Parameter.NEXT, "A", "12", "36") == pytest.approx(
        np.full(F.size, 45.0)
    )


def test_acr_and_eltctl_subtract_the_loss_of_the_disturbed_pair_at_the_receiver(rig):
    db = lambda loss: 10 ** (-loss / 20)  # noqa: E731
    mixed = rig.mixed_of(
        F,
        {
            ("B:12/d", "A:12/d"): db(3.0),
            ("A:12/d", "B:12/d"): db(4.0),
            ("B:36/d", "A:36/d"): db(7.0),
            ("A:36/d", "B:36/d"): db(7.0),
            ("B:12/d", "A:36/d"): db(60.0),
            ("B:36/d", "A:12/d"): db(70.0),
            ("B:12/d", "B:36/d"): db(50.0),
            ("A:36/d", "A:12/d"): db(52.0),
            ("B:12/c", "A:12/d"): db(40.0),
            ("A:36/c", "A:36/d"): db(44.0),
        },
    )
    traces = compute_traces(mixed)
    want = [
        (Parameter.INSERTION_LOSS, "B", ("12",), 3.0),
        (Parameter.INSERTION_LOSS, "A", ("12",), 4.0),
        (Parameter.FEXT, "B", ("12", "36"), 60.0),
        (Parameter.FEXT, "B", ("36", "12"), 70.0),
        (Parameter.ACR_F, "B", ("12", "36"), 57.0),
        (Parameter.ACR_F, "B", ("36", "12"), 63.0),
        (Parameter.PS_ACR_F, "B", ("12",), 57.0),
        (Parameter.ACR_N, "B", ("12", "36"), 47.0),
        (Parameter.ACR_N, "B", ("36", "12"), 43.0),
        (Parameter.ACR_N, "A", ("12", "36"), 48.0),
        (Parameter.PS_ACR_N, "A", ("36",), 45.0),
        (Parameter.ELTCTL, "B", ("12",), 37.0),
        (Parameter.TCL, "A", ("36",), 44.0),
    ]
    for parameter, end, pairs, value in want:
        assert pick(traces, parameter, end, *pairs) == pytest.approx(np.full(F.size, value)), (parameter, end)


def test_a_lossless_delay_line_has_its_delay_everywhere_and_its_skew(rig):
    delays = np.array([5.1, 5.0, 5.05, 4.9]) * 1e-9
    traces = compute_traces(rig.to_mixed(rig.to_s(F, rig.line(F, 2.0, delay_d=delays))))
    for pair, tau in zip(FOUR_PAIRS, delays, strict=True):
        assert pick(traces, Parameter.DELAY, None, pair) == pytest.approx(
            np.full(F.size, tau * 2e9), rel=1e-10
        )
        for end in "AB":
            assert np.abs(pick(traces, Parameter.INSERTION_LOSS, end, pair)).max() < 1e-9
    assert pick(traces, Parameter.SKEW, None, "36", "78") == pytest.approx(np.full(F.size, 0.2), rel=1e-8)
    assert pick(traces, Parameter.SKEW, None, "12", "78") == pytest.approx(np.full(F.size, 0.4), rel=1e-8)


@pytest.mark.parametrize(
    ("z_ohm", "worst_db"),
    [(90.0, 19.578), (95.0, 25.806), (105.0, 26.240), (110.0, 20.443), (115.0, 17.149)],
)
def test_return_loss_of_a_lossless_line_is_worst_at_odd_quarter_waves(rig, z_ohm, worst_db):
    """|S11| there is |Z² - 100²|/(Z² + 100²) (Pozar, Microwave Engineering, quarter-wave transformer)."""
    f = np.arange(1, 10) * 12.5e6  # 4 m of 5 ns/m: the quarter wave is at 12.5 MHz
    traces = compute_traces(rig.to_mixed(rig.to_s(f, rig.line(f, 4.0, delay_d=5e-9, z_d=z_ohm))))
    value = pick(traces, Parameter.RETURN_LOSS, "A", "36")
    assert value[0::2] == pytest.approx(
        np.full(5, -20 * np.log10(abs(z_ohm**2 - 1e4) / (z_ohm**2 + 1e4))), abs=1e-9
    )
    assert value.min() == pytest.approx(worst_db, abs=5e-4)
    assert value[1::2].min() > 200.0  # half waves are invisible


@pytest.mark.parametrize("ohm", [0.2, 5.0, 50.0])
def test_a_resistor_in_each_wire(rig, ohm):
    """s21 = 100/(100 + R), s11 = R/(100 + R) for both modes, and no conversion."""
    traces = compute_traces(rig.to_mixed(rig.to_s(F, rig.series(F, {1: ohm, 2: ohm}))))
    loss, back = -20 * np.log10(100 / (100 + ohm)), -20 * np.log10(ohm / (100 + ohm))
    assert pick(traces, Parameter.INSERTION_LOSS, "B", "12") == pytest.approx(np.full(F.size, loss))
    assert pick(traces, Parameter.RETURN_LOSS, "A", "12") == pytest.approx(np.full(F.size, back))
    assert pick(traces, Parameter.TCL, "A", "12").min() > 250.0
    assert pick(traces, Parameter.ELTCTL, "B", "12").min() > 250.0


def test_a_resistor_in_one_wire_shows_in_the_balance(rig):
    """One of two series resistors: conversion s_cd = (R/(100 + R))/2 either way."""
    traces = compute_traces(rig.to_mixed(rig.to_s(F, rig.series(F, {4: 10.0}))))
    assert pick(traces, Parameter.TCL, "B", "45") == pytest.approx(
        np.full(F.size, -20 * np.log10(0.5 * 10 / 110))
    )


def test_a_balanced_20_db_pi_attenuator(rig):
    """100 ohm, 20 dB: 122.222 ohm across at both ends, 247.5 ohm in each wire."""
    labels = ["A:45.4", "A:45.5", "B:45.4", "B:45.5"]
    y = shunt_admittance(
        labels,
        [
            ("A:45.4", "A:45.5", 1100 / 9),
            ("B:45.4", "B:45.5", 1100 / 9),
            ("A:45.4", "B:45.4", 247.5),
            ("A:45.5", "B:45.5", 247.5),
        ],
    )
    traces = compute_traces(one_frequency_from_admittance(y, labels, rig))
    for end in "AB":
        assert pick(traces, Parameter.INSERTION_LOSS, end, "45") == pytest.approx([20.0], abs=1e-9)
        assert pick(traces, Parameter.RETURN_LOSS, end, "45")[0] > 250.0
        assert pick(traces, Parameter.TCL, end, "45")[0] > 250.0


@pytest.mark.parametrize(("spread", "tcl_db"), [(0.01, 46.02), (0.002, 60.00), (0.001, 66.02)])
def test_an_unbalanced_load_is_a_tcl_standard(rig, spread, tcl_db):
    """50 (1 - d) and 50 (1 + d) ohm to ground: S_cd = d/2, exactly d/2 / (1 - d²/4)."""
    labels = ["A:78.7", "A:78.8"]
    y = shunt_admittance(labels, [("A:78.7", None, 50 * (1 - spread)), ("A:78.8", None, 50 * (1 + spread))])
    traces = compute_traces(one_frequency_from_admittance(y, labels, rig))
    value = pick(traces, Parameter.TCL, "A", "78")
    assert value == pytest.approx([-20 * np.log10(spread / 2 / (1 - spread**2 / 4))], abs=1e-9)
    assert value == pytest.approx([tcl_db], abs=5e-3)


def test_a_floating_100_ohm_and_two_50_ohm_to_ground_do_not_reflect(rig):
    labels = ["B:12.1", "B:12.2"]
    for elements in ([("B:12.1", "B:12.2", 100.0)], [("B:12.1", None, 50.0), ("B:12.2", None, 50.0)]):
        mixed = one_frequency_from_admittance(shunt_admittance(labels, elements), labels, rig)
        traces = compute_traces(mixed)
        assert {t.parameter for t in traces} == {Parameter.RETURN_LOSS, Parameter.TCL}
        assert pick(traces, Parameter.RETURN_LOSS, "B", "12")[0] > 250.0


@pytest.mark.parametrize(("both_wires", "next_db"), [(False, 60.035), (True, 54.014)])
def test_a_resistor_between_loads_is_a_next_standard(rig, both_wires, next_db):
    """Four 50 ohm loads and 12.5 kohm between the positive wires: 12.5/R/(1 + 50/R); twice that with both."""
    labels = ["A:12.1", "A:12.2", "A:36.3", "A:36.6"]
    elements = [(label, None, 50.0) for label in labels] + [("A:12.1", "A:36.3", 12.5e3)]
    if both_wires:
        elements.append(("A:12.2", "A:36.6", 12.5e3))
    traces = compute_traces(one_frequency_from_admittance(shunt_admittance(labels, elements), labels, rig))
    assert pick(traces, Parameter.NEXT, "A", "12", "36") == pytest.approx([next_db], abs=5e-4)
    conversion = pick(traces, Parameter.TCL, "A", "12")[0]
    assert conversion > 250.0 if both_wires else conversion == pytest.approx(next_db, abs=5e-4)


def test_exchanging_the_wires_of_a_pair_changes_no_magnitude(rig):
    rng = np.random.default_rng(7)
    f = F[::25]
    s = rng.normal(size=(f.size, 16, 16)) + 1j * rng.normal(size=(f.size, 16, 16))
    labels = [str(leg) for port in balanced_ports() for leg in port.legs]
    swapped = labels.copy()
    i, k = labels.index("A:36.3"), labels.index("A:36.6")
    swapped[i], swapped[k] = swapped[k], swapped[i]
    before, after = (
        compute_traces(rig.to_mixed(SMatrix(f, 0.1 * s, tuple(ports), (50.0,) * 16)))
        for ports in (labels, swapped)
    )
    assert len(before) == len(after) > 130
    for one, other in zip(before, after, strict=True):
        if one.parameter.unit == "dB":
            assert other.value == pytest.approx(one.value, abs=1e-9), (one.parameter, one.end, one.pairs)


def test_a_full_matrix_gives_every_trace_in_the_agreed_order(rig):
    traces = compute_traces(rig.to_mixed(rig.to_s(F, rig.line(F, 2.0, loss=0.02))))
    counts = {p: sum(t.parameter == p for t in traces) for p in Parameter}
    assert counts == {
        Parameter.INSERTION_LOSS: 8,
        Parameter.RETURN_LOSS: 8,
        Parameter.NEXT: 12,
        Parameter.PS_NEXT: 8,
        Parameter.FEXT: 24,
        Parameter.ACR_N: 24,
        Parameter.PS_ACR_N: 8,
        Parameter.ACR_F: 24,
        Parameter.PS_ACR_F: 8,
        Parameter.TCL: 8,
        Parameter.ELTCTL: 8,
        Parameter.DELAY: 4,
        Parameter.SKEW: 6,
        Parameter.PS_ANEXT: 0,
        Parameter.PS_AACR_F: 0,
        Parameter.PS_ANEXT_AVERAGE: 0,
        Parameter.PS_AACR_F_AVERAGE: 0,
    }
    keys = [(t.parameter, t.end, t.pairs) for t in traces]
    assert len(set(keys)) == len(keys)
    nexts = [t.pairs for t in traces if t.parameter is Parameter.NEXT and t.end == "A"]
    assert nexts == [("12", "36"), ("12", "45"), ("12", "78"), ("36", "45"), ("36", "78"), ("45", "78")]


def test_missing_ports_give_no_traces_and_no_power_sum_over_too_few_pairs(rig):
    whole = rig.to_mixed(rig.to_s(F, rig.line(F, 2.0)))
    one_pair = compute_traces(rig.part_of(whole, lambda label: ":12/" in label))
    assert {t.parameter for t in one_pair} == {
        Parameter.INSERTION_LOSS,
        Parameter.RETURN_LOSS,
        Parameter.TCL,
        Parameter.ELTCTL,
        Parameter.DELAY,
    }
    one_end = compute_traces(rig.part_of(whole, lambda label: label.startswith("B")))
    assert {(t.parameter, t.end) for t in one_end} == {
        (Parameter.RETURN_LOSS, "B"),
        (Parameter.NEXT, "B"),
        (Parameter.PS_NEXT, "B"),
        (Parameter.TCL, "B"),
    }
    three = compute_traces(rig.part_of(whole, lambda label: ":78/" not in label))
    assert not {Parameter.PS_NEXT, Parameter.PS_ACR_N, Parameter.PS_ACR_F} & {t.parameter for t in three}
    assert sum(t.parameter is Parameter.ACR_F for t in three) == 12
    unbalanced = compute_traces(rig.part_of(whole, lambda label: label.endswith("/d")))
    assert not {Parameter.TCL, Parameter.ELTCTL} & {t.parameter for t in unbalanced}


def test_no_signal_is_infinite_loss_without_a_warning_and_never_nan(rig):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        traces = compute_traces(rig.mixed_of(F, {}))
    assert np.all(pick(traces, Parameter.INSERTION_LOSS, "A", "12") == np.inf)
    assert np.all(pick(traces, Parameter.NEXT, "A", "12", "36") == np.inf)
    # A pair without a signal must not look good where crosstalk is compared with the signal.
    for parameter, pairs in ((Parameter.ACR_F, ("12", "36")), (Parameter.PS_ACR_N, ("12",))):
        assert np.all(pick(traces, parameter, "A", *pairs) == -np.inf)
    assert not any(t.parameter is Parameter.DELAY for t in traces)


def test_conversion_uses_ports_by_label_not_by_place(rig):
    whole = rig.to_mixed(rig.to_s(F, rig.line(F, 2.0, z_d=[90, 95, 105, 110]), rig.series(F, {4: 5.0})))
    order = np.random.default_rng(3).permutation(16)
    shuffled = SMatrix(
        F,
        whole.s[:, order][:, :, order],
        tuple(whole.ports[i] for i in order),
        tuple(whole.z0_ohm[i] for i in order),
    )
    for one, other in zip(compute_traces(whole), compute_traces(shuffled), strict=True):
        assert (one.parameter, one.end, one.pairs) == (other.parameter, other.end, other.pairs)
        assert np.array_equal(one.value, other.value)
