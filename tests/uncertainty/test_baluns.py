"""Baluns: what the simulator's balun networks do to a cord, against what the budget states of it.

The simulator builds its baluns wave by wave, with no code of the stages. Here each stands before a balanced
port and is corrected as a calibration of its ports by themselves does at best: mode by mode.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import compute_traces
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import Hookup, Parameter, SMatrix
from benchsweep.simulator.bench import balun_matrix, load_bench
from benchsweep.uncertainty import Budget, Circumstances, Model, load_budget
from tests.uncertainty.conftest import GRID, cord, modes

SEEDS = 16
LENGTH_M = 2.0
_LEGS_TO_MODES = np.array([[1.0, -1.0], [1.0, 1.0]]) / np.sqrt(2.0)


def budget_of_balance() -> Budget:
    whole = load_budget("simulated-baluns")
    return whole.model_copy(update={"term": tuple(one for one in whole.term if one.kind == "balance")})


def front(seed: int, number: int, *, tapped: bool) -> np.ndarray:
    """One balun, ports: unbalanced (and tap), d, c."""
    s = balun_matrix(load_bench("baluns-tapped" if tapped else "baluns"), seed, number, GRID)
    turn = np.eye(s.shape[1])
    turn[-2:, -2:] = _LEGS_TO_MODES
    return turn @ s @ turn.T


def seen(truth: SMatrix, seed: int, *, tapped: bool) -> SMatrix:
    """Modes as seen through one balun at each balanced port, each analyzer port corrected by itself.

    Parameters
    ----------
    truth
        Modes d and c.
    """
    kept = modes_order(truth.ports, tapped=tapped)
    n, near = len(truth.ports), len(kept)
    e00 = np.zeros((GRID.size, near, near), dtype=complex)
    e01, e10, e11 = (np.zeros((GRID.size, *shape), dtype=complex) for shape in ((near, n), (n, near), (n, n)))
    for number, port in enumerate(sorted({label.partition("/")[0] for label in truth.ports}), 1):
        s = front(seed, number, tapped=tapped)
        far = [truth.ports.index(f"{port}/{mode}") for mode in "dc"]
        here = [kept.index(k) for k in far if k in kept]
        m = len(here)
        e00[:, np.array(here)[:, None], here] = s[:, :m, :m]
        e01[:, np.array(here)[:, None], far] = s[:, :m, m:]
        e10[:, np.array(far)[:, None], here] = s[:, m:, :m]
        e11[:, np.array(far)[:, None], far] = s[:, m:, m:]
    raw = e00 + e01 @ np.linalg.solve(np.eye(n) - truth.s @ e11, truth.s) @ e10
    # What calibrations of single ports find: directivity, match and tracking of each.
    at = np.arange(near)
    way, back = (e[:, *places] for e, places in ((e01, (at, kept)), (e10, (kept, at))))
    x = (raw - e00[:, at, at][:, :, None] * np.eye(near)) / way[:, :, None] / back[:, None, :]
    match = e11[:, kept, kept][:, :, None] * np.eye(near)
    s = np.linalg.solve(np.eye(near) + x @ match, x)
    return SMatrix(
        GRID,
        s,
        tuple(truth.ports[k] for k in kept),
        tuple(100.0 if truth.ports[k][-1] == "d" else 25.0 for k in kept),
    )


def modes_order(ports: tuple[str, ...], *, tapped: bool) -> list[int]:
    return [k for k, label in enumerate(ports) if tapped or label.endswith("/d")]


@pytest.mark.parametrize("tapped", [False, True])
def test_errors_are_as_large_as_stated(tapped: bool) -> None:
    found: dict[Parameter, list[np.ndarray]] = {}
    covered: dict[Parameter, list[np.ndarray]] = {}
    budget = budget_of_balance()
    for seed in range(SEEDS):
        truth = to_mixed_mode(cord(GRID, seed=seed))
        measured = seen(truth, seed, tapped=tapped)
        model = Model(budget, measured, Circumstances())
        true = {(t.parameter, t.end, t.pairs): t.value for t in compute_traces(truth, length_m=LENGTH_M)}
        traces = compute_traces(measured, length_m=LENGTH_M)
        at = np.arange(GRID.size)
        for trace, interval in zip(traces, model.intervals([(t, at) for t in traces]), strict=True):
            error = true[trace.parameter, trace.end, trace.pairs] - trace.value
            within = (error <= interval.high) & (error >= -interval.low)
            covered.setdefault(trace.parameter, []).append(within)
            stated = model.standard_uncertainty(trace, at)
            linear = stated < 0.8
            found.setdefault(trace.parameter, []).append(error[linear] / stated[linear])
    assert {Parameter.TCL, Parameter.ELTCTL} <= found.keys() or not tapped
    for parameter, parts in covered.items():
        ratio = np.concatenate(found[parameter])
        # Without taps the conversion is assumed, and cords convert by 6 dB more or less than others.
        low, high = (0.7, 1.3) if tapped else (0.5, 1.5)
        assert ratio.size < 20 or low <= np.sqrt(np.mean(np.clip(ratio, -4, 4) ** 2)) <= high, parameter
        assert np.mean(parts) >= 0.9, parameter


def test_the_same_balun_in_two_hookups_is_wrong_in_the_same_way() -> None:
    """A pair that stays where it is gains nothing by a second hookup; one that changes its balun does."""
    behind = modes(cord(), tapped=True)
    ports = ("A:12", "A:36")
    keep = [k for k, label in enumerate(behind.ports) if label.partition("/")[0] in ports]
    small = SMatrix(
        GRID, behind.s[:, keep][:, :, keep], tuple(behind.ports[k] for k in keep), (100.0, 25.0) * 2
    )
    trace = next(
        t
        for t in compute_traces(small, length_m=LENGTH_M)
        if t.parameter is Parameter.TCL and t.pairs == ("12",)
    )

    def stated(*hookups: dict[int, str]) -> np.ndarray:
        made = tuple(Hookup(n, one) for n, one in enumerate(hookups, 1))
        model = Model(budget_of_balance(), small, Circumstances(made))
        return model.standard_uncertainty(trace, np.arange(GRID.size))

    one = {1: "A:12/d", 2: "A:12/c", 3: "A:36/d", 4: "A:36/c"}
    other = {3: "A:12/d", 4: "A:12/c", 1: "A:36/d", 2: "A:36/c"}
    assert stated(one, one) == pytest.approx(stated(one))
    # Little comes by the other balun and the crosstalk; the rest is the mean of two independent ones.
    assert stated(one, other) == pytest.approx(stated(one) / np.sqrt(2.0), rel=0.1)


def test_a_leaking_balun_is_the_floor_of_conversion_loss() -> None:
    """With nothing reflected and nothing converted, what is read as TCL is the leak alone."""
    quiet = SMatrix(GRID, np.full((GRID.size, 2, 2), 1e-9 + 0j), ("A:12/d", "A:12/c"), (100.0, 25.0))
    wave = np.array(quiet.s)
    wave[:, 1, 0] = 10.0 ** (-30.0 / 20.0)
    measured = SMatrix(GRID, wave, quiet.ports, quiet.z0_ohm)
    (trace,) = (t for t in compute_traces(measured, length_m=LENGTH_M) if t.parameter is Parameter.TCL)
    stated = Model(budget_of_balance(), measured, Circumstances()).standard_uncertainty(trace, np.array([5]))
    assert stated == pytest.approx(20.0 / np.log(10.0) * 10.0 ** (-20.0 / 20.0) / np.sqrt(2.0), rel=1e-3)
