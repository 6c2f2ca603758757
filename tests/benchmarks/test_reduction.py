"""The reduction, raw to graded and archived, against the same chain written plainly with scikit-rf and h5py.

16 ports, 1001 points, three requirements. Both sides start from the raw matrix in memory, solved error terms
and loaded limits; both end with three worst margins for every limited trace and a file on the disc.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import skrf
from skrf.calibration.calibration import SOLT, MultiportCal

from benchsweep import acquisition, archive, calibration, limits
from benchsweep.definitions import find_definition
from benchsweep.fixture import Fixture, load_fixture
from benchsweep.qualification import evaluate, grade_evaluation, load_requirements, reduce_hookups
from benchsweep.records import (
    Calibration,
    Measurement,
    Parameter,
    RawHookup,
    Specimen,
    SweepSettings,
    balanced_ports,
)
from benchsweep.simulator import BenchOptions, running_bench

pytestmark = pytest.mark.benchmark_run

BUDGET = 0.1
UNCERTAINTY = "simulated"
RUNS = 5
REQUIREMENTS = ("tia-6a-cord", "tia-6-cord", "tia-5e-cord")
SETTINGS = SweepSettings(1e6, 500e6, 1001, 1000.0)
LENGTH_M = 2.0


Line = tuple[str, np.ndarray]


class Memory:
    def __init__(self) -> None:
        self.kept: dict[int, RawHookup] = {}

    def finished(self) -> Mapping[int, RawHookup]:
        return self.kept

    def save(self, hookup: RawHookup) -> None:
        self.kept[hookup.hookup.number] = hookup


def measured() -> tuple[tuple[RawHookup, ...], RawHookup, str]:
    """Standards and one cord, from the embedded bench."""
    from benchsweep.instrument import open_analyzer

    with running_bench(BenchOptions()) as served, open_analyzer(served.address) as analyzer:
        ports = range(1, 17)
        analyzer.configure(SETTINGS, ports)
        switch = acquisition.SimulatedSwitch(lambda: analyzer.link)
        silent: Callable[[str], None] = lambda _: None  # noqa: E731 - nothing to tell
        plan = acquisition.make_calibration_plan(ports)
        standards = acquisition.run_plan(plan, analyzer, switch, Memory(), progress=silent)
        slots = load_fixture("contacts").usable_slots(16)
        cord = acquisition.make_plan(slots, balanced_ports())
        (raw,) = acquisition.run_plan(cord, analyzer, switch, Memory(), progress=silent)
        return standards, raw, analyzer.identity.idn


def solved_by_scikit_rf(standards: tuple[RawHookup, ...]) -> MultiportCal:
    """The plain chain's calibration; its ideals matter little to how long it takes to apply."""
    grid = standards[0].sweep.frequency_hz
    by_target = {
        next(iter(raw.hookup.connections.values())): raw
        for raw in standards
        if len(raw.hookup.connections) > 2
    }
    frequency = skrf.Frequency.from_f(grid, unit="hz")

    def network(s: np.ndarray) -> skrf.Network:
        return skrf.Network(frequency=frequency, s=s, z0=50)

    pairs = {}
    for raw in standards:
        if len(raw.hookup.connections) != 2:
            continue
        other = raw.sweep.analyzer_ports[1] - 1
        seen, ideals = [], []
        for target, value in (("short", -1.0), ("open", 1.0), ("load", 0.0)):
            reading = np.zeros((grid.size, 2, 2), complex)
            for at, port in enumerate((0, other)):
                reading[:, at, at] = by_target[target].sweep.s[:, port, port]
            seen.append(network(reading))
            ideals.append(network(np.tile(value * np.eye(2, dtype=complex), (grid.size, 1, 1))))
        seen.append(network(raw.sweep.s))
        ideals.append(network(np.tile(np.array([[0, 1], [1, 0]], complex), (grid.size, 1, 1))))
        pairs[0, other] = {"method": SOLT, "measured": seen, "ideals": ideals, "n_thrus": 1}
    cal = MultiportCal(pairs)
    cal.run()
    return cal


def plain(
    cal: MultiportCal, raw: RawHookup, folder: Path, lines: list[tuple[str, np.ndarray]]
) -> list[float]:
    """The same work as a capable person writes it in an afternoon."""
    sweep = raw.sweep
    network = skrf.Network(f=sweep.frequency_hz, f_unit="hz", s=np.array(sweep.s), z0=50)
    corrected = cal.apply_cal(network)
    mixed = corrected.copy()
    mixed.se2gmm(p=8)
    loss = -20 * np.log10(np.abs(mixed.s) + 1e-300)
    margins = []
    for name, limit in lines:
        for end in (0, 4):
            for i in range(end, end + 4):
                if name == "return_loss":
                    margins.append(float(np.min(loss[:, i, i] - limit)))
                else:
                    margins += [float(np.min(loss[:, i, j] - limit)) for j in range(i + 1, end + 4)]
    with h5py.File(folder / f"{time.monotonic_ns()}.h5", "w") as file:
        file["frequency_hz"] = sweep.frequency_hz
        file["raw"] = sweep.s
        file["corrected"] = corrected.s
        file["margins"] = margins
    return margins


def ours(
    measurement: Callable[..., Measurement],
    raw: RawHookup,
    solved: Calibration,
    contacts: Fixture,
    requirements: Sequence[limits.Requirement],
    folder: Path,
) -> list[float]:
    assembled = reduce_hookups((raw,), solved, contacts)
    made = measurement(corrected=assembled.matrix, consistency_db=assembled.consistency_db)
    archive.write_record(made, folder)
    evaluation = evaluate(made)
    verdicts = [grade_evaluation(evaluation, requirement)[0] for requirement in requirements]
    return [row.worst_margin_db or 0.0 for verdict in verdicts for row in verdict.rows]


def test_reduction_against_the_plain_chain(figures: Any, tmp_path: Path) -> None:
    standards, raw, idn = measured()
    solved = calibration.solve(
        calibration.load_kit("simulated-contacts"),
        standards,
        identifier="bench",
        created_at="2026-01-01T00:00:00+00:00",
        idn=idn,
        settings=SETTINGS,
    )
    cal = solved_by_scikit_rf(standards)
    contacts = load_fixture("contacts")
    requirements = load_requirements(REQUIREMENTS)
    lines: list[Line] = []
    for requirement in requirements:
        for parameter in (Parameter.RETURN_LOSS, Parameter.NEXT):
            grid = raw.sweep.frequency_hz
            curve = limits.limit_curve(requirement, parameter, grid, length_m=LENGTH_M)
            assert curve is not None
            lines.append((str(parameter), np.where(np.isfinite(curve.value), curve.value, -np.inf)))

    # As in a real run, our side also states the uncertainty of every row; the plain chain does not.
    budget_text = find_definition("budgets", UNCERTAINTY).read_text("utf-8")

    def measurement(**derived: object) -> Measurement:
        return Measurement(
            specimen=Specimen("cord", LENGTH_M),
            created_at="2026-01-01T00:00:00+00:00",
            origin="bench",
            station="simulated",
            operator="",
            hookups=(raw,),
            calibration=solved,
            settings=SETTINGS,
            budget_toml=budget_text,
            **derived,  # type: ignore[arg-type]
        )

    sizes = set()

    def mine() -> None:
        sizes.add(len(ours(measurement, raw, solved, contacts, requirements, tmp_path)))

    def theirs() -> None:
        sizes.add(len(plain(cal, raw, tmp_path, lines)))

    timing = figures.in_turn(mine, theirs, rounds=RUNS)
    assert sizes == {60}
    figures.keep(
        "reduce, grade against 3 requirements, archive; 16 ports x 1001 points",
        timing.ratio,
        BUDGET,
        ours=f"{timing.ours_s * 1e3:.0f} ms",
        plain=f"{timing.plain_s * 1e3:.0f} ms",
    )
