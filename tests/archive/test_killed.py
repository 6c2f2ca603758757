"""``kill -9`` at random moments: what was told as stored is there and whole, and the index is right.

A process that has everything imported forks a child for every attempt, so that the kills fall into the work
and not into the start of Python. Twelve kills as a rule; ``pytest --thorough`` makes two hundred.
"""

from __future__ import annotations

import os
import random
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchsweep.archive import (
    Journal,
    Selection,
    check_record,
    find,
    read_grading,
    read_note,
    read_record,
    reindex,
    write_record,
)
from benchsweep.records import Outcome

pytestmark = [
    pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork there"),
    pytest.mark.timeout(1800),
]

LONGEST_S = 60.0

# Reads one line of arguments for each child: what it is to do, where, under which name. All that the work
# needs is a record, so that nothing of the tests is imported.
FORKING = r"""
import os, sys, time, traceback
from dataclasses import replace
from pathlib import Path
from benchsweep.archive import *
from benchsweep.records import (
    Comment, Correction, Outcome, Parameter, RequirementText, Specimen, Verdict, VerdictRow
)

source = read_record(Path(sys.argv[1]))
AT = "2026-03-02T08:00:00Z"
ROW = VerdictRow(Parameter.NEXT, "A", ("12", "36"), 1.5, 1e8, 45.0, 43.5, None, Outcome.PASS, "from-memory")
TEXT = RequirementText("r-1", "2026", ("schema = 1\n",))

def tell(*words):
    # One call, so that a line is there whole or not at all.
    os.write(1, (" ".join(map(str, words)) + "\n").encode())

def record(archive, name, number):
    # Ten in turn have one name and one time.
    specimen = Specimen(f"cord {number // 10}", 2.0, f"{name} {number}")
    path = write_record(replace(source, specimen=specimen), archive)
    tell("record", path.relative_to(archive), name, number)
    return path

def everything(archive, name, rounds=10**9):
    with Journal(archive / "unfinished" / name, {"job": name}) as journal:
        for number in range(1, rounds + 1):
            for raw in source.hookups:
                journal.save(raw)
                tell("hookup", name, raw.hookup.number)
            path = record(archive, name, number)
            key = content_hash(path)
            comment = write_note(Comment(key, name, AT, "from the floor"), archive)
            tell("note", comment.relative_to(archive), key)
            correction = write_note(Correction(key, name, AT, "misread", {"lot": f"lot {name}"}), archive)
            tell("note", correction.relative_to(archive), key)
            verdict = Verdict(path.name, "cord", "r-1", "simple", 2.0, Outcome.PASS, (ROW,))
            graded = write_grading(grading_of([(key, verdict)], [TEXT], made_at=AT), archive)
            tell("grading", graded.relative_to(archive), key)
            found = reindex(archive) if number % 3 == 0 else find(archive)
            tell("found", len(found), len(found.damaged))

def write(archive, name, count):
    for number in range(int(count)):
        record(archive, name, number)

def read(archive, name, until):
    # Over and over until so many are there; whatever is there can be read at any moment.
    seen = 0
    while seen < int(until):
        found = find(archive) if archive.is_dir() else ()
        assert len(found) >= seen, f"{seen} were found, now {len(found)}"
        assert not getattr(found, "damaged", ()), found.damaged
        seen = len(found)
        for one in list(found)[-3:]:
            assert one.specimen == read_reduced(one.source).specimen
            read_record(one.source)
        tell("seen", seen)
        time.sleep(0.02)

# Once here, so that whatever is imported late is there already.
everything(Path(sys.argv[2]), "warm", 3)
print("ready", flush=True)
for line in sys.stdin:
    what, log, archive, name, *more = line.rstrip("\n").split("\t")
    child = os.fork()
    if child == 0:
        os.dup2(os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND), 1)
        try:
            {"everything": everything, "write": write, "read": read}[what](Path(archive), name, *more)
        except BaseException:
            tell("error", repr(traceback.format_exc()))
            os._exit(70)
        os._exit(0)
    print(child, flush=True)
    if what == "everything":
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
    elif what == "read":  # the last of those that work at the same time
        codes = []
        while True:
            try:
                codes.append(os.waitstatus_to_exitcode(os.wait()[1]))
            except ChildProcessError:
                break
        print(max(map(abs, codes)), flush=True)
"""


class Forker:
    """The process that forks."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.process = process

    def start(self, *arguments: object) -> int:
        """Start a child; return its number."""
        assert self.process.stdin is not None
        self.process.stdin.write(("\t".join(map(str, arguments)) + "\n").encode())
        return self.line()

    def line(self, longest_s: float = LONGEST_S) -> int:
        """Return the number in the next line."""
        assert self.process.stdout is not None
        assert select.select([self.process.stdout], [], [], longest_s)[0], "it does not end"
        return int(self.process.stdout.readline())


@contextmanager
def forking(source: Path) -> Iterator[Forker]:
    command = [sys.executable, "-c", FORKING, str(source), str(source.parent / "warm")]
    # Without a buffer, in which a line would wait unseen.
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0) as process:
        assert process.stdout is not None
        while not process.stdout.readline().startswith(b"ready"):
            assert process.poll() is None, "it ends before it forks"
        try:
            yield Forker(process)
        finally:
            process.kill()


@pytest.fixture(scope="module")
def source(build: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with arrays that are written from where they are."""
    measured = build.measurement(points=17, ports=16, hookups=1, couplings=())
    slim = replace(measured, calibration=None)
    return write_record(slim, tmp_path_factory.mktemp("source"))


def stored(archive: Path) -> dict[str, set[str]]:
    """Return kind -> files of the archive of their own name."""
    names = {str(path.relative_to(archive)) for path in archive.rglob("*.h5") if path.name[0] != "."}
    kinds = {
        kind: {n for n in names if n.startswith(f"{kind}s/")} for kind in ("note", "grading", "unfinished")
    }
    kinds["unfinished"] = {name for name in names if name.startswith("unfinished/")}
    return {**kinds, "record": names.difference(*kinds.values())}


def test_nothing_that_was_told_as_stored_is_lost(
    source: Path, build: SimpleNamespace, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    wanted = 200 if request.config.getoption("thorough") else 12
    rng = random.Random(6)
    archive, log = tmp_path / "archive", tmp_path / "log.txt"
    hookups = {raw.hookup.number: raw for raw in read_record(source).hookups}
    thorough = request.config.getoption("thorough")
    # Both check every byte; the other one besides, at ten times the time, every item by itself.
    readers = {
        "record": check_record if thorough else read_record,
        "note": read_note,
        "grading": read_grading,
    }
    looked_at: dict[str, set[str]] = {kind: set() for kind in readers}
    told: dict[str, set[str]] = {kind: set() for kind in readers}
    within = 0
    with forking(source) as forker:
        for kill in range(wanted):
            name = f"k{kill}"
            log.write_text("", encoding="utf-8")
            child = forker.start("everything", log, archive, name)
            time.sleep(rng.uniform(0.0, 0.5))
            with suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            assert forker.line() == -signal.SIGKILL, log.read_text(encoding="utf-8")
            lines = [line.split() for line in log.read_text(encoding="utf-8").splitlines()]
            # It saw what it had stored itself at least, and nothing damaged.
            for place, line in enumerate(lines):
                if line[0] == "found":
                    own = sum(other[0] == "record" for other in lines[:place])
                    assert int(line[1]) >= own
                    assert line[2] == "0"
            within += 0 < len(lines)
            there = stored(archive)
            for kind, read in readers.items():
                told[kind] |= {line[1] for line in lines if line[0] == kind}
                assert told[kind] <= there[kind]
                for new in there[kind] - looked_at[kind]:
                    read(archive / new)
                looked_at[kind] = there[kind]
            with Journal(archive / "unfinished" / name, {"job": name}) as journal:
                kept = journal.finished()
                assert {int(line[2]) for line in lines if line[0] == "hookup"} <= set(kept)
                assert all(build.same(raw, hookups[number]) for number, raw in kept.items())
                journal.discard()
            if there["record"]:
                index_is_right(archive, there)
        # Told is nearly all that is there: a kill falls between a file and its line now and then.
        assert all(len(told[kind]) >= len(looked_at[kind]) - wanted for kind in told)
    left = len(list(archive.rglob(".*.partial")))
    kept = {kind: len(names) for kind, names in looked_at.items()}
    print(f"\n{wanted} kills, {within} within the work: {kept}, {left} parts left over")  # noqa: T201
    assert within >= wanted // 3
    index_is_right(archive, stored(archive), made_anew=True)


def index_is_right(archive: Path, there: dict[str, set[str]], *, made_anew: bool = False) -> None:
    found = reindex(archive) if made_anew else find(archive, Selection())
    assert found.damaged == ()
    assert {one.name for one in found} == there["record"]
    notes = [read_note(archive / name) for name in there["note"]]
    lots = {note.record: f"lot {note.by}" for note in notes if hasattr(note, "changes")}
    assert {one.content_hash: one.specimen.lot for one in found if one.corrections} == lots
    assert sum(one.comments + one.corrections for one in found) == len(notes)
    assert sum(len(one.judged) for one in found) == len(there["grading"])
    assert all(one.outcome is Outcome.PASS for record in found for one in record.judged)


def test_two_writers_and_a_reader(source: Path, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """They use the same names at the same times, and are told apart by what they store."""
    each = 500 if request.config.getoption("thorough") else 20
    archive, logs = tmp_path / "archive", [tmp_path / f"{name}.txt" for name in ("one", "two", "reader")]
    with forking(source) as forker:
        for log, name in zip(logs, ("one", "two"), strict=False):
            forker.start("write", log, archive, name, each)
        forker.start("read", logs[2], archive, "reader", 2 * each)
        code = forker.line(20 * LONGEST_S)
    said = {log.stem: log.read_text(encoding="utf-8") for log in logs}
    assert code == 0, said
    told = {
        (words[2], int(words[3])): words[1]
        for name in ("one", "two")
        for words in (line.split() for line in said[name].splitlines())
    }
    assert set(told) == {(name, number) for name in ("one", "two") for number in range(each)}
    assert len(set(told.values())) == 2 * each
    assert set(told.values()) == stored(archive)["record"]
    assert not list(archive.rglob("*.partial"))
    original = read_record(source)
    for (name, number), path in told.items():
        if number % 10 == 0:
            check_record(archive / path)
        back = read_record(archive / path)
        assert (back.specimen.identifier, back.specimen.description) == (
            f"cord {number // 10}",
            f"{name} {number}",
        )
        assert back.corrected.s.tobytes() == original.corrected.s.tobytes()
    # The reader saw the archive grow.
    counts = [int(number) for number in re.findall(r"^seen (\d+)$", said["reader"], re.MULTILINE)]
    assert counts == sorted(counts)
    assert len(set(counts)) > 2
    assert len(find(archive)) == 2 * each
