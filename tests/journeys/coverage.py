"""Do the stated uncertainties tell the truth? Many simulated benches, each calibrated, measured and compared.

``python -m tests.journeys.coverage --benches 400 --seed 2026`` prints the table that DEVELOPERS.md keeps,
with ``--baluns`` that of the benches with baluns.
Every bench has its own error terms, baluns, standards that deviate from the kit, terminations that deviate
from the fixture, noise, drift and matings, all drawn from its seed; calibration, sweeps, reduction and
grading are those of every other run, over the link. The truth is the matrix of the simulated specimen itself.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from benchsweep.cabling import compute_traces
from benchsweep.limits import Decision, Requirement, grade
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.qualification import (
    calibrate,
    check_specimen,
    load_requirements,
    load_station,
    open_bench,
    qualify,
    uncertainty_model,
)
from benchsweep.records import Parameter, SMatrix, Trace, balanced_ports
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.specimen import load_specimen
from benchsweep.uncertainty import Model

__all__ = ["BALUN_SETTINGS", "SETTINGS", "Count", "Setting", "run", "table"]

_POINTS = 60
_COMPARED = 6
"""So many points of each trace are compared, other ones on every bench."""
_EVEN = np.finfo(np.float64).eps * 100.0


@dataclass(frozen=True)
class Setting:
    """One kind of bench: analyzer ports, fixture, kit, budget, and how many of a hundred benches are so."""

    name: str
    ports: int
    share: int
    bench: str = "default"
    fixture: str = "contacts"
    kit: str = "simulated-contacts"
    budget: str = "simulated"


SETTINGS = (
    Setting("16 ports", 16, 60),
    Setting("8 ports", 8, 25),
    Setting("4 ports", 4, 15),
)
BALUN_SETTINGS = (
    Setting("8 baluns", 8, 40, "baluns", "baluns", budget="simulated-baluns"),
    Setting("4 baluns", 4, 30, "baluns", "baluns", budget="simulated-baluns"),
    Setting("4 tapped", 8, 30, "baluns-tapped", "baluns-tapped", "simulated-balanced", "simulated-baluns"),
)
"""Common modes are measured behind taps only: without, there are no conversion losses to compare."""
_SPECIMENS = (("cord-2m", 2.0), ("cord-5m", 5.0), ("link-90m", 90.0))

_STATION = """\
schema = 1
name = "coverage"
[sweep]
start_mhz = 5.0
stop_mhz = 500.0
points = {points}
if_bandwidth_hz = 1000.0
[switch]
kind = "simulated"
[fixture]
name = "{fixture}"
[calibration]
kit = "{kit}"
max_age_hours = 12.0
when_missing = "calibrate"
[uncertainty]
budget = "{budget}"
"""


@dataclass
class Count:
    """What was found for one parameter."""

    points: int = 0
    covered: int = 0
    dangerous: int = 0
    """Points whose true value lies beyond the stated interval on the side where a limit would be."""
    uncertainty: list[float] = field(default_factory=list)
    rows: int = 0
    false_accepts: int = 0
    """Rows that the guard band would accept against a limit which the truth just misses."""

    def add(self, other: Count) -> None:
        """Take up what another bench found."""
        self.points += other.points
        self.covered += other.covered
        self.dangerous += other.dangerous
        self.uncertainty += other.uncertainty
        self.rows += other.rows
        self.false_accepts += other.false_accepts


def run(
    benches: int, seed: int, *, settings: Sequence[Setting] = SETTINGS, processes: int = 2
) -> dict[Parameter, Count]:
    """Run so many benches and return what was found for each parameter."""
    total: dict[Parameter, Count] = defaultdict(Count)
    with ProcessPoolExecutor(processes) as pool:
        for found in pool.map(partial(_one_bench, seed, tuple(settings)), range(benches)):
            for parameter, count in found.items():
                total[parameter].add(count)
    return {parameter: total[parameter] for parameter in Parameter if parameter in total}


def _one_bench(seed: int, settings: Sequence[Setting], number: int) -> dict[Parameter, Count]:
    rng = np.random.default_rng((seed, number))
    share = np.array([setting.share for setting in settings], dtype=np.float64)
    setting = settings[rng.choice(len(settings), p=share / share.sum())]
    specimen, length_m = _SPECIMENS[rng.integers(len(_SPECIMENS))]
    drawn = int(rng.integers(1, 2**31))
    options = BenchOptions(bench=setting.bench, specimen=specimen, ports=setting.ports, seed=drawn)
    requirement = load_requirements(["tia-6a-permanent-link"])
    with tempfile.TemporaryDirectory() as name, running_bench(options) as served:
        folder = Path(name)
        path = folder / "coverage.toml"
        path.write_text(
            _STATION.format(points=_POINTS, fixture=setting.fixture, kit=setting.kit, budget=setting.budget),
            encoding="utf-8",
        )
        with open_bench(load_station(str(path)).at_own_bench(served.address), prompt=None) as bench:
            made = calibrate(bench, folder=folder / "calibrations", progress=_quiet)
            measured = qualify(
                bench,
                check_specimen("coverage", length_m),
                requirement,
                solved=made.calibration,
                folder=folder / "archive",
                progress=_quiet,
            ).evaluation
    grid = measured.mixed.frequency_hz
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    truth = load_specimen(specimen, seed=drawn)
    order = [truth.conductors.index(label[0] + label[-1]) for label in legs]
    exact = SMatrix(grid, truth.scatter(grid)[:, order][:, :, order], legs, (50.0,) * len(legs))
    true_traces = compute_traces(to_mixed_mode(exact), length_m=length_m)
    model = uncertainty_model(measured.measurement)
    assert model is not None
    found: dict[Parameter, Count] = defaultdict(Count)
    by_key = {(trace.parameter, trace.end, trace.pairs): trace for trace in true_traces}
    pairs = [
        (trace, by_key[key])
        for trace in measured.traces
        if (key := (trace.parameter, trace.end, trace.pairs)) in by_key
    ]
    at = [np.sort(rng.choice(grid.size, _COMPARED, replace=False)) for _ in pairs]
    intervals = model.intervals([(trace, points) for (trace, _), points in zip(pairs, at, strict=True)])
    for (trace, true), points, interval in zip(pairs, at, intervals, strict=True):
        count = found[trace.parameter]
        error = trace.value[points] - true.value[points]
        above, below = error > interval.low, error < -interval.high
        count.points += points.size
        count.covered += int(np.sum(~above & ~below))
        count.dangerous += int(np.sum(below if _is_maximum(trace.parameter) else above))
        count.uncertainty.append(float(np.median(np.maximum(interval.low, interval.high))))
    margins = _margins(measured.traces, true_traces, model, requirement[0], length_m)
    for parameter, stated_margin, true_margin in margins:
        found[parameter].rows += 1
        found[parameter].false_accepts += stated_margin > true_margin + _EVEN
    return dict(found)


def _margins(
    measured: Sequence[Trace], true: Sequence[Trace], model: Model, requirement: Requirement, length_m: float
) -> Iterator[tuple[Parameter, float, float]]:
    """Give for each graded row the measured worst margin less the guard band, and the true worst margin.

    Where the first is the larger one, a limit can be found which the truth just misses and the guard band
    accepts: the worst case of a false accept.
    """
    stated = grade(
        measured,
        requirement,
        specimen="",
        length_m=length_m,
        decision=Decision("guard-band"),
        assess=model.intervals,
    )
    real = grade(true, requirement, specimen="", length_m=length_m)
    margins = {(row.parameter, row.end, row.pairs): row.worst_margin_db for row in real.rows}
    for row in stated.rows:
        margin = margins.get((row.parameter, row.end, row.pairs))
        if margin is None or row.worst_margin_db is None or row.guard_band is None:
            continue
        yield row.parameter, row.worst_margin_db - row.guard_band, margin


def _is_maximum(parameter: Parameter) -> bool:
    return parameter in (Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW)


def _quiet(_: str) -> None:
    return None


def table(found: dict[Parameter, Count], *, benches: int, seed: int) -> str:
    """Return the table in Markdown."""
    lines = [
        f"{benches} benches, seed {seed}; U is the median of the stated expanded uncertainties.",
        "",
        "| parameter | points | covered | beyond on the side of a limit | U | rows | false accepts |",
        "|---|---|---|---|---|---|---|",
    ]
    for parameter, count in found.items():
        lines.append(
            f"| {parameter} | {count.points} | {_percent(count.covered, count.points)} | "
            f"{_percent(count.dangerous, count.points)} | "
            f"{np.median(count.uncertainty):.2g} {parameter.unit} | "
            f"{count.rows} | {_percent(count.false_accepts, count.rows)} |"
        )
    return "\n".join(lines)


def _percent(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:.1f} %" if whole else "none"


def main(arguments: Iterable[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=400)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--baluns", action="store_true", help="benches with baluns instead of direct contacts"
    )
    options = parser.parse_args(None if arguments is None else list(arguments))
    settings = BALUN_SETTINGS if options.baluns else SETTINGS
    found = run(options.benches, options.seed, settings=settings, processes=options.processes)
    print(table(found, benches=options.benches, seed=options.seed))  # noqa: T201 - that is what it is for


if __name__ == "__main__":
    main()
