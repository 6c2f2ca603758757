"""From receiver ratios to corrected data: a calibration that needs switch terms, simulated."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep.acquisition import SimulatedSwitch, make_calibration_plan, run_plan
from benchsweep.archive import Journal
from benchsweep.calibration import apply, load_kit, needed_standards, solve
from benchsweep.errors import CalibrationError
from benchsweep.instrument import open_analyzer
from benchsweep.records import Calibration, Hookup, Plan, RawHookup, SweepSettings
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import load_bench
from benchsweep.simulator.bench._standards import two_port

GRID = SweepSettings(start_hz=1e6, stop_hz=500e6, points=21, if_bandwidth_hz=1e3)
PORTS = (1, 2, 3)
# The thru is one two-port: it does not tell switch terms, so they must be measured.
KIT = load_kit("simulated-contacts")
# Pads that no calibration here has seen: reciprocal, mismatched, 3 and 6 dB.
PADS = ("reciprocal-2", "reciprocal-3")


def joins(hookup: Hookup) -> bool:
    return any(target.startswith(("thru", "reciprocal")) for target in hookup.connections.values())


def quiet(_: str) -> None:
    return None


def measure(
    folder: Path, family: str, door: str, *, measured: bool, noiseless: bool = True
) -> tuple[tuple[RawHookup, ...], tuple[RawHookup, ...], str]:
    """Return the standards and the pads, each between port 1 and every other one, and who measured them."""
    needed = needed_standards(KIT, "unknown-thru")
    standards = make_calibration_plan(PORTS, one_port=needed.one_port, two_port=needed.two_port)
    pads = [
        {1: f"{name} {other}", other: f"{name} 1"}
        for name in PADS for other in PORTS[1:]
    ]  # fmt: skip
    plan = Plan(tuple(Hookup(number, pad) for number, pad in enumerate(pads, 1)), 0)
    options = BenchOptions(family=family, ports=4, seed=21, noiseless=noiseless)
    with (
        running_bench(options) as bench,
        open_analyzer(bench.addresses[door], timeout_s=3.0) as analyzer,
    ):
        assert analyzer.measures_switch_terms
        analyzer.configure(GRID, PORTS)
        switch = SimulatedSwitch(lambda: analyzer.link)
        found = []
        for name, some, wants in (
            ("standards", standards, joins if measured else None),
            ("pads", plan, None),
        ):
            with Journal(folder / name, {"job": name}) as journal:
                done = run_plan(some, analyzer, switch, journal, progress=quiet, wants_switch_terms=wants)
                # What is solved is what the files hold.
                found.append(tuple(journal.finished()[raw.hookup.number] for raw in done))
        return found[0], found[1], analyzer.identity.idn


def solved_by(standards: tuple[RawHookup, ...], idn: str) -> Calibration:
    return solve(
        KIT, standards, method="unknown-thru", identifier="x", created_at="2026-01-01T00:00:00Z", idn=idn,
        settings=GRID,
    )  # fmt: skip


def worst(solved: Calibration, pads: tuple[RawHookup, ...]) -> float:
    """The largest vector error of the pads against what the simulated bench holds."""
    standards = load_bench("default").standards
    off = []
    for raw in pads:
        name = raw.hookup.connections[1].split()[0]
        omega = 2 * np.pi * raw.sweep.frequency_hz
        off.append(np.abs(apply(solved.terms, raw.sweep) - two_port(name, standards, omega)).max())
    assert len(off) == len(PADS) * (len(PORTS) - 1)
    return float(max(off))


@pytest.mark.parametrize(
    ("family", "door"),
    [("named-measurement", "analyzer"), ("numbered-measurement", "hislip"), ("quoted-parameter", "hislip")],
)
def test_unknown_thru_with_measured_switch_terms_recovers_unseen_pads(
    tmp_path: Path, family: str, door: str
) -> None:
    standards, pads, idn = measure(tmp_path, family, door, measured=True)
    solved = solved_by(standards, idn)
    assert worst(solved, pads) < 1e-9


def test_without_them_it_is_refused_and_with_wrong_ones_it_is_wrong(tmp_path: Path) -> None:
    """The test above can fail: the same standards with other switch terms give another result."""
    standards, pads, idn = measure(tmp_path, "named-measurement", "analyzer", measured=True)
    true = solved_by(standards, idn)
    wrong = []
    for raw in standards:
        terms = raw.sweep.switch_terms
        sweep = raw.sweep if terms is None else replace(raw.sweep, switch_terms=0.9 * terms)
        wrong.append(RawHookup(raw.hookup, sweep))
    assert worst(solved_by(tuple(wrong), idn), pads) > 1e4 * worst(true, pads)
    assert worst(solved_by(tuple(wrong), idn), pads) > 1e-4
    without, _, idn = measure(tmp_path / "without", "named-measurement", "analyzer", measured=False)
    with pytest.raises(CalibrationError, match="switch terms"):
        solved_by(without, idn)


def test_with_noise_and_drift_they_are_as_good_as_the_readings(tmp_path: Path) -> None:
    """Standards that deviate by their spread, contacts at -60 dB, noise: -40 dB, as the other chains hold.

    The pads send back up to half of a wave, which meets a moved cable twice: 5 dB more.
    """
    standards, pads, idn = measure(tmp_path, "quoted-parameter", "analyzer", measured=True, noiseless=False)
    error = worst(solved_by(standards, idn), pads)
    assert 1e-6 < error < 10.0 ** (-35.0 / 20.0)
