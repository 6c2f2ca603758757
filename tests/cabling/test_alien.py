"""Alien power sums against sums that are written out here, and their invariances.

Formulas: TIA-568-C.2 and ISO/IEC 11801 Amendment 1, from memory (`compute_alien`).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.cabling import (
    alien_gaps,
    alien_shares,
    compute_alien,
    compute_traces,
    enough_disturbers,
)
from benchsweep.cabling._alien_enough import further_weight
from benchsweep.records import FOUR_PAIRS, Outcome, Parameter, SMatrix, Trace, VerdictRow, balanced_ports

GRID = np.array([1e6, 100e6, 500e6])


def coupling(
    cable: int,
    loss_db: dict[tuple[str, str], float | list[float]],
    *,
    ends: str = "AB",
    grid: np.ndarray = GRID,
) -> SMatrix:
    """Return cable 0 and one disturbing cable with the given losses: (``A:12``, ``A:36``) out of, into.

    The second label is of the disturbing cable, whose number is left out. The specimen itself and the other
    direction hold a value that would spoil every sum, to show that they are not used.
    """
    ports = [
        *(port for port in balanced_ports() if port.end in ends),
        *(port for port in balanced_ports(cable=cable) if port.end in ends),
    ]
    labels = tuple(f"{port}/d" for port in ports)
    s = np.full((grid.size, len(labels), len(labels)), 0.9 + 0.0j)
    half = len(labels) // 2
    s[:, :half, half:] = 0.0
    for (out, into), loss in loss_db.items():
        s[:, labels.index(f"{out}/d"), labels.index(f"{cable}.{into}/d")] = 1j * 10.0 ** (
            -np.array(loss) / 20.0
        )
    return SMatrix(grid, s, labels, (100.0,) * len(labels))


def every_loss(seed: int, ends: str = "AB") -> dict[tuple[str, str], float]:
    rng = np.random.default_rng(seed)
    own = [str(port) for port in balanced_ports() if port.end in ends]
    return {(out, into): float(rng.uniform(50.0, 110.0)) for out in own for into in own}


def specimen(loss_db: float | dict[str, float] = 20.0, grid: np.ndarray = GRID) -> SMatrix:
    """Return cable 0 alone: only its insertion loss, of each pair."""
    labels = tuple(f"{port}/d" for port in balanced_ports())
    s = np.zeros((grid.size, 8, 8), dtype=np.complex128)
    for k, pair in enumerate(FOUR_PAIRS):
        loss = loss_db if isinstance(loss_db, float) else loss_db[pair]
        s[:, k, 4 + k] = s[:, 4 + k, k] = 10.0 ** (-loss / 20.0)
    return SMatrix(grid, s, labels, (100.0,) * 8)


def value(traces: tuple[Trace, ...], parameter: Parameter, end: str, *pairs: str) -> float:
    (found,) = [t for t in traces if (t.parameter, t.end, t.pairs) == (parameter, end, pairs)]
    assert np.array_equal(found.value, np.full(found.value.size, found.value[0]))
    return float(found.value[0])


def test_two_disturbing_cables_by_hand() -> None:
    near = {
        1: {"12": 60.0, "36": 70.0, "45": 70.0, "78": 80.0},  # 1e-6 + 1e-7 + 1e-7 + 1e-8 = 1.21e-6
        2: {"12": 80.0, "36": 80.0, "45": 80.0, "78": 80.0},  # 4 times 1e-8             = 0.04e-6
    }
    far = {
        1: {"12": 90.0, "36": 90.0, "45": 90.0, "78": 90.0},  # 4 times 1e-9
        2: {"12": 90.0, "36": 90.0, "45": 90.0, "78": 90.0},  # 4 times 1e-9, together 8e-9
    }
    couplings = [
        coupling(
            cable,
            {("A:36", f"A:{pair}"): loss for pair, loss in near[cable].items()}
            | {("A:36", f"B:{pair}"): loss for pair, loss in far[cable].items()},
        )
        for cable in (1, 2)
    ]
    traces = compute_alien(couplings, specimen({"12": 10.0, "36": 20.0, "45": 30.0, "78": 40.0}))
    # 1.25e-6 = 10^-5.90309: 59.0309 dB.
    assert value(traces, Parameter.PS_ANEXT, "A", "36") == pytest.approx(59.0309, abs=5e-5)
    # 8e-9 = 10^-8.09691: 80.9691 dB, less the 20 dB that the disturbed pair 36 loses.
    assert value(traces, Parameter.PS_AACR_F, "A", "36") == pytest.approx(60.9691, abs=5e-5)
    # Nothing else is disturbed.
    assert value(traces, Parameter.PS_ANEXT, "A", "12") == math.inf
    assert value(traces, Parameter.PS_ANEXT, "B", "36") == math.inf
    assert value(traces, Parameter.PS_AACR_F, "B", "36") == math.inf


def test_the_mean_of_an_end_is_that_of_the_decibels_of_its_four_pairs() -> None:
    # One disturbing pair each, the others silent: PS ANEXT 60, 64, 68, 72 dB, their mean 66 dB; the mean of
    # the powers would be 64.1 dB.
    near = {("B:12", "B:12"): 60.0, ("B:36", "B:36"): 64.0, ("B:45", "B:45"): 68.0, ("B:78", "B:78"): 72.0}
    far = {("B:12", "A:78"): 50.0, ("B:36", "A:78"): 60.0, ("B:45", "A:78"): 70.0, ("B:78", "A:78"): 80.0}
    traces = compute_alien([coupling(1, near | far)], specimen({"12": 1.0, "36": 2.0, "45": 3.0, "78": 4.0}))
    assert value(traces, Parameter.PS_ANEXT_AVERAGE, "B", *FOUR_PAIRS) == pytest.approx(66.0, abs=1e-9)
    # 49, 58, 67, 76: 62.5
    assert value(traces, Parameter.PS_AACR_F_AVERAGE, "B", *FOUR_PAIRS) == pytest.approx(62.5, abs=1e-9)


def test_all_parameters_come_in_their_order_at_both_ends() -> None:
    traces = compute_alien([coupling(4, every_loss(1))], specimen())
    singles = [(end, (pair,)) for end in "AB" for pair in FOUR_PAIRS]
    means = [(end, FOUR_PAIRS) for end in "AB"]
    assert [(t.parameter, t.end, t.pairs) for t in traces] == [
        *((Parameter.PS_ANEXT, *one) for one in singles),
        *((Parameter.PS_ANEXT_AVERAGE, *one) for one in means),
        *((Parameter.PS_AACR_F, *one) for one in singles),
        *((Parameter.PS_AACR_F_AVERAGE, *one) for one in means),
    ]


def test_a_pair_without_a_signal_makes_its_ratio_and_the_mean_as_bad_as_can_be() -> None:
    traces = compute_alien(
        [coupling(1, {("A:36", "B:36"): 80.0})], specimen({"12": math.inf, "36": 3.0, "45": 3.0, "78": 3.0})
    )
    assert value(traces, Parameter.PS_AACR_F, "A", "12") == -math.inf
    assert value(traces, Parameter.PS_AACR_F, "A", "78") == math.inf
    assert value(traces, Parameter.PS_AACR_F_AVERAGE, "A", *FOUR_PAIRS) == -math.inf


def test_without_couplings_there_is_no_alien_trace() -> None:
    assert compute_alien([], specimen()) == ()
    assert alien_shares([], specimen()) == ()
    assert alien_gaps([]) == ()
    assert not {t.parameter for t in compute_traces(specimen())} & {Parameter.PS_ANEXT, Parameter.PS_AACR_F}


def test_another_grid_is_refused() -> None:
    other = coupling(2, every_loss(2), grid=np.array([1e6, 99e6, 500e6]))
    with pytest.raises(ValueError, match="one frequency grid"):
        compute_alien([coupling(1, every_loss(1)), other], None)
    with pytest.raises(ValueError, match="grid of the specimen"):
        compute_alien([other], specimen())


# ---- what was not measured


def without_pair(matrix: SMatrix, *labels: str) -> SMatrix:
    keep = [k for k, label in enumerate(matrix.ports) if label.partition("/")[0] not in labels]
    return SMatrix(
        matrix.frequency_hz,
        matrix.s[:, keep][:, :, keep],
        tuple(matrix.ports[k] for k in keep),
        tuple(matrix.z0_ohm[k] for k in keep),
    )


def test_a_sum_that_lacks_one_pair_of_one_cable_is_not_told_and_the_gap_is_named() -> None:
    couplings = [coupling(1, every_loss(1)), without_pair(coupling(2, every_loss(2)), "2.A:45")]
    found = {(t.parameter, t.end) for t in compute_alien(couplings, specimen())}
    # 2.A:45 disturbs near end A and far end B.
    assert (Parameter.PS_ANEXT, "A") not in found
    assert (Parameter.PS_AACR_F, "B") not in found
    assert {(Parameter.PS_ANEXT, "B"), (Parameter.PS_AACR_F, "A")} <= found
    near, far = alien_gaps(couplings)
    assert near == (
        "PS ANEXT at end A cannot be told: 4 couplings are missing (cable 2), for example from 2.A:45 into "
        "A:12"
    )
    assert "PS AACR-F at end B" in far
    assert "from 2.A:45 into B:12" in far


def test_one_end_alone_gives_its_near_end_sum_and_no_mean_without_all_pairs() -> None:
    couplings = [coupling(k, every_loss(k, "A"), ends="A") for k in (1, 2)]
    found = {(t.parameter, t.end) for t in compute_alien(couplings, None)}
    assert found == {(Parameter.PS_ANEXT, "A"), (Parameter.PS_ANEXT_AVERAGE, "A")}
    assert alien_gaps(couplings) == (
        "PS ANEXT at end B cannot be told: no coupling was measured",
        "PS AACR-F at end A cannot be told: no coupling was measured",
        "PS AACR-F at end B cannot be told: no coupling was measured",
    )
    three = [without_pair(matrix, "A:78") for matrix in couplings]
    assert {t.parameter for t in compute_alien(three, None)} == {Parameter.PS_ANEXT}


def test_hookups_of_few_ports_add_up_and_what_two_of_them_hold_is_averaged_in_power() -> None:
    whole = coupling(1, every_loss(5))
    own, other = balanced_ports(), balanced_ports(cable=1)
    parts = [
        without_pair(whole, *(str(p) for p in (*own, *other) if p not in (a, b))) for a in own for b in other
    ]
    assert {len(part.ports) for part in parts} == {2}
    for one, two in zip(compute_alien([whole], specimen()), compute_alien(parts, specimen()), strict=True):
        assert one.value == pytest.approx(two.value, abs=1e-9)
    # 60 dB and 70 dB of the same coupling: 0.55e-6, 62.596 dB.
    twice = [coupling(1, {("A:12", "A:12"): 60.0}), coupling(1, {("A:12", "A:12"): 70.0})]
    assert value(compute_alien(twice, None), Parameter.PS_ANEXT, "A", "12") == pytest.approx(
        62.5964, abs=5e-5
    )


# ---- invariances


@given(st.permutations([1, 2, 3]), st.integers(0, 50))
def test_numbers_and_order_of_the_cables_do_not_matter(order: list[int], seed: int) -> None:
    losses = [every_loss(seed + k) for k in range(3)]
    plain = compute_alien([coupling(k + 1, loss) for k, loss in enumerate(losses)], specimen())
    moved = compute_alien([coupling(9 * k, loss) for k, loss in zip(order, losses, strict=True)], specimen())
    for one, other in zip(plain, moved, strict=True):
        assert one.value == pytest.approx(other.value, abs=1e-9)


@given(st.integers(0, 50))
def test_a_silent_cable_changes_nothing_and_any_other_only_makes_it_worse(seed: int) -> None:
    couplings = [coupling(k, every_loss(seed + k)) for k in (1, 2)]
    plain, silent, more = (
        compute_alien([*couplings, *further], specimen())
        for further in ((), (coupling(3, {}),), (coupling(3, every_loss(seed + 3)),))
    )
    for one, same, worse in zip(plain, silent, more, strict=True):
        assert np.array_equal(one.value, same.value)
        assert (worse.value < one.value).all()


@given(st.integers(0, 50))
def test_a_power_sum_is_never_better_than_its_worst_part_and_never_worse_than_all_alike(seed: int) -> None:
    couplings = [coupling(k, every_loss(seed + 10 * k)) for k in (1, 2, 3)]
    for trace in compute_alien(couplings, None):
        if trace.parameter is not Parameter.PS_ANEXT:
            continue
        port = f"{trace.end}:{trace.pairs[0]}/d"
        parts = np.array(
            [
                -20.0 * np.log10(np.abs(matrix.at(out=port, into=f"{k + 1}.{trace.end}:{pair}/d")))
                for k, matrix in enumerate(couplings)
                for pair in FOUR_PAIRS
            ]
        )
        assert (trace.value <= parts.min(axis=0)).all()
        assert (trace.value >= parts.min(axis=0) - 10.0 * np.log10(12.0) - 1e-9).all()


# ---- which of them it is


def row(
    parameter: Parameter,
    end: str,
    pairs: tuple[str, ...],
    margin: float,
    *,
    at: float = 100e6,
    **more: object,
) -> VerdictRow:
    plain = VerdictRow(
        parameter, end, pairs, margin, at, 60.0, 60.0 - margin, None, Outcome.PASS, "from-memory"
    )
    return replace(plain, **more)


def test_shares_by_hand() -> None:
    near = {
        1: {"12": 60.0, "36": 70.0, "45": 70.0, "78": 80.0},  # 1.21e-6 of 1.25e-6: 96.8 %
        2: {"12": 80.0, "36": 80.0, "45": 80.0, "78": 80.0},  # 3.2 %
    }
    couplings = [
        coupling(cable, {("A:36", f"A:{pair}"): loss for pair, loss in losses.items()})
        for cable, losses in near.items()
    ]
    found = [
        one
        for one in alien_shares(couplings, None)
        if (one.parameter, one.end, one.pair) == (Parameter.PS_ANEXT, "A", "36")
    ]
    assert [(one.cable, one.disturbing_pair) for one in found[:5]] == [
        (1, None),
        (2, None),
        (1, "12"),
        (1, "36"),
        (1, "45"),
    ]
    assert [one.share for one in found[:3]] == pytest.approx([0.968, 0.032, 0.8])
    assert sum(one.share for one in found if one.disturbing_pair) == pytest.approx(1.0)
    # What each would be alone: 1.21e-6 is 59.172 dB, 4e-8 is 73.979 dB, the pair 60 dB.
    assert [one.value for one in found[:3]] == pytest.approx([59.1721, 73.9794, 60.0], abs=5e-5)


def test_shares_stand_at_the_point_that_decides_and_over_the_band() -> None:
    one = coupling(1, {("A:12", "A:12"): [60.0, 60.0, 90.0]})
    two = coupling(2, {("A:12", "A:78"): [90.0, 60.0, 60.0]})
    rows = [row(Parameter.PS_ANEXT, "A", ("12",), 3.0, at=500e6)]
    found = {s.cable: s for s in alien_shares([one, two], None, rows) if s.disturbing_pair is None}
    assert set(found) == {1, 2}
    assert {s.frequency_hz for s in found.values()} == {500e6}
    assert found[2].share == pytest.approx(1000.0 / 1001.0)
    # 1000/1001, 1/2, 1/1001 at the three points.
    assert found[1].band_share == pytest.approx(0.5)
    # Without a verdict: where the sum is worst, 57 dB at 100 MHz.
    assert {s.frequency_hz for s in alien_shares([one, two], None) if s.pair == "12" and s.end == "A"} == {
        100e6
    }


def test_shares_of_far_end_sums_are_below_the_signal_and_a_silent_bundle_has_none() -> None:
    far = [coupling(1, {("A:12", "B:12"): 70.0}), coupling(2, {("A:12", "B:12"): 70.0})]
    shares = [s for s in alien_shares(far, specimen(20.0)) if s.parameter is Parameter.PS_AACR_F]
    first = next(s for s in shares if s.end == "A" and s.pair == "12")
    assert (first.share, first.value) == (pytest.approx(0.5), pytest.approx(50.0))
    silent = next(s for s in shares if s.end == "B" and s.pair == "12")
    assert (silent.share, silent.value, silent.band_share) == (0.0, math.inf, 0.0)


# ---- whether they are enough


def alike(cables: int, loss_db: float = 70.0) -> list[SMatrix]:
    every = {(f"A:{i}", f"A:{j}"): loss_db for i in FOUR_PAIRS for j in FOUR_PAIRS}
    return [coupling(k + 1, every) for k in range(cables)]


def test_the_lattice_sum_of_further_cables() -> None:
    # By hand: six at sqrt(3), six at 2, twelve at sqrt(7).
    assert further_weight(0) == 0.0
    assert further_weight(6) == pytest.approx(6 / 9)
    assert further_weight(12) == pytest.approx(6 / 9 + 6 / 16)
    assert further_weight(24) == pytest.approx(6 / 9 + 6 / 16 + 12 / 49)
    # A plain sum over the lattice points out to R lacks about 2 pi/(sqrt(3) / 2) / (2 R^2) = 3.63/R^2.
    reach = np.arange(-400, 401)
    squares = reach[:, None] ** 2 + reach[:, None] * reach + reach**2
    inside = squares[(squares > 1) & (squares <= 300**2)].astype(float)
    assert further_weight(None) == pytest.approx((1.0 / inside**2).sum() + 3.63 / 300**2, abs=1e-6)
    assert further_weight(None) >= further_weight(1000) > further_weight(100)


def test_six_that_disturb_alike_leave_little_to_those_behind_them() -> None:
    rows = [row(Parameter.PS_ANEXT, "A", ("12",), 1.2), row(Parameter.PS_ANEXT, "A", ("36",), 7.0)]
    found = enough_disturbers(alike(6), rows)
    assert found is not None
    # 10 log10(1 + 1.711/6)
    assert found.added_db == pytest.approx(1.09, abs=0.005)
    assert (found.enough, found.measured, found.pairs) == (True, 6, ("12",))
    assert "own criterion" in found.words
    closer = enough_disturbers(alike(6), [row(Parameter.PS_ANEXT, "A", ("12",), 1.0)])
    assert closer is not None
    assert not closer.enough
    assert "may not be enough" in closer.words
    # A bundle of seven has nothing behind its ring.
    seven = enough_disturbers(alike(6), [row(Parameter.PS_ANEXT, "A", ("12",), 0.0)], further=0)
    assert seven is not None
    assert (seven.enough, seven.added_db) == (True, 0.0)


def test_one_strong_neighbour_could_have_strong_ones_behind_it() -> None:
    couplings = [*alike(1, 60.0), *(replace_cable(matrix, 1) for matrix in alike(5, 200.0))]
    found = enough_disturbers(couplings, [row(Parameter.PS_ANEXT, "A", ("12",), 4.0)])
    assert found is not None
    assert found.added_db == pytest.approx(10.0 * math.log10(2.711), abs=0.001)
    assert not found.enough


def replace_cable(matrix: SMatrix, by: int) -> SMatrix:
    ports = tuple(
        f"{int(label.split('.')[0]) + by}.{label.split('.', 1)[1]}" if "." in label else label
        for label in matrix.ports
    )
    return SMatrix(matrix.frequency_hz, matrix.s, ports, matrix.z0_ohm)


def test_fewer_than_the_neighbours_are_not_enough_unless_all_fails_already() -> None:
    found = enough_disturbers(alike(3), [row(Parameter.PS_ANEXT, "A", ("12",), 30.0)])
    assert found is not None
    assert not found.enough
    assert "3 measured, 6 lie around" in found.words
    few = enough_disturbers(alike(3), [row(Parameter.PS_ANEXT, "A", ("12",), 30.0)], neighbours=3)
    assert few is not None
    assert few.enough
    failed = [row(Parameter.PS_ANEXT, "A", ("12",), -0.1, outcome=Outcome.FAIL)]
    fails = enough_disturbers(alike(3), failed)
    assert fails is not None
    assert (fails.enough, fails.parameter, fails.pairs) == (True, None, ())


def test_a_pass_under_a_guard_band_needs_what_is_left_beyond_the_band() -> None:
    one = row(Parameter.PS_ANEXT, "A", ("12",), 2.0, guard_band=1.5)
    found = enough_disturbers(alike(6), [one])
    assert found is not None
    assert not found.enough
    conditional = enough_disturbers(alike(6), [replace(one, outcome=Outcome.CONDITIONAL_PASS)])
    assert conditional is not None
    assert conditional.enough


def test_the_mean_of_the_pairs_gets_the_mean_of_what_each_could_get() -> None:
    found = enough_disturbers(alike(6), [row(Parameter.PS_ANEXT_AVERAGE, "A", FOUR_PAIRS, 5.0)])
    assert found is not None
    assert found.added_db == pytest.approx(1.09, abs=0.005)


def test_nothing_is_said_without_an_alien_row_that_was_decided() -> None:
    undecided = row(Parameter.PS_ANEXT, "A", ("12",), 3.0, outcome=Outcome.UNDECIDED)
    assert enough_disturbers(alike(6), [undecided]) is None
    assert enough_disturbers(alike(6), [row(Parameter.NEXT, "A", ("12", "36"), 3.0)]) is None
    assert enough_disturbers([], [row(Parameter.PS_ANEXT, "A", ("12",), 3.0)]) is None
