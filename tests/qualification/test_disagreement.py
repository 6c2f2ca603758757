"""Hookups that contradict each other: what a person who moved nothing, or the wrong thing, gets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.acquisition import Done, SimulatedSwitch
from benchsweep.fixture import Consistency, load_fixture
from benchsweep.instrument import Link
from benchsweep.qualification import (
    Qualified,
    calibrate,
    check_specimen,
    exit_code_of,
    grade_record,
    load_requirements,
    load_station,
    open_bench,
    qualify,
)
from benchsweep.records import Hookup, Outcome
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

REQUIREMENTS = load_requirements(["tia-6a-cord"])
ALLOWED_DB = load_fixture("contacts").consistency.largest_db


def quiet(_: str) -> None:
    """Take a progress line."""


class Careless(SimulatedSwitch):
    """Makes the first hookup and then leaves everything as it is, or swaps two pairs in one hookup."""

    def __init__(self, link: object, *, moves: bool, swaps_in: int = 0) -> None:
        super().__init__(link)  # type: ignore[arg-type]
        self.moves, self.swaps_in = moves, swaps_in
        self.made: Hookup | None = None

    def connect(self, hookup: Hookup, *, total: int) -> Done:
        """Do not do as told."""
        if self.made is None or self.moves:
            legs = list(hookup.connections.values())
            if hookup.number == self.swaps_in:
                legs = [*legs[2:4], *legs[:2], *legs[4:]]
            self.made = replace(hookup, connections=dict(zip(hookup.connections, legs, strict=True)))
            super().connect(self.made, total=total)
        return Done()

    def confirm(self, hookup: Hookup) -> None:
        """Nothing can be asked, as of a person."""
        del hookup


@pytest.fixture(scope="module", params=[4, 8])
def served(request: pytest.FixtureRequest) -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=request.param, seed=3)) as bench:
        yield bench


def measured(served: RunningBench, folder: Path, **careless: object) -> Qualified:
    station = load_station("simulated").at_address(served.address)
    keys = {"start_mhz": 1.0, "stop_mhz": 500.0, "points": 250, "requirements": (), "longest_m": None}
    station = station.model_copy(update={"sweep": station.sweep.model_copy(update=keys)})
    with open_bench(station, prompt=None) as bench:
        solved = calibrate(bench, folder=folder / "cal", progress=quiet).calibration
        if careless:
            link: Link = bench.analyzer.link
            bench = replace(bench, switch=Careless(lambda: link, **careless))  # type: ignore[arg-type]
        return qualify(
            bench,
            check_specimen("T118-03", 2.0),
            REQUIREMENTS,
            solved=solved,
            folder=folder / "archive",
            progress=quiet,
        )


def test_a_careful_measurement_is_trusted(served: RunningBench, tmp_path: Path) -> None:
    result = measured(served, tmp_path)
    assert result.verdicts[0].outcome is Outcome.PASS
    assert max(result.evaluation.measurement.consistency_db.values()) < ALLOWED_DB - 5.0


@pytest.mark.parametrize("careless", [{"moves": False}, {"moves": True, "swaps_in": 3}], ids=["lazy", "swap"])
def test_who_does_not_do_as_told_gets_no_verdict(
    served: RunningBench, tmp_path: Path, careless: dict[str, object]
) -> None:
    result = measured(served, tmp_path, **careless)
    (verdict,) = result.verdicts
    assert verdict.outcome is Outcome.UNDECIDED
    assert exit_code_of(result.verdicts) == 3
    assert verdict.rows
    leg, worst_db = max(result.evaluation.measurement.consistency_db.items(), key=lambda item: item[1])
    assert worst_db > ALLOWED_DB
    for part in (f"leg {leg}", f"{worst_db:.1f} dB", f"{ALLOWED_DB:g} dB", "loose", "termination", "as told"):
        assert part in verdict.notes[0]
    # The record remembers: graded again it is not trusted either, by the limit of its own fixture.
    again = grade_record(result.record, REQUIREMENTS, length_m=2.0)
    assert again.verdicts[0].outcome is Outcome.UNDECIDED
    assert again.verdicts[0].notes[0] == verdict.notes[0]


def test_the_fixture_decides(served: RunningBench, tmp_path: Path) -> None:
    result = measured(served, tmp_path)
    measurement = archive.read_record(result.record)
    text = measurement.fixture_toml.replace(f"largest_db = {ALLOWED_DB}", "largest_db = -80.0")
    assert text != measurement.fixture_toml
    strict = archive.write_record(replace(measurement, fixture_toml=text), tmp_path / "strict")
    assert grade_record(strict, REQUIREMENTS, length_m=2.0).verdicts[0].outcome is Outcome.UNDECIDED
    # A record of a fixture that said nothing of it has the default.
    silent = replace(measurement, fixture_toml="", consistency_db={"A:12.1": Consistency().largest_db + 0.1})
    path = archive.write_record(silent, tmp_path / "silent")
    assert grade_record(path, REQUIREMENTS, length_m=2.0).verdicts[0].outcome is Outcome.UNDECIDED
