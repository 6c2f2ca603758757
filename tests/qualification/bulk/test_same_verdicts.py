"""Whoever does the work, the verdicts are those of `grade`, to the last bit and in the same order."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from benchsweep import archive, limits
from benchsweep.qualification import evaluate, grade_record
from benchsweep.qualification._reduction import judge_evaluation
from benchsweep.qualification.bulk import (
    Graded,
    Item,
    RegradeJob,
    Runner,
    chosen_items,
    regrade,
    runner_for,
)
from benchsweep.qualification.bulk._cluster import Cluster
from benchsweep.qualification.bulk._plain import from_plain, to_plain
from benchsweep.qualification.bulk._pool import Processes
from benchsweep.qualification.bulk._runners import ThisProcess
from benchsweep.records import Verdict

RULE = "four-way 0.83"


@pytest.fixture
def job(own_requirement: Path) -> RegradeJob:
    requirements = [limits.load_requirement(name) for name in ("tia-6a-cord", str(own_requirement))]
    return RegradeJob(tuple(requirements), decision_rule=RULE)


@pytest.fixture
def items(cords: Path) -> tuple[Item, ...]:
    found, damaged, _ = chosen_items(str(cords), archive.Selection())
    assert damaged == ()
    return found


def collected(
    items: Sequence[Item], job: RegradeJob, runner: Runner, **how: object
) -> tuple[list[Graded], list[Verdict]]:
    """Return the results in the order in which they are handed on, and their verdicts."""
    results: list[Graded] = []

    def keep(given: Iterator[Graded], _: object) -> None:
        results.extend(given)

    found = regrade(items, job, runner, archive_root="cords", sinks=[keep], **how)  # type: ignore[arg-type]
    assert found.records == len(items)
    assert (found.damaged, found.not_graded) == ([], [])
    return results, [verdict for result in results for verdict in from_plain(result.verdicts)]


def test_one_process_gives_the_verdicts_of_grade(
    items: tuple[Item, ...], job: RegradeJob, own_requirement: Path
) -> None:
    results, verdicts = collected(items, job, ThisProcess())
    assert [result.item for result in results] == list(items)
    expected = [
        verdict
        for item in items
        for verdict in grade_record(
            Path(item.source),
            job.requirements,
            decision_rule=RULE,
            by_pattern=[one.name for one in job.requirements],
        ).verdicts
    ]
    assert verdicts == expected
    # What makes the comparison worth something: numbers, several outcomes, a correction, a missing length.
    assert {str(verdict.outcome) for verdict in verdicts} == {"pass", "fail", "undecided"}
    assert sum(row.expanded_uncertainty is not None for verdict in verdicts for row in verdict.rows) > 1000
    assert {verdict.length_m for verdict in verdicts} == {2.0, 5.0, None}
    assert any("corrected by an engineer" in note for verdict in verdicts for note in verdict.notes)
    assert any(str(own_requirement) in note for verdict in verdicts for note in verdict.notes)


def test_several_processes_give_the_same_and_one_that_dies_is_made_good(
    items: tuple[Item, ...], job: RegradeJob
) -> None:
    import multiprocessing

    expected, _ = collected(items, job, ThisProcess())
    killed: list[int] = []

    def kill_one(done: int, total: int) -> None:
        if not killed:
            killed.append(multiprocessing.active_children()[0].pid or 0)
            os.kill(killed[0], signal.SIGKILL)

    results, _ = collected(items, job, Processes(2), progress=kill_one)
    assert results == expected
    assert killed


def test_a_cluster_gives_the_same_and_a_lost_worker_is_made_good(
    items: tuple[Item, ...], job: RegradeJob
) -> None:
    distributed = pytest.importorskip("distributed")
    expected, _ = collected(items, job, ThisProcess())
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        killed: list[int] = []

        def kill_one(done: int, total: int) -> None:
            if not killed:
                killed.append(next(iter(cluster.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        results, _ = collected(items, job, Cluster(cluster.scheduler_address), progress=kill_one)
    assert results == expected
    assert killed


@pytest.mark.parametrize("name", limits.requirement_names())
def test_traces_that_grading_does_not_look_at_change_nothing(name: str, items: tuple[Item, ...]) -> None:
    """For every requirement that is shipped: derived are only the traces that `needed_parameters` names."""
    requirement = limits.load_requirement(name)
    needed = limits.needed_parameters(requirement)
    for item, length_m in ((items[1], 2.0), (items[5], 50.0)):
        measurement = archive.read_reduced(item.source)
        one, other = (
            judge_evaluation(
                evaluate(measurement, length_m=length_m, parameters=parameters),
                requirement,
                decision_rule="guard-band",
                missing_length="undecided",
            )
            for parameters in (None, needed)
        )
        assert one == other


def test_a_job_is_read_back_as_it_was(job: RegradeJob) -> None:
    again = RegradeJob.from_text(job.to_text())
    assert again == job
    assert [one.origin_notes for one in again.requirements] == [one.origin_notes for one in job.requirements]
    assert [one.texts for one in again.requirements] == [one.texts for one in job.requirements]
    assert len(again.requirements[1].texts) == 3


def test_verdicts_are_read_back_to_the_bit(items: tuple[Item, ...], job: RegradeJob) -> None:
    verdicts = grade_record(Path(items[4].source), job.requirements, decision_rule=RULE).verdicts
    assert from_plain(to_plain(verdicts)) == verdicts


def test_a_worker_with_other_versions_is_refused(job: RegradeJob) -> None:
    from benchsweep.errors import UsageError

    text = job.to_text().replace('"numpy": "', '"numpy": "0.')
    with pytest.raises(UsageError, match=r"numpy .* \(asked for 0\."):
        RegradeJob.from_text(text)


def test_few_records_are_not_worth_a_process() -> None:
    assert isinstance(runner_for(20), ThisProcess)
    assert isinstance(runner_for(20, jobs=2), Processes)
    assert isinstance(runner_for(20, jobs=1), ThisProcess)
    if len(os.sched_getaffinity(0)) > 1:
        assert isinstance(runner_for(1000), Processes)
