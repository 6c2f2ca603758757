"""The simulated bench measured, corrected and reduced: does the truth lie in the stated intervals?

The simulator computes specimen, standards and raw readings with no code of the stages, and the budget
`simulated` states its spreads. Each seed is another bench with other pieces; what they share (one load
standard for all ports) makes the values of one seed go wrong together, so that few seeds scatter widely.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping

import numpy as np
import pytest

from benchsweep import acquisition, calibration
from benchsweep.cabling import compute_traces
from benchsweep.fixture import load_fixture
from benchsweep.instrument import open_analyzer
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.qualification import reduce_hookups
from benchsweep.records import Parameter, Plan, RawHookup, SMatrix, SweepSettings, balanced_ports
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.uncertainty import Circumstances, Model, load_budget
from tests.uncertainty.conftest import cord

SETTINGS = SweepSettings(5e6, 500e6, 34, 1000.0)
POINTS = np.arange(1, 34, 4)
LENGTH_M = 2.0
SEEDS, MANY_SEEDS = 6, 40


class Memory:
    """Keeps the hookups of one plan."""

    def __init__(self) -> None:
        self.kept: dict[int, RawHookup] = {}

    def finished(self) -> Mapping[int, RawHookup]:
        return self.kept

    def save(self, hookup: RawHookup) -> None:
        self.kept[hookup.hookup.number] = hookup


def measured(seed: int, ports: int) -> tuple[SMatrix, Circumstances]:
    """One cord on one bench: calibrated, measured, corrected, assembled; and the circumstances."""
    contacts = load_fixture("contacts")
    options = BenchOptions(specimen="cord-2m", ports=ports, seed=seed)
    with running_bench(options) as served, open_analyzer(served.address) as analyzer:
        used = range(1, ports + 1)
        analyzer.configure(SETTINGS, used)
        switch = acquisition.SimulatedSwitch(lambda: analyzer.link)

        def run(plan: Plan) -> tuple[RawHookup, ...]:
            return acquisition.run_plan(plan, analyzer, switch, Memory(), progress=lambda _: None)

        solved = calibration.solve(
            calibration.load_kit("simulated-contacts"),
            run(acquisition.make_calibration_plan(used)),
            identifier="bench",
            created_at="2026-01-01T00:00:00+00:00",
            idn=analyzer.identity.idn,
            settings=SETTINGS,
        )
        raw = run(acquisition.make_plan(contacts.usable_slots(ports), balanced_ports()))
    assembled = reduce_hookups(raw, solved, contacts)
    hookups = tuple(one.hookup for one in raw)
    terms = solved.standard_terms
    return assembled.matrix, Circumstances(hookups, (0.0,) * len(hookups), SETTINGS, terms)


Deviations = dict[Parameter, list[np.ndarray]]


def deviations(seed: int, ports: int) -> Deviations:
    """Error of every value over its expanded uncertainty on that side; one or less is covered."""
    matrix, circumstances = measured(seed, ports)
    model = Model(load_budget("simulated"), matrix, circumstances)
    truth = cord(matrix.frequency_hz, seed=seed)
    true = {
        (t.parameter, t.end, t.pairs): t.value
        for t in compute_traces(to_mixed_mode(truth), length_m=LENGTH_M)
    }
    traces = compute_traces(to_mixed_mode(matrix), length_m=LENGTH_M)
    found: Deviations = {}
    for trace, interval in zip(traces, model.intervals([(t, POINTS) for t in traces]), strict=True):
        error = true[trace.parameter, trace.end, trace.pairs][POINTS] - trace.value[POINTS]
        reach = np.where(error > 0.0, interval.high, interval.low)
        found.setdefault(trace.parameter, []).append(np.abs(error) / reach)
    return found


@pytest.mark.parametrize("ports", [16, 8])
@pytest.mark.timeout(1200)
def test_the_truth_lies_in_the_stated_intervals(
    ports: int, request: pytest.FixtureRequest, capsys: pytest.CaptureFixture[str]
) -> None:
    thorough = request.config.getoption("--thorough")
    total: Deviations = {}
    for seed in range(1, 1 + (MANY_SEEDS if thorough else SEEDS)):
        for parameter, parts in deviations(seed, ports).items():
            total.setdefault(parameter, []).extend(parts)
    every = {parameter: np.concatenate(parts) for parameter, parts in total.items()}
    covered = {parameter: float(np.mean(part <= 1.0)) for parameter, part in every.items()}
    if thorough:
        with capsys.disabled():
            words = ", ".join(f"{p} {100 * part:.1f} %" for p, part in covered.items())
            sys.stdout.write(f"\n{ports} ports: {words}\n")
    assert len(covered) == 13
    # 95 % are stated. Six benches leave a parameter to a handful of pieces: their load, their flexed cables.
    least = 0.93 if thorough else 0.85
    for parameter, part in covered.items():
        assert part >= least, parameter
    together = np.concatenate(list(every.values()))
    assert 0.93 <= np.mean(together <= 1.0) <= 0.985
    # Not by being generous: the rms error is about one standard uncertainty, half of the expanded one.
    assert 0.75 <= 2.0 * np.sqrt(np.mean(np.minimum(together, 3.0) ** 2)) <= 1.25
