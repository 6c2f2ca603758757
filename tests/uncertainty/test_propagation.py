"""Single terms against closed forms, correlations, and what averages over hookups."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchsweep.cabling import compute_traces
from benchsweep.errors import UsageError
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import Parameter, SMatrix, StandardTerm, SweepSegment, SweepSettings, Trace
from benchsweep.uncertainty import Circumstances, Model, load_budget, read_budget
from tests.uncertainty.conftest import GRID, LEGS, modes, partial_hookups, standard_terms, whole_hookup

DB = 20.0 / np.log(10.0)
HEAD = (
    'schema = 1\nname = "b"\ndescription = "d"\nsource = "s"\nstanding = "from-memory"\ncoverage_factor = 2\n'
)
RETURN, THROUGH, NEAR, FAR = 0.05, 0.8, 0.01, 0.004


def budget(kind: str, figures: str):
    return read_budget(
        f'{HEAD}[[term]]\nname = "{kind}"\nkind = "{kind}"\nsource = "s"\nstanding = "from-memory"\n{figures}'
    )


def specimen() -> SMatrix:
    """Every leg reflects alike, passes alike, and leaks alike into the positive legs of other pairs."""
    n = len(LEGS)
    s = np.zeros((GRID.size, n, n), dtype=complex)
    turn = np.exp(-2j * np.pi * GRID * 8e-9)
    for i in range(n):
        s[:, i, i] = RETURN
        s[:, i, (i + 8) % 16] = THROUGH * turn
    for i in range(0, n, 2):
        for j in range(0, n, 2):
            same_end = (i < 8) == (j < 8)
            if i % 8 != j % 8:
                s[:, i, j] = 2.0 * (NEAR if same_end else FAR * turn)
    return SMatrix(GRID, s, LEGS, (50.0,) * n)


S = specimen()
TRACES = {(t.parameter, t.end, t.pairs): t for t in compute_traces(to_mixed_mode(S), length_m=1.6)}
RL = TRACES[Parameter.RETURN_LOSS, "A", ("36",)]
IL = TRACES[Parameter.INSERTION_LOSS, "B", ("36",)]
NEXT = TRACES[Parameter.NEXT, "A", ("12", "36")]
FEXT = TRACES[Parameter.FEXT, "B", ("12", "36")]
ACR_F = TRACES[Parameter.ACR_F, "B", ("12", "36")]
ACR_N = TRACES[Parameter.ACR_N, "B", ("12", "36")]
PS_NEXT = TRACES[Parameter.PS_NEXT, "A", ("12",)]
DELAY = TRACES[Parameter.DELAY, None, ("12",)]
SKEW = TRACES[Parameter.SKEW, None, ("12", "36")]


def u(trace: Trace, kind: str, figures: str, matrix: SMatrix = S, **circumstances: object) -> np.ndarray:
    model = Model(budget(kind, figures), matrix, Circumstances(**circumstances))  # type: ignore[arg-type]
    return model.standard_uncertainty(trace, np.arange(GRID.size))


def test_the_specimen_is_what_the_closed_forms_take_it_for() -> None:
    values = {t.parameter: t.value[0] for t in (RL, IL, NEXT, FEXT)}
    wave = {p: 10.0 ** (-value / 20.0) for p, value in values.items()}
    assert list(wave.values()) == pytest.approx([RETURN, THROUGH, NEAR, FAR])


def test_directivity_of_two_legs_adds_to_a_reflection_only() -> None:
    # E_dd = (D1 + D2) / 2, each of unknown phase: rms a / sqrt 2, a part 1 / sqrt 2 of it along the wave.
    a = 10.0 ** (-50.0 / 20.0)
    assert u(RL, "directivity", "level_db = -50") == pytest.approx(DB * a / 2.0 / RETURN)
    for trace in (IL, NEXT, DELAY):
        assert u(trace, "directivity", "level_db = -50") == pytest.approx(0.0)


def test_source_match_of_an_insertion_loss_acts_through_the_reflection_of_its_own_leg() -> None:
    # E_ij = S_ij M_j S_jj: relative M S_jj, the mean of two legs.
    a = 10.0 ** (-40.0 / 20.0)
    assert u(IL, "source-match", "level_db = -40") == pytest.approx(DB * a * RETURN / 2.0, rel=0.02)
    # E_jj = S_jj^2 M_j on a reflection.
    assert u(RL, "source-match", "level_db = -40") == pytest.approx(DB * a * RETURN / 2.0, rel=0.02)


def test_load_match_reaches_a_reflection_through_the_far_end() -> None:
    a = 10.0 ** (-40.0 / 20.0)
    assert u(RL, "load-match", "level_db = -40") == pytest.approx(
        DB * a * THROUGH**2 / RETURN / 2.0, rel=0.02
    )


def test_a_contact_is_a_series_resistor() -> None:
    """R per wire in a matched straight wire: s21 = 100 / (100 + R) (facts of a series element)."""
    straight = replace(S, s=np.where(np.abs(np.abs(S.s) - THROUGH) < 1e-9, S.s, 0.0) / THROUGH)
    trace = next(
        t
        for t in compute_traces(to_mixed_mode(straight), length_m=1.6)
        if t.parameter is Parameter.INSERTION_LOSS
    )
    # Four contacts, two at each end; each pair's two legs share a wave: mean of two legs, sum of two ends.
    one = DB * 0.02 / 100.0
    found = u(trace, "contact", "resistance_ohm = 0.02\nat_calibration = false", straight)
    assert found == pytest.approx(one / np.sqrt(2.0) * np.sqrt(2.0))


def test_temperature_is_shared_so_differences_do_not_feel_it() -> None:
    figures = "kelvin = 1.0\ntime_constant_s = 1200.0\ngain_db_per_k = 0.01\ndelay_ps_per_k = 0.25\n"
    hours = {"hours_since_calibration": (0.5,), "hookups": whole_hookup()}
    kelvin = np.sqrt(2.0 * (1.0 - np.exp(-1800.0 / 1200.0)))
    assert u(IL, "drift-temperature", figures, **hours) == pytest.approx(0.01 * kelvin)
    assert u(RL, "drift-temperature", figures, **hours) == pytest.approx(0.01 * kelvin)
    assert u(DELAY, "drift-temperature", figures, **hours) == pytest.approx(0.5e-3 * kelvin)
    for trace in (SKEW, ACR_F, ACR_N):
        assert u(trace, "drift-temperature", figures, **hours) == pytest.approx(0.0, abs=1e-9)
    # least_h stands in where no time passes on the clock.
    still = u(IL, "drift-temperature", figures + "least_h = 0.5\n")
    assert still == pytest.approx(0.01 * kelvin)


def test_what_fext_and_insertion_loss_share_cancels_in_acr_f() -> None:
    # The receiving legs are shared, the driven ones are not: each has two legs of one way each.
    figures = "gain_db = 0.02\nat_calibration = false"
    one_leg = 0.01
    il = u(IL, "flexing", figures)
    assert il == pytest.approx(one_leg * np.sqrt(2.0 * 2.0) / 2.0)
    # FEXT here goes from positive leg to positive leg only; ACR-F keeps what is not common to both.
    acr_f = u(ACR_F, "flexing", figures)
    # Driven leg of FEXT: 1; receiving side: 1 - 1/2 and -1/2; driven side of the IL: 1/2 and 1/2.
    assert acr_f == pytest.approx(one_leg * np.sqrt(1.0 + 0.25 + 0.25 + 0.5))


def test_crosstalk_adds_in_power_sums_by_squares() -> None:
    a = 10.0 ** (-70.0 / 20.0)
    single = DB * a / np.sqrt(2.0) / NEAR
    assert u(NEXT, "crosstalk", "level_db = -70") == pytest.approx(single)
    # Three equal waves in power: each has a third of the weight, three times in squares, over each NEXT.
    assert u(PS_NEXT, "crosstalk", "level_db = -70") == pytest.approx(single / np.sqrt(3.0))


def test_noise_follows_bandwidth_power_and_averages() -> None:
    figures = "floor_dbm_in_10_hz = -120\npath_loss_db = 2.0\n"

    def noise(**settings: object) -> np.ndarray:
        given = SweepSettings(1e6, 5e8, GRID.size, 1000.0, **settings)  # type: ignore[arg-type]
        return u(NEXT, "noise", figures, settings=given)

    # -120 dBm + 20 dB for 1 kHz + 5 dB for -5 dBm + 2 dB.
    assert noise() == pytest.approx(DB * 10.0 ** (-93.0 / 20.0) / np.sqrt(2.0) / NEAR)
    assert noise(averages=4) == pytest.approx(noise() / 2.0)
    assert noise(power_dbm=5.0) == pytest.approx(noise() / np.sqrt(10.0))
    assert u(NEXT, "noise", figures) == pytest.approx(noise())
    segment = SweepSegment(200e6, 500e6, 8, 100.0)
    narrow = noise(spacing="segments", segments=(segment,))
    assert narrow[-1] == pytest.approx(noise()[-1] / np.sqrt(10.0))
    assert narrow[0] == pytest.approx(noise()[0])


def test_a_floor_may_hold_for_some_parameters_only() -> None:
    figures = 'level_db = -60\nparameters = ["next"]\n'
    assert u(NEXT, "floor", figures) == pytest.approx(DB * 1e-3 / np.sqrt(2.0) / NEAR)
    assert u(RL, "floor", figures) == pytest.approx(0.0)


def test_one_piece_for_all_ports_adds_as_a_wave_and_pieces_of_each_port_in_squares() -> None:
    one, zero = np.ones(GRID.size), np.zeros(GRID.size)

    def load(*, same_piece: bool) -> tuple[StandardTerm, ...]:
        return (
            StandardTerm(
                "load", "reflection", zero, 1e-3 * one, zero, same_piece, -one, zero, zero, zero, zero
            ),
        )

    # D1 = D2 = -x real: a real part of the reflection, along the wave. In squares: 1 / sqrt 2 of it.
    same = u(RL, "standards", "", standard_terms=load(same_piece=True))
    assert same == pytest.approx(DB * 1e-3 / RETURN)
    own = u(RL, "standards", "", standard_terms=load(same_piece=False))
    assert own == pytest.approx(DB * 1e-3 / RETURN / np.sqrt(2.0))


def test_noise_averages_over_hookups_and_directivity_of_a_port_does_not() -> None:
    hookups = {"hookups": partial_hookups()}
    # Pair 12 sits on the first slot in three hookups one after the other.
    first = TRACES[Parameter.RETURN_LOSS, "A", ("12",)]
    noise = "floor_dbm_in_10_hz = -120\n"
    assert u(first, "noise", noise, **hookups) == pytest.approx(u(first, "noise", noise) / np.sqrt(3.0))
    directivity = "level_db = -50\n"
    assert u(first, "directivity", directivity, **hookups) == pytest.approx(
        u(first, "directivity", directivity)
    )
    # Pair 36 sits once on the second slot and twice on the first: (1 + 4) / 9 in squares.
    assert u(RL, "directivity", directivity, **hookups) == pytest.approx(
        u(RL, "directivity", directivity) * np.sqrt(5.0) / 3.0
    )


def test_a_connection_that_stays_is_one_mating() -> None:
    figures = "resistance_ohm = 0.02\nat_calibration = false\n"
    hookups = {"hookups": partial_hookups()}
    first = TRACES[Parameter.RETURN_LOSS, "A", ("12",)]
    near = (first, "contact", figures)
    # One mating over three hookups; the load side is always its own far end.
    assert u(*near, **hookups) == pytest.approx(u(*near), rel=1e-6)
    # Pair 78 moves to the second slot twice and stays once: matings in 1 and in 2 of three hookups.
    last = TRACES[Parameter.RETURN_LOSS, "A", ("78",)]
    assert u(last, "contact", figures, **hookups) == pytest.approx(
        u(last, "contact", figures) * np.sqrt(5.0) / 3.0
    )


def test_a_cable_before_something_that_reflects_changes_directivity_and_match() -> None:
    """Seen through r at a line that turns by -d: r exp(-2 d) + S exp(-2 d), so that D = 2 d r, R = 2 d."""
    figures = "delay_ps = 1.0\nat_calibration = false\nmismatch_db = {0}\n"
    turn = 2.0 * np.pi * GRID * 1e-12
    plain = u(RL, "flexing", figures.format(-300))
    found = u(RL, "flexing", figures.format(-20))
    # A delay turns a reflection, which leaves its magnitude; what turns is the mismatch beside it. Two cables
    # carry half of the differential wave each.
    d = 2.0 * turn * 0.1 * np.hypot(1.0, RETURN**2) / np.sqrt(2.0)
    assert plain == pytest.approx(0.0, abs=1e-9)
    assert found == pytest.approx(DB * d / np.sqrt(2.0) / RETURN)


def test_terminations_matter_only_as_far_as_legs_were_terminated() -> None:
    figures = "level_db = -40\n"
    assert u(NEXT, "termination", figures, hookups=whole_hookup()) == pytest.approx(0.0)
    found = u(NEXT, "termination", figures, hookups=partial_hookups())
    # Pairs 45 and 78 are terminated at both ends; NEXT sees their positive legs through crosstalk twice.
    a = 10.0 ** (-40.0 / 20.0)
    near, far = 2.0 * NEAR, 2.0 * FAR
    wave = 0.5 * np.array([near * near, near * near, far * far, far * far])
    assert found == pytest.approx(DB * a / np.sqrt(2.0) * np.sqrt(np.sum(wave**2)) / NEAR)


def carried(own: float, along: float, crosstalk: float) -> tuple[float, float, float]:
    """Power of sum over k of S_ik C_kj + C_ik S_kj for RL, IL, NEXT; C the assumed conversions, in power.

    Eight balanced ports k: i and j themselves, their far ends, and the near and far ends of other pairs.
    """
    r, t, n, f = RETURN**2, THROUGH**2, NEAR**2, FAR**2
    return (
        # Back to the own port both parts are the same wave.
        4.0 * (r * own + t * along + 3.0 * (n + f) * crosstalk),
        2.0 * (r * along + t * own + 3.0 * (n + f) * crosstalk),
        2.0 * ((r + t) * crosstalk + n * own + f * along + 2.0 * (n + f) * crosstalk),
    )


def test_untapped_baluns_turn_an_assumed_conversion_into_crosstalk() -> None:
    figures = (
        "output_signal_balance_db = -40\ncommon_mode_rejection_db = -200\ncommon_mode_reflection_db = -200\n"
        "assumed_tcl_db = -30\nassumed_tctl_db = -35\nassumed_crosstalk_conversion_db = -50\n"
    )
    behind = modes(S, tapped=False)
    power = [1e-3, 10.0**-3.5, 1e-5]
    more = carried(*power)
    for trace, direct, indirect, wave in zip(
        (RL, IL, NEXT), power, more, (RETURN, THROUGH, NEAR), strict=True
    ):
        a = 10.0 ** (-40.0 / 20.0) * np.sqrt(direct + indirect)
        assert u(trace, "balance", figures, behind) == pytest.approx(DB * a / np.sqrt(2.0) / wave)
    # The fixture's own figures go first.
    better = np.full(GRID.size, 1e-3)
    own = {
        "balance": {
            f"{end}:{pair}": (better, 0.0 * better, 0.0 * better) for end in "AB" for pair in ("12", "36")
        }
    }
    assert u(NEXT, "balance", figures, behind, **own) == pytest.approx(
        DB * 1e-3 * np.sqrt((power[2] + more[2]) / 2.0) / NEAR
    )


def test_the_far_crosstalk_conversion_is_the_near_one_unless_given() -> None:
    figures = (
        "output_signal_balance_db = -40\ncommon_mode_rejection_db = -40\ncommon_mode_reflection_db = -200\n"
        "assumed_tcl_db = -300\nassumed_tctl_db = -300\nassumed_crosstalk_conversion_db = -50\n"
    )
    behind = modes(S, tapped=False)
    far = figures + "assumed_far_crosstalk_conversion_db = {0}\n"
    same = u(FEXT, "balance", figures, behind)
    assert u(FEXT, "balance", far.format(-50), behind) == pytest.approx(same)
    # At the far end it no longer matters; what is left came as NEXT of either end, along one pair.
    gone = u(FEXT, "balance", far.format(-300), behind)
    left = 2.0 * THROUGH**2 * 1e-5
    assert gone == pytest.approx(DB * 1e-2 * np.sqrt(left / 2.0) / FAR, rel=1e-2)


def test_tapped_baluns_use_the_measured_conversion() -> None:
    figures = (
        "output_signal_balance_db = -40\ncommon_mode_rejection_db = -46\ncommon_mode_reflection_db = -20\n"
        "assumed_tcl_db = 0\nassumed_tctl_db = 0\nassumed_crosstalk_conversion_db = 0\n"
    )
    behind = modes(S, tapped=True)
    # Leakage from positive to positive leg only: all four mode conversions between two pairs are NEAR, and no
    # pair converts by itself.
    osb, cmr = 10.0 ** (-40.0 / 20.0), 10.0 ** (-46.0 / 20.0)
    # What the balanced sides reflect from one mode into the other: at both ports, at the far ends of both
    # pairs, at the two other pairs (both modes convert there, as waves).
    back = 2.0 * (RETURN * NEAR) ** 2 + 2.0 * (THROUGH * FAR) ** 2 + 8.0 * (NEAR**4 + FAR**4)
    power = (osb**2 + cmr**2) * NEAR**2 + osb**2 * back
    expected = DB * np.sqrt(power / 2.0) / NEAR
    assert u(NEXT, "balance", figures, behind) == pytest.approx(expected)
    assert u(NEXT, "balance", figures) == pytest.approx(0.0)  # no baluns


def test_contributions_are_the_whole_and_the_largest_comes_first() -> None:
    text = HEAD + "".join(
        f'[[term]]\nname = "{name}"\nkind = "floor"\nsource = "of {name}"\nstanding = "common-practice"\n'
        f"level_db = {level}\n"
        for name, level in (("small", -80), ("large", -60), ("middle", -70))
    )
    model = Model(read_budget(text), S, Circumstances())
    found = model.contributions(NEXT, 3)
    assert [one.term for one in found] == ["large", "middle", "small"]
    assert [one.share for one in found] == pytest.approx([100 / 111, 10 / 111, 1 / 111])
    assert found[0].standard_uncertainty == pytest.approx(DB * 1e-3 / np.sqrt(2.0) / NEAR)
    assert found[0].source == "of large"
    whole = model.standard_uncertainty(NEXT, np.array([3]))[0]
    assert np.sqrt(sum(one.standard_uncertainty**2 for one in found)) == pytest.approx(whole)


def test_contributions_add_up_for_every_kind_of_value() -> None:
    given = Circumstances(partial_hookups(), (0.2,) * 6, None, standard_terms())
    model = Model(load_budget("simulated"), S, given)
    for trace in (RL, IL, NEXT, PS_NEXT, ACR_N, ACR_F, DELAY, SKEW):
        parts = model.contributions(trace, 4)
        whole = model.standard_uncertainty(trace, np.array([4]))[0]
        assert np.sqrt(sum(one.standard_uncertainty**2 for one in parts)) == pytest.approx(whole)
        assert sum(one.share for one in parts) == pytest.approx(1.0)


def test_intervals_come_in_the_order_of_the_requests() -> None:
    model = Model(budget("floor", "level_db = -60"), S, Circumstances())
    one, other = model.intervals([(NEXT, np.array([5])), (RL, np.array([0, 7, 11]))])
    assert one.low.shape == (1,)
    assert other.high.shape == (3,)
    u_next = 1e-3 / np.sqrt(2.0) / NEAR
    assert float(one.low[0]) == pytest.approx(DB * np.log(1.0 + 2.0 * u_next))
    assert float(one.high[0]) == pytest.approx(-DB * np.log(np.sqrt(1.0 - 2.0 * u_next**2) - 2.0 * u_next))
    assert np.all(other.high > other.low)
    assert model.intervals([]) == []


def test_a_weak_signal_leaves_no_lower_bound_of_a_difference() -> None:
    """Noise as large as the signal of a pair: its insertion loss may be infinite, so ACR minus infinite."""
    faint = replace(S, s=np.where(np.abs(np.abs(S.s) - THROUGH) < 1e-9, 1e-3 * S.s, S.s))
    traces = {(t.parameter, t.end, t.pairs): t for t in compute_traces(to_mixed_mode(faint), length_m=1.6)}
    model = Model(budget("floor", "level_db = -60"), faint, Circumstances())
    (found,) = model.intervals([(traces[Parameter.ACR_N, "A", ("12", "36")], np.array([2]))])
    assert np.isposinf(found.low[0])
    assert np.isfinite(found.high[0])


def test_traces_of_another_matrix_are_refused() -> None:
    model = Model(budget("floor", "level_db = -60"), S, Circumstances())
    short = replace(NEXT, frequency_hz=GRID[:5], value=NEXT.value[:5])
    with pytest.raises(UsageError, match="5 points"):
        model.intervals([(short, np.array([0]))])
    with pytest.raises(UsageError, match="ps_anext"):
        model.intervals([(replace(NEXT, parameter=Parameter.PS_ANEXT), np.array([0]))])
    one_pair = replace(S, s=S.s[:, :2, :2], ports=LEGS[:2], z0_ohm=(50.0, 50.0))
    half = Model(budget("floor", "level_db = -60"), one_pair, Circumstances())
    with pytest.raises(UsageError, match="the matrix has no B:36/d"):
        half.intervals([(IL, np.array([0]))])


def test_figures_on_another_grid_are_refused() -> None:
    floor = budget("floor", "level_db = -60")
    with pytest.raises(UsageError, match="standard open is known at 5 points"):
        Model(floor, S, Circumstances(standard_terms=standard_terms(GRID[:5])))
    short = np.ones(5)
    with pytest.raises(UsageError, match="the balance at A:12"):
        Model(floor, S, Circumstances(balance={"A:12": (short, short, short)}))


def test_no_signal_at_all_has_a_lower_bound_and_no_upper_one() -> None:
    silent = replace(S, s=np.where(np.abs(np.abs(S.s) - 2.0 * FAR) < 1e-9, 0.0, S.s))
    traces = {(t.parameter, t.end, t.pairs): t for t in compute_traces(to_mixed_mode(silent), length_m=1.6)}
    fext = traces[Parameter.FEXT, "B", ("12", "36")]
    assert np.all(np.isposinf(fext.value))
    (found,) = Model(budget("floor", "level_db = -60"), silent, Circumstances()).intervals(
        [(fext, np.array([1]))]
    )
    assert np.isposinf(found.high[0])
    assert np.isfinite(found.low[0])
