"""The formula of the scheme against the state machine that switches: exactly, and by simulation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.records import Severity
from benchsweep.statistics.sampling import (
    START,
    Inspection,
    acceptance_probability,
    after_lot,
    attributes_plan,
    operating_curve,
    resumed,
    scheme_accepted,
)

NORMAL = attributes_plan(500, aql_percent=1.5)
TIGHTENED = attributes_plan(500, aql_percent=1.5, severity=Severity.TIGHTENED)
PLANS = {Severity.NORMAL: NORMAL, Severity.TIGHTENED: TIGHTENED}


def step(state: Inspection, accepted: bool) -> Inspection:
    """Pass a lot; resume at once, as the formula knows no discontinuation; forget the unused score."""
    plan = PLANS[state.severity]
    after = after_lot(state, plan=plan, nonconforming=0 if accepted else plan.reject, accepted=accepted)
    after = resumed(after) if after.discontinued else after
    return replace(after, score=0, because="")


def stationary(normal: float, tightened: float) -> float:
    """Return the long-run probability of acceptance from every state that the machine can reach."""
    first = replace(START, because="")
    states, waiting = {first: 0}, [first]
    moves: list[tuple[int, int, float, bool]] = []
    while waiting:
        state = waiting.pop()
        sure = normal if state.severity is Severity.NORMAL else tightened
        for accepted, probability in ((True, sure), (False, 1.0 - sure)):
            after = step(state, accepted)
            if after not in states:
                states[after] = len(states)
                waiting.append(after)
            moves.append((states[state], states[after], probability, accepted))
    size = len(states)
    matrix, gain = np.zeros((size, size)), np.zeros(size)
    for before, after, probability, accepted in moves:
        matrix[before, after] += probability
        gain[before] += probability if accepted else 0.0
    system = np.vstack([matrix.T - np.eye(size), np.ones(size)])
    share = np.linalg.lstsq(system, np.append(np.zeros(size), 1.0), rcond=None)[0]
    return float(share @ gain)


@pytest.mark.parametrize(
    ("normal", "tightened"), [(0.99, 0.97), (0.95, 0.85), (0.8, 0.6), (0.5, 0.3), (0.2, 0.1), (0.7, 0.7)]
)
def test_the_formula_is_the_long_run_of_the_machine(normal: float, tightened: float) -> None:
    """Stephens and Larson (1967) against the Markov chain of all states of `after_lot`."""
    formula = float(scheme_accepted(np.array(normal), np.array(tightened)))
    assert formula == pytest.approx(stationary(normal, tightened), abs=1e-9)


@pytest.mark.parametrize("percent", [2.0, 3.5])
def test_the_formula_against_simulated_lots(percent: float) -> None:
    """Units of 50 drawn from the process, counted, lot by lot: within four deviations of the simulation."""
    rng = np.random.default_rng(20_260_801)
    lots, batches = 20_000, 40
    found = rng.binomial(NORMAL.sample_size, percent / 100.0, size=lots)
    state, accepted = START, np.zeros(lots)
    for lot, count in enumerate(found):
        ok = bool(count <= PLANS[state.severity].accept)
        accepted[lot] = ok
        state = step(state, ok)
    assert NORMAL.sample_size == TIGHTENED.sample_size == 50
    curve = operating_curve(NORMAL, tightened=TIGHTENED, points=1001)
    assert curve.scheme_accepted is not None
    expected = float(np.interp(percent, curve.percent, curve.scheme_accepted))
    means = accepted.reshape(batches, -1).mean(axis=1)  # lots depend on each other, batches hardly
    spread = float(means.std(ddof=1)) / np.sqrt(batches)
    assert accepted.mean() == pytest.approx(expected, abs=4 * spread)
    assert spread < 0.01
    # And it tells the scheme from the normal plan alone, the tightened one alone.
    for plan in (NORMAL, TIGHTENED):
        alone = float(acceptance_probability(plan, np.array([percent]))[0])
        assert abs(alone - accepted.mean()) > 4 * spread


def test_the_scheme_lies_between_its_plans() -> None:
    curve = operating_curve(NORMAL, tightened=TIGHTENED)
    assert curve.scheme_accepted is not None
    harder = acceptance_probability(TIGHTENED, curve.percent)
    assert np.all(curve.scheme_accepted <= curve.accepted + 1e-12)
    assert np.all(curve.scheme_accepted >= harder - 1e-12)


def test_certain_ends() -> None:
    """All accepted stays normal; none accepted under either; none under tightened never comes back."""
    normal, tightened = np.array([1.0, 0.0, 0.5, 1.0]), np.array([1.0, 0.0, 0.0, 0.0])
    assert scheme_accepted(normal, tightened).tolist() == [1.0, 0.0, 0.0, 1.0]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (TIGHTENED, NORMAL),
        (NORMAL, NORMAL),
        (NORMAL, attributes_plan(500, aql_percent=1.0, severity=Severity.TIGHTENED)),
        (NORMAL, attributes_plan(5000, aql_percent=1.5, severity=Severity.TIGHTENED)),
    ],
)
def test_plans_that_make_no_scheme(first: object, second: object) -> None:
    with pytest.raises(UsageError, match="scheme"):
        operating_curve(first, tightened=second)  # type: ignore[arg-type]
