"""Conversion losses are graded as far as the balance of a fixture goes; budgets know baluns from contacts."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.errors import DefinitionError
from benchsweep.qualification import (
    Qualified,
    calibrate,
    check_specimen,
    grade_record,
    load_requirements,
    load_station,
    open_bench,
    qualify,
)
from benchsweep.records import Outcome, VerdictRow
from benchsweep.simulator import BenchOptions, running_bench

REQUIREMENT = """\
schema = 1
name = "conversion"
title = "Conversion loss, made up for this test"
body = "none"
edition = "none"
class = "none"
configuration = "cord"
standing = "common-practice"
[source]
document = "made up"
checked = "nothing"
note = "for a test"
[[lines]]
parameter = "tcl"
sense = "min"
standing = "common-practice"
source = "made up"
[[lines.bands]]
from_mhz = 10.0
to_mhz = 100.0
limit = {{ form = "log-line", level = {level}, slope = 0.0, reference_mhz = 100.0 }}
"""
# Twice 50 dB of balance add up to 44 dB, and 20 dB of reserve leave 24 dB (fixtures/baluns-tapped.toml).
ALLOWED_DB = 24.0


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Records of a cord behind tapped baluns, behind plain ones, and on direct contacts."""
    records = {}
    for name, ports in (("simulated-baluns-tapped", 8), ("simulated-baluns", 8), ("simulated", 8)):
        folder = tmp_path_factory.mktemp(name)
        station = load_station(name)
        sweep = station.sweep.model_copy(update={"start_mhz": 10.0, "stop_mhz": 100.0, "points": 10})
        options = BenchOptions(bench=station.simulated.bench, ports=ports, seed=4)
        with running_bench(options) as served:
            at = station.model_copy(update={"sweep": sweep}).at_own_bench(served.address)
            with open_bench(at, prompt=None) as bench:
                made = calibrate(bench, folder=folder / "calibrations", progress=lambda _: None)
                result = qualify(
                    bench,
                    check_specimen("cord", 2.0),
                    [],
                    solved=made.calibration,
                    folder=folder / "archive",
                    progress=lambda _: None,
                )
        records[name] = result.record
    return records


def graded(record: Path, folder: Path, level_db: float, **options: str) -> Qualified:
    path = folder / "conversion.toml"
    path.write_text(REQUIREMENT.format(level=level_db), encoding="utf-8")
    return grade_record(record, load_requirements([str(path)]), **options)


def tcl(result: Qualified) -> tuple[VerdictRow, ...]:
    (verdict,) = result.verdicts
    return verdict.rows


def test_a_limit_that_the_balance_beats_is_graded(measured: dict[str, Path], tmp_path: Path) -> None:
    rows = tcl(graded(measured["simulated-baluns-tapped"], tmp_path, ALLOWED_DB - 1.0))
    assert len(rows) == 8
    assert {row.outcome for row in rows} == {Outcome.PASS}


@pytest.mark.parametrize("level_db", [ALLOWED_DB + 1.0, 90.0], ids=["would pass", "would fail"])
def test_a_limit_beyond_the_balance_is_undecided_either_way(
    measured: dict[str, Path], tmp_path: Path, level_db: float
) -> None:
    result = graded(measured["simulated-baluns-tapped"], tmp_path, level_db)
    assert {row.outcome for row in tcl(result)} == {Outcome.UNDECIDED}
    assert all("balance of the fixture allows limits up to 24.0 dB" in row.note for row in tcl(result))
    assert result.verdicts[0].outcome is Outcome.UNDECIDED


def test_without_taps_the_common_mode_is_not_measured(measured: dict[str, Path], tmp_path: Path) -> None:
    rows = tcl(graded(measured["simulated-baluns"], tmp_path, 10.0))
    assert {row.outcome for row in rows} == {Outcome.UNDECIDED}
    assert all("baluns with taps" in row.note for row in rows)


def test_direct_contacts_know_no_such_bound(measured: dict[str, Path], tmp_path: Path) -> None:
    assert {row.outcome for row in tcl(graded(measured["simulated"], tmp_path, 90.0))} == {Outcome.FAIL}


@pytest.mark.parametrize(
    ("record", "budget", "words"),
    [
        ("simulated-baluns", "simulated", "no term of kind balance"),
        ("simulated-baluns-tapped", "contacts-template", "no term of kind balance"),
        ("simulated", "simulated-baluns", "for baluns, and this was measured at the contacts"),
    ],
)
def test_a_budget_for_another_kind_of_fixture_is_refused(
    measured: dict[str, Path], tmp_path: Path, record: str, budget: str, words: str
) -> None:
    with pytest.raises(DefinitionError, match=words):
        graded(measured[record], tmp_path, 10.0, budget=budget)


def test_a_verdict_names_its_budget(measured: dict[str, Path], tmp_path: Path) -> None:
    assert graded(measured["simulated"], tmp_path, 10.0).verdicts[0].budget == "simulated"
    template = graded(measured["simulated"], tmp_path, 10.0, budget="contacts-template")
    assert template.verdicts[0].budget == "contacts-template"
