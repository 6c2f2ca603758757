"""A bulk run that is stopped, killed, or loses a worker goes on where it was, and the result is the same."""

from __future__ import annotations

import importlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchsweep import archive, limits
from benchsweep.errors import ArchiveUnreachable, UsageError
from benchsweep.qualification.bulk import Graded, Item, RegradeJob, chosen_items, regrade, runner_for
from benchsweep.qualification.bulk._journal import Journal, journal_folder
from benchsweep.qualification.bulk._pool import Processes
from benchsweep.qualification.bulk._runners import ThisProcess
from tests.conftest import Answer, Run
from tests.qualification.bulk.conftest import environment

COMMAND = ("archive", "regrade", "--against", "tia-6a-cord", "--json", "--quiet", "--csv", "verdicts.csv")
# Workers import this by its name: one record ends the process that reads it, always or the first time only.
DEADLY = """
import os
import signal
from pathlib import Path

def asked_to_stop(job, items):
    os.kill(os.getpid(), signal.SIGTERM)
    os.kill(os.getpid(), signal.SIGINT)
    return items

def work(job, items):
    for item in items:
        if item.source == "always" or (item.source == "once" and not Path(job).exists()):
            Path(job).touch()
            os._exit(9)
    return items

def die(job, items):
    os._exit(9)
"""


@pytest.fixture(scope="module")
def many(cords: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same files under many names: more than a moment of work."""
    root = tmp_path_factory.mktemp("many")
    for copy in range(4):
        folder = root / f"{copy}"
        folder.mkdir()
        for path in sorted(cords.glob("*.h5")):
            os.link(path, folder / path.name)
    return root


def start(root: Path, home: Path, jobs: int) -> subprocess.Popen[str]:
    home.mkdir(exist_ok=True)
    return subprocess.Popen(
        [sys.executable, "-m", "benchsweep", *COMMAND, "--archive", str(root), "--jobs", str(jobs)],
        cwd=home,
        env=environment(home),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def when_some_is_done(process: subprocess.Popen[str], home: Path) -> None:
    """Wait until a chunk stands in the journal."""
    bulk = Path(environment(home)["XDG_CACHE_HOME"]) / "benchsweep" / "bulk"
    for _ in range(20_000):
        if any(bulk.glob("*/*.jsonl")):
            return
        assert process.poll() is None, process.stderr and process.stderr.read()
        time.sleep(0.002)
    raise AssertionError("nothing was done")


@pytest.mark.parametrize(
    ("stop", "jobs", "code"),
    [(signal.SIGINT, 2, 130), (signal.SIGTERM, 2, 143), (signal.SIGKILL, 1, -signal.SIGKILL)],
)
def test_a_stopped_run_goes_on_and_comes_to_the_same(
    stop: signal.Signals,
    jobs: int,
    code: int,
    many: Path,
    run: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    home = tmp_path / "home"
    process = start(many, home, jobs)
    when_some_is_done(process, home)
    os.killpg(process.pid, stop)  # as a terminal does
    out, err = process.communicate(timeout=60)
    assert process.returncode == code
    assert out == ""
    if stop != signal.SIGKILL:
        assert err == "interrupted: what was finished is kept; the same command continues from there\n"
    assert not (home / "verdicts.csv").exists()

    goes_on = at_home(run, many, home, monkeypatch)
    assert (goes_on.code, goes_on.err) == (1, "")
    assert 16 <= goes_on.json["resumed"] < goes_on.json["records"] == 160
    uninterrupted = at_home(run, many, tmp_path / "other", monkeypatch)
    assert uninterrupted.json["resumed"] == 0
    assert uninterrupted.json["requirements"] == goes_on.json["requirements"]
    assert uninterrupted.json["outcomes"]["fail"] == 32
    assert (tmp_path / "other" / "verdicts.csv").read_bytes() == (home / "verdicts.csv").read_bytes()


def at_home(run: Run, root: Path, home: Path, monkeypatch: pytest.MonkeyPatch) -> Answer:
    """Run the command in this process as it was started in the other one."""
    home.mkdir(exist_ok=True)
    for name, value in environment(home).items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(home)
    return run(*COMMAND, "--archive", root, "--jobs", 1)


@pytest.fixture
def job() -> RegradeJob:
    return RegradeJob((limits.load_requirement("tia-6a-cord"),))


def test_what_is_finished_is_not_done_again_and_forgotten_at_the_end(cords: Path, job: RegradeJob) -> None:
    items, *_ = chosen_items(str(cords), archive.Selection())

    def stop(done: int, total: int) -> None:
        if done >= 32:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        regrade(items, job, ThisProcess(), archive_root="x", progress=stop)
    # Another job does not take it up, another requirement neither.
    other = RegradeJob((limits.load_requirement("tia-6-cord"),))
    assert regrade(items[:3], other, ThisProcess(), archive_root="x").resumed == 0
    seen: list[Item] = []

    def collect(results: Iterator[Graded], _: Journal) -> None:
        seen.extend(result.item for result in results)

    found = regrade(items, job, ThisProcess(), archive_root="x", sinks=[collect])
    assert found.resumed == 32
    assert seen == list(items)
    assert regrade(items, job, ThisProcess(), archive_root="x").resumed == 0
    assert list(journal_folder().iterdir()) == []


def test_a_torn_file_of_the_journal_counts_as_not_there(cords: Path, job: RegradeJob) -> None:
    items, *_ = chosen_items(str(cords), archive.Selection())

    def stop(done: int, total: int) -> None:
        if done >= 32:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        regrade(items, job, ThisProcess(), archive_root="x", progress=stop)
    torn = sorted(journal_folder().glob("*/*.jsonl"))[0]
    torn.write_bytes(torn.read_bytes()[:-100])
    assert regrade(items, job, ThisProcess(), archive_root="x").resumed == 16


def test_the_same_work_is_not_begun_twice_at_a_time(job: RegradeJob) -> None:
    journal = Journal({"archive": "x", "job": job.to_text()})
    with pytest.raises(UsageError, match="being done already"):
        regrade([], job, ThisProcess(), archive_root="x")
    journal.close()
    assert regrade([], job, ThisProcess(), archive_root="x").records == 0


def test_a_record_at_which_a_worker_dies_is_tried_once_more_and_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "deadly_work.py").write_text(DEADLY, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    deadly: Any = importlib.import_module("deadly_work")
    items: list[Any] = [SimpleNamespace(source=name) for name in ("a", "once", "b", "always", "c")]
    results = [
        result
        for chunk in Processes(2).run(deadly.work, str(tmp_path / "flag"), iter([[item] for item in items]))
        for result in chunk
    ]
    problems = [result for result in results if isinstance(result, Graded)]
    assert [(one.item.source, one.problem) for one in problems] == [
        ("always", "the process that read it died, and once more when tried alone")
    ]
    done = [result.source for result in results if result not in problems]
    assert sorted(done) == ["a", "b", "c", "once"]


def test_what_asks_all_processes_to_stop_does_not_end_a_worker_in_its_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the rest of an answer that a worker began never comes, and the run waits for it for ever."""
    (tmp_path / "deadly_work.py").write_text(DEADLY, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    deadly: Any = importlib.import_module("deadly_work")
    chunks: Any = iter([[SimpleNamespace(source=number)] for number in range(6)])
    results = [result for chunk in Processes(2).run(deadly.asked_to_stop, "", chunks) for result in chunk]
    assert sorted(result.source for result in results) == list(range(6))


def test_processes_that_always_die_are_no_fault_of_the_records(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "deadly_work.py").write_text(DEADLY, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    deadly: Any = importlib.import_module("deadly_work")
    chunks: Any = iter([[SimpleNamespace(source=number) for number in range(9)]])
    with pytest.raises(UsageError, match="die one after the other, the last at 2"):
        list(Processes(1).run(deadly.die, "", chunks))


def test_a_store_that_does_not_answer_stops_the_run(job: RegradeJob, monkeypatch: pytest.MonkeyPatch) -> None:
    def unreachable(_: object) -> None:
        raise ArchiveUnreachable("the drive is gone")

    monkeypatch.setattr(archive, "read_reduced", unreachable)
    with pytest.raises(ArchiveUnreachable):
        regrade([Item("x", "")], job, ThisProcess(), archive_root="x")


def test_a_cluster_without_workers_says_at_once_that_it_waits(
    cords: Path, job: RegradeJob, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed")
    from benchsweep.qualification.bulk import _cluster

    items, *_ = chosen_items(str(cords), archive.Selection())
    told: list[str] = []
    with distributed.LocalCluster(
        n_workers=0, processes=False, protocol="tcp", dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        where = cluster.scheduler_address
        words = f"the cluster at {where} has no workers: waiting 60 s for one"

        def come(line: str) -> None:
            told.append(line)
            cluster.scale(1)

        found = regrade(items[:20], job, runner_for(20, scheduler=where, progress=come), archive_root="x")
        assert (told, found.records, len(found.damaged)) == ([words], 20, 0)
        assert sum(found.outcomes["tia-6a-cord"].values()) == 20
        cluster.scale(0)
        while cluster.scheduler_info["workers"]:
            time.sleep(0.01)
        monkeypatch.setattr(_cluster, "_LOOK_S", 0.1)
        monkeypatch.setattr(_cluster, "_WITHOUT_WORKERS_S", 0.3)
        with pytest.raises(UsageError, match="has no workers"):
            regrade(items[:20], job, runner_for(20, scheduler=where, progress=told.append), archive_root="y")
    assert len(told) == 2  # once, not at every look


def test_what_was_kept_before_survives_a_stop_while_verdicts_are_kept(cords: Path, job: RegradeJob) -> None:
    """The run that goes on does not take its own verdicts, kept before the stop, for the earlier ones."""
    items, *_ = chosen_items(str(cords), archive.Selection())
    before = {"tia-6a-cord": "pass"}
    old = [replace(item, before=before) for item in items]

    def stop(results: Iterator[Graded], _: Journal) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        regrade(old, job, ThisProcess(), archive_root="x", sinks=[stop])
    kept_now = [replace(item, before={"tia-6a-cord": "fail"}) for item in items]
    found = regrade(kept_now, job, ThisProcess(), archive_root="x")
    assert (found.resumed, found.compared) == (len(items), len(items))
    changed = {(one.before, one.now) for one in found.changed}
    assert changed == {("pass", "fail"), ("pass", "undecided")}
    places = [item.source for item in items]
    told = [places.index(one.record) for one in found.changed]
    assert told == sorted(told)
