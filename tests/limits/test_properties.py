"""What must hold of every shipped limit line, on a dense grid; variants included."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.limits import LimitLine, Requirement, limit_curve, list_requirements
from benchsweep.records import Parameter

LENGTHS_M = (0.5, 2.0, 100.0)
# A power sum and the parameter that it sums.
SUMS = {
    Parameter.PS_NEXT: Parameter.NEXT,
    Parameter.PS_ACR_N: Parameter.ACR_N,
    Parameter.PS_ACR_F: Parameter.ACR_F,
}


@pytest.fixture(scope="module")
def shipped() -> tuple[Requirement, ...]:
    found = list_requirements()
    assert len(found) > 40
    return found


def grid_of(line: LimitLine) -> np.ndarray:
    return np.geomspace(line.from_mhz, line.to_mhz, 120) * 1e6


def values(requirement, line, grid, length_m):
    curve = limit_curve(requirement, line.parameter, grid, length_m=length_m)
    assert curve is not None
    return curve.value


def test_limits_are_finite_and_held_between_floor_and_cap(shipped):
    for requirement in shipped:
        for line in requirement.lines:
            for length_m in LENGTHS_M if line.needs_length else (None,):
                value = values(requirement, line, grid_of(line), length_m)
                assert np.isfinite(value).all(), (requirement.name, line.parameter)
                assert line.cap is None or value.max() <= line.cap
                assert line.floor is None or value.min() >= line.floor


def test_a_line_jumps_nowhere_without_a_reason(shipped):
    """Just below and just above every frequency where bands meet; limits are grades of one cable."""
    for requirement in shipped:
        for line in requirement.lines:
            for lower, upper in zip(line.bands, line.bands[1:], strict=False):
                if upper.from_mhz > lower.to_mhz or upper.step is not None:
                    continue
                grid = np.array([lower.to_mhz, lower.to_mhz * (1.0 + 1e-6)]) * 1e6
                for length_m in LENGTHS_M if line.needs_length else (None,):
                    below, above = values(requirement, line, grid, length_m)
                    assert abs(above - below) < 0.1, (requirement.name, line.parameter, lower.to_mhz)


def test_power_sums_are_never_better_than_the_worst_contributor(shipped):
    """The power of three disturbers is at least that of the worst, so the limit must not ask for more.

    Nor is it more than 10 lg 3 = 4.77 dB below it: that is three equal disturbers.
    """
    seen = 0
    for requirement in shipped:
        for line in requirement.lines:
            single = requirement.line_of(SUMS[line.parameter]) if line.parameter in SUMS else None
            if single is None:
                continue
            seen += 1
            grid = grid_of(line)
            for length_m in LENGTHS_M if requirement.needs_length else (None,):
                step = values(requirement, single, grid, length_m) - values(requirement, line, grid, length_m)
                step = step[np.isfinite(step)]
                assert (step >= 0.0).all(), (requirement.name, line.parameter)
                assert (step <= 10.0 * np.log10(3.0) + 0.1).all(), (requirement.name, line.parameter)
    assert seen > 40


def test_no_rule_for_low_insertion_loss_exempts_cords_or_parts(shipped):
    """Every cord loses less than 3 dB: the rule would exempt all of it. It is one of channels and links."""
    for requirement in shipped:
        exempt = any(line.exempt_where is not None for line in requirement.lines)
        if requirement.line_of(Parameter.RETURN_LOSS) is not None and requirement.body != "IEEE":
            assert exempt is (requirement.configuration in ("channel", "permanent-link")), requirement.name


def test_losses_have_a_maximum_and_all_else_a_minimum(shipped):
    at_most = {Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW}
    for requirement in shipped:
        for line in requirement.lines:
            assert (line.sense == "max") is (line.parameter in at_most), (requirement.name, line.parameter)


def test_no_limit_of_loss_falls_and_none_of_delay_rises_with_frequency(shipped):
    for requirement in shipped:
        for line in requirement.lines:
            rises = np.diff(values(requirement, line, grid_of(line), 10.0 if line.needs_length else None))
            if line.parameter is Parameter.INSERTION_LOSS:
                low = grid_of(line)[1:] < 2.5e6  # terms in 1/sqrt(f) and 1/f rule there
                assert (rises[~low] >= -1e-12).all(), requirement.name
            if line.parameter is Parameter.DELAY:
                assert (rises <= 1e-12).all(), requirement.name


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_one_value_is_that_of_the_curve_wherever_it_is_asked(shipped, data):
    requirement = data.draw(st.sampled_from(shipped))
    line = data.draw(st.sampled_from(requirement.lines))
    at = data.draw(st.floats(line.from_mhz, line.to_mhz)) * 1e6
    length_m = data.draw(st.floats(0.1, 100.0))
    alone = values(requirement, line, np.array([at]), length_m)
    among = values(requirement, line, np.array([0.5 * at, at, 2.0 * at]), length_m)
    assert alone[0] == among[1] or (np.isnan(alone[0]) and np.isnan(among[1]))
