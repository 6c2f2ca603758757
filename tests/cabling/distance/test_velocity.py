"""Velocity and length from the delay: arithmetic of the definition."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import compute_traces, electrical_length, nominal_velocity
from benchsweep.cabling.distance import COMMON_VELOCITY, pair_velocities
from benchsweep.errors import UsageError
from benchsweep.records import FOUR_PAIRS
from tests.cabling.distance.lines import LIGHT, mixed, two_port

F = 8e6 * np.arange(1, 61)
DELAYS = dict(zip(FOUR_PAIRS, (5.2e-9, 5.0e-9, 5.1e-9, 4.9e-9), strict=True))


@pytest.fixture(scope="module")
def cord():
    return mixed(F, {p: two_port(F, [(3.0, 100.0)], loss=0.0, tau=tau) for p, tau in DELAYS.items()})


def test_velocity_is_length_over_delay(cord):
    wanted = {pair: 1.0 / (tau * LIGHT) for pair, tau in DELAYS.items()}
    assert dict(nominal_velocity(cord, 3.0)) == pytest.approx(wanted, rel=1e-9)
    assert dict(nominal_velocity(compute_traces(cord), 3.0)) == pytest.approx(wanted, rel=1e-9)


def test_loss_makes_low_frequencies_slow_and_the_top_counts():
    """1.66 sqrt(f) dB per 100 m lags by as much phase as it loses: 1.4 ns at 500 MHz, 30 at 1 MHz."""
    f = 1e6 * np.arange(1, 501)
    found = nominal_velocity(mixed(f, {"12": two_port(f, [(10.0, 100.0)])}), 10.0)
    lag = 1.66 * np.sqrt(500) / 868.589 / (2 * np.pi * 500e6)
    assert found["12"] == pytest.approx(1.0 / ((5.0e-9 + lag) * LIGHT), rel=2e-4)


def test_the_pair_with_the_shortest_delay_tells_the_length(cord):
    assert electrical_length(cord, 0.68) == pytest.approx(0.68 * LIGHT * 3.0 * 4.9e-9, rel=1e-9)
    assert electrical_length(compute_traces(cord)) == pytest.approx(
        COMMON_VELOCITY * LIGHT * 3.0 * 4.9e-9, rel=1e-9
    )
    assert electrical_length((), 0.68) is None


def test_a_length_that_cannot_be_right_makes_no_velocity(cord):
    for wrong in (1.0, 6.0):
        assert dict(nominal_velocity(cord, wrong)) == dict.fromkeys(FOUR_PAIRS, COMMON_VELOCITY)
        assert {v.standing for v in pair_velocities(cord, wrong, None).values()} == {"common-practice"}


def test_a_pair_without_a_delay_takes_the_mean_of_the_others(cord):
    dead = np.zeros((F.size, 2, 2), dtype=complex)
    dead[:, 0, 0] = dead[:, 1, 1] = 1.0
    line = {p: two_port(F, [(3.0, 100.0)], loss=0.0, tau=tau) for p, tau in DELAYS.items()}
    found = pair_velocities(mixed(F, line | {"45": dead}), 3.0, None)
    others = [1.0 / (DELAYS[p] * LIGHT) for p in ("12", "36", "78")]
    assert found["45"].fraction == pytest.approx(np.mean(others), rel=1e-9)
    assert found["45"].standing == "measured"


def test_one_pair_of_a_strange_delay_does_not_spoil_the_others(cord):
    line = {p: two_port(F, [(3.0, 100.0)], loss=0.0, tau=tau) for p, tau in DELAYS.items()}
    strange = mixed(F, line | {"36": two_port(F, [(3.0, 100.0)], loss=0.0, tau=6.9e-9)})
    found = pair_velocities(strange, 3.0, None)
    assert "36" not in nominal_velocity(strange, 3.0)
    assert found["12"].fraction == pytest.approx(1.0 / (DELAYS["12"] * LIGHT), rel=1e-9)
    assert found["36"].fraction == pytest.approx(
        np.mean([1.0 / (DELAYS[p] * LIGHT) for p in ("12", "45", "78")]), rel=1e-9
    )


@pytest.mark.parametrize("value", [0.0, -0.5, 1.2, float("nan")])
def test_a_velocity_that_is_none_is_refused(cord, value):
    with pytest.raises(UsageError, match="makes no sense"):
        pair_velocities(cord, 3.0, value)
    with pytest.raises(UsageError, match="makes no sense"):
        pair_velocities(cord, 3.0, {"12": value})
    with pytest.raises(UsageError, match="makes no sense"):
        electrical_length(cord, value)
