"""Every call of the system fails in turn: afterwards the whole file is there, or nothing of its name."""

from __future__ import annotations

import dataclasses
import errno
import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import numpy as np
import pytest

from benchsweep.archive import (
    AppendedFile,
    JobNotes,
    Journal,
    check_record,
    grading_of,
    list_calibrations,
    make_folder,
    read_calibration,
    read_grading,
    read_note,
    read_record,
    write_calibration,
    write_grading,
    write_note,
    write_record,
)
from benchsweep.archive.places import _files as files
from benchsweep.errors import ArchiveError, ArchiveLocked, ArchiveUnreachable, RecordDamaged
from benchsweep.records import (
    Comment,
    Correction,
    Outcome,
    Parameter,
    RequirementText,
    SMatrix,
    Verdict,
    VerdictRow,
)
from tests.archive.faulty_disc import Fault, FaultyDisc, contents

NUMBERS = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EACCES, errno.EROFS, errno.ESTALE)
EXPECTED: dict[int, tuple[type[ArchiveError], str]] = {
    errno.ENOSPC: (ArchiveError, "the disc is full"),
    errno.EDQUOT: (ArchiveError, "the disc is full"),
    errno.EIO: (ArchiveUnreachable, "the drive does not answer"),
    errno.ESTALE: (ArchiveUnreachable, "the drive does not answer"),
    errno.EACCES: (ArchiveLocked, "not permitted"),
    errno.EROFS: (ArchiveLocked, "not permitted"),
}
HASH = "5a" * 32
AT = "2026-03-02T08:00:00Z"


@dataclasses.dataclass(frozen=True)
class Job:
    """Something that is stored: how, and how what was stored is looked at."""

    write: Callable[[Path], Path]
    read: Callable[[Path], object]


@pytest.fixture(scope="module")
def jobs(build: SimpleNamespace) -> dict[str, Job]:
    rng = np.random.default_rng(3)
    # Large enough for an array that is written from where it is.
    s = rng.normal(size=(20, 16, 16)) + 1j * rng.normal(size=(20, 16, 16))
    ports = tuple(str(n) for n in range(16))
    matrix = SMatrix(np.linspace(1e6, 2e6, 20), s, ports, (50.0,) * 16)
    record = dataclasses.replace(build.imported(), corrected=matrix)
    calibration = build.calibration(rng)
    comment = Comment(HASH, "M. Lindqvist", AT, "was on the floor")
    correction = Correction(HASH, "M. Lindqvist", AT, "label misread", {"identifier": "cord 8"})
    row = VerdictRow(
        Parameter.NEXT, "A", ("12", "36"), 1.5, 1e8, 45.0, 43.5, 0.3, Outcome.PASS, "from-memory"
    )
    verdict = Verdict("r.h5", "cord 7", "r-1", "simple", 2.0, Outcome.PASS, (row,))
    requirement = RequirementText("r-1", "2026", ("schema = 1\n# as used\n",))
    grading = grading_of([(HASH, verdict)], [requirement], made_at=AT, by="M. Lindqvist")
    return {
        "record": Job(lambda folder: write_record(record, folder), read_record),
        "calibration": Job(lambda folder: write_calibration(calibration, folder), read_calibration),
        "comment": Job(lambda folder: write_note(comment, folder), read_note),
        "correction": Job(lambda folder: write_note(correction, folder), read_note),
        "grading": Job(lambda folder: write_grading(grading, folder), read_grading),
    }


def calls_of(job: Job, drive: Path, folder: str, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    with FaultyDisc(drive).mounted(monkeypatch) as disc:
        job.write(drive / folder)
    return disc.calls


def refused(error: ArchiveError, number: int, folder: Path) -> None:
    kind, words = EXPECTED[number]
    assert isinstance(error, kind)
    assert words in error.message
    assert str(folder) in error.message
    assert "\n" not in str(error)
    assert error.hint


@pytest.fixture(autouse=True)
def quick_disc(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody pulls the plug here: bringing files to the disc is counted only, which is much quicker."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


def plain(folder: Path) -> Path:
    return files.add_file(folder, "stem", b"a" * 600, bytearray(b"b" * 7), memoryview(b"c" * 3000))


def read_plain(path: Path) -> None:
    assert path.read_bytes() == b"a" * 600 + b"b" * 7 + b"c" * 3000


@pytest.mark.parametrize("fault", get_args(Fault))
@pytest.mark.parametrize("number", NUMBERS)
def test_every_call_of_storing_a_file_fails_in_turn(
    number: int, fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fails_in_turn(Job(plain, read_plain), fault, (number,), tmp_path, monkeypatch)


@pytest.mark.parametrize("kind", ["record", "calibration", "comment", "correction", "grading"])
def test_every_call_of_storing_one_of_each_kind_fails_in_turn(
    kind: str, jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fails_in_turn(jobs[kind], "refused", NUMBERS, tmp_path, monkeypatch, runs=1)


def fails_in_turn(
    job: Job,
    fault: Fault,
    numbers: tuple[int, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    runs: int = 2,
) -> None:
    drive = tmp_path / "drive"
    archive = drive / "archive"
    drive.mkdir()
    # The first one also makes the folder; to the second its name is taken.
    for made_before, names in enumerate([calls_of(job, drive, "archive", monkeypatch) for _ in range(runs)]):
        assert {"open", "write", "fsync", "link", "unlink"} <= set(names)
        assert names.count("fsync") >= 2
        assert made_before or "mkdir" in names
        # Of a single kind every other call: they are the same calls as of any file.
        for place in range(1, len(names) + 1, 3 - runs):
            number = numbers[place % len(numbers)]
            shutil.rmtree(drive)
            drive.mkdir()
            if made_before:
                job.write(archive)
            before = contents(drive)
            where = f"call {place} of {names}, error {number}"
            told: Path | None = None
            with FaultyDisc(drive, place, number, fault).mounted(monkeypatch) as disc:
                try:
                    told = job.write(archive)
                except ArchiveError as error:
                    refused(error, number, archive)
            assert disc.calls[:place] == names[:place], where
            found = contents(drive)
            new = set(found) - set(before)
            assert {name: found[name] for name in before} == before, where
            if told is not None:
                assert new == {str(told.relative_to(drive))}, where
            elif fault != "gone":
                assert not new, where  # told as failed: not there
            for name in new:
                job.read(drive / name)
            job.read(job.write(archive))
            assert len(contents(drive)) == len(found) + 1, where


def test_what_fails_after_the_name_is_there_does_not_matter(
    jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last call drops the other name of the file; the record is stored all the same."""
    names = calls_of(jobs["record"], tmp_path, "tried", monkeypatch)
    last = len(names) - names[::-1].index("unlink")
    with FaultyDisc(tmp_path, last, errno.EIO).mounted(monkeypatch):
        path = jobs["record"].write(tmp_path / "archive")
    check_record(path)
    assert len(list(path.parent.iterdir())) == 2


@pytest.mark.parametrize("size", [1, 1000, 70_001])
def test_a_disc_that_takes_a_part_of_what_it_is_given(
    size: int, jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disc = FaultyDisc(tmp_path)
    disc.largest_write = size
    job = jobs["grading" if size == 1 else "record"]
    with disc.mounted(monkeypatch):
        path = job.write(tmp_path)
    assert disc.calls.count("write") > 2
    job.read(path)
    assert path.read_bytes() == job.write(tmp_path).read_bytes()


def test_a_lost_answer_of_a_network_drive_makes_no_second_record(
    jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A link is made, its answer is lost, it is asked for again, and finds that the name is taken."""
    link = os.link

    def twice(*paths: Path) -> None:
        link(*paths)
        link(*paths)

    first = jobs["record"].write(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(os, "link", twice)
        second = jobs["record"].write(tmp_path)
    assert second.stem == f"{first.stem}~2"
    assert {path.name for path in tmp_path.iterdir()} == {first.name, second.name}
    check_record(second)


@pytest.mark.parametrize("number", [errno.EINVAL, errno.ENOTSUP, errno.ENOSYS])
def test_a_drive_that_cannot_sync_folders_is_used_all_the_same(
    number: int, jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def only_files(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", only_files)
    check_record(jobs["record"].write(tmp_path / "new" / "archive"))


def test_a_place_without_second_names_fails_in_turn(
    jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise OSError(errno.EOPNOTSUPP, os.strerror(errno.EOPNOTSUPP))

    monkeypatch.setattr(os, "link", no_links)
    job, archive = Job(plain, read_plain), tmp_path / "n" / "archive"
    (tmp_path / "n").mkdir()
    names = calls_of(job, tmp_path / "n", "archive", monkeypatch)
    assert "rename" in names
    for fault in get_args(Fault):
        for place in range(1, len(names) + 1):
            shutil.rmtree(tmp_path / "n")
            (tmp_path / "n").mkdir()
            told: Path | None = None
            with FaultyDisc(tmp_path / "n", place, errno.EIO, fault).mounted(monkeypatch):
                try:
                    told = job.write(archive)
                except ArchiveError as error:
                    refused(error, errno.EIO, archive)
            found = contents(tmp_path)
            assert fault == "gone" or len(found) == (told is not None)
            for name in found:
                job.read(tmp_path / name)
            job.read(job.write(archive))
            assert len(contents(tmp_path)) == len(found) + 1


def test_new_folders_are_brought_to_the_disc(
    jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each name is durable only when the folder it stands in is synced, after it was made."""
    synced: list[str] = []

    def told(descriptor: int) -> None:
        path = Path(f"/proc/self/fd/{descriptor}")
        if path.is_dir():
            synced.append(str(path.readlink()))

    if not Path("/proc/self/fd").is_dir():
        pytest.skip("the names of open files are not told here")
    monkeypatch.setattr(os, "fsync", told)
    jobs["comment"].write(tmp_path / "new")
    wanted = [tmp_path, tmp_path / "new", tmp_path / "new" / "notes", tmp_path / "new" / "notes" / HASH[:2]]
    assert synced == [str(path.resolve()) for path in wanted]


@pytest.mark.parametrize("moment", range(3))
def test_a_folder_that_goes_while_a_record_is_written(
    moment: int, jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = tmp_path / "archive"
    name = ("write", "fsync", "link")[moment]
    real = getattr(os, name)

    def then_gone(*arguments: object) -> object:
        shutil.rmtree(archive)
        return real(*arguments)

    with monkeypatch.context() as patch:
        patch.setattr(os, name, then_gone)
        with pytest.raises(ArchiveError, match="No such file or directory") as caught:
            jobs["record"].write(archive)
    assert str(archive) in caught.value.message
    assert caught.value.hint
    assert not archive.exists()
    check_record(jobs["record"].write(archive))


# ---------------------------------------------------------------------------------------- left-over parts


def test_leftovers_of_killed_writers_are_no_records_and_old_ones_go(
    jobs: dict[str, Job], tmp_path: Path
) -> None:
    archive = tmp_path / "archive"
    archive.mkdir()
    names = {name: archive / f".{16 * name}.partial" for name in "0abc"}
    for path in names.values():
        path.write_bytes(b"half of a record")
    strangers = [archive / ".0123.partial", archive / f".{'g' * 16}.partial", archive / f"{'a' * 16}.partial"]
    for path in strangers:
        path.write_bytes(b"of somebody else")
    a_day = 24 * 3600.0
    now = names["0"].stat().st_mtime
    for path in (names["a"], names["b"], *strangers):
        os.utime(path, (now - a_day - 60, now - a_day - 60))
    os.utime(names["c"], (now - a_day + 3600, now - a_day + 3600))
    with pytest.raises(RecordDamaged):
        read_record(names["0"])
    assert list_calibrations(archive) == ()
    path = jobs["record"].write(archive)
    left = {path.name for path in archive.iterdir()}
    assert left == {path.name for path in (path, names["0"], names["c"], *strangers)}
    # Looked through once in each process: a hundred thousand names take a while to list.
    os.utime(names["0"], (0, 0))
    jobs["record"].write(archive)
    assert names["0"].exists()


def test_leftovers_that_cannot_be_dropped_do_no_harm(
    jobs: dict[str, Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (old := tmp_path / f".{16 * 'd'}.partial").write_bytes(b"half")
    os.utime(old, (0, 0))
    unlink = os.unlink

    def not_this(path: Path, **named: object) -> None:
        if Path(path) == old:
            raise OSError(errno.EACCES, os.strerror(errno.EACCES))
        unlink(path, **named)

    monkeypatch.setattr(os, "unlink", not_this)
    check_record(jobs["record"].write(tmp_path))
    assert old.exists()


# ------------------------------------------------------------------------------- journals and histories


@pytest.mark.parametrize("fault", get_args(Fault))
def test_a_journal_loses_no_hookup_whatever_fails(
    fault: Fault, build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(5)
    first, second, redone = (build.raw_hookup(rng, number, points=1, ports=1) for number in (1, 2, 1))
    job, notes = {"job": "7"}, JobNotes(incidents=("the link was lost",))

    def work(journal: Journal) -> None:
        journal.save(second)
        journal.save(redone)
        journal.keep_notes(notes)

    def begun(name: str) -> Journal:
        journal = Journal(tmp_path / name / "unfinished" / "a", job)
        journal.save(first)
        return journal

    with begun("tried") as journal, FaultyDisc(tmp_path / "tried").mounted(monkeypatch) as disc:
        work(journal)
    assert "replace" in disc.calls
    for place in range(1 + get_args(Fault).index(fault) % 2, len(disc.calls) + 1, 2):
        number = NUMBERS[place % len(NUMBERS)]
        top = tmp_path / f"cut-{place}"
        with begun(top.name) as journal:
            with FaultyDisc(top, place, number, fault).mounted(monkeypatch):
                try:
                    work(journal)
                except ArchiveError as error:
                    refused(error, number, top)
            kept = dict(journal.finished())
        with Journal(journal.folder, job) as again:
            found = dict(again.finished())
            assert again.resumed
            assert 1 in found
            # What is known as finished is on the disc; what failed may be there as well, and is whole then.
            assert set(kept) <= set(found)
            assert build.same(found[1], first) or build.same(found[1], redone)
            assert 2 not in found or build.same(found[2], second)
            assert again.notes in (JobNotes(), notes)
            work(again)
            assert build.same(again.finished()[1], redone)
            assert build.same(again.finished()[2], second)
            assert again.notes == notes
            again.discard()
        assert not journal.folder.exists()


def test_a_job_whose_drive_was_taken_off_is_not_gone_on_with_beneath(
    build: SimpleNamespace, tmp_path: Path
) -> None:
    """As when a network drive is unmounted: its place is an empty folder of the local disc."""
    drive = tmp_path / "drive"
    rng = np.random.default_rng(5)
    with Journal(drive / "archive" / "unfinished" / "a", {"job": "7"}) as journal:
        journal.save(build.raw_hookup(rng, 1))
        drive.rename(tmp_path / "taken off")
        drive.mkdir()
        for again in (lambda: journal.save(build.raw_hookup(rng, 2)), lambda: journal.keep_notes(JobNotes())):
            with pytest.raises(ArchiveError, match="No such file or directory"):
                again()
        assert not list(drive.iterdir())
        drive.rmdir()
        (tmp_path / "taken off").rename(drive)
        journal.save(build.raw_hookup(rng, 2))
    with Journal(journal.folder, {"job": "7"}) as again:
        assert sorted(again.finished()) == [1, 2]


def test_a_history_keeps_its_entries_whatever_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def begun(name: str) -> AppendedFile:
        history = AppendedFile(tmp_path / name / "history.txt")
        history.append({"n": 1})
        return history

    history = begun("tried")
    with FaultyDisc(tmp_path / "tried").mounted(monkeypatch) as disc:
        history.append({"n": 2})
    assert {"open", "write", "fsync"} <= set(disc.calls)
    for fault in get_args(Fault):
        for place in range(1, len(disc.calls) + 1):
            number = NUMBERS[place % len(NUMBERS)]
            top = tmp_path / f"{fault}-{place}"
            history, told = begun(top.name), True
            with FaultyDisc(top, place, number, fault).mounted(monkeypatch):
                try:
                    history.append({"n": 2})
                except ArchiveError as error:
                    told = False
                    refused(error, number, top)
            entries = history.read()
            assert entries[0] == {"n": 1}
            if fault == "refused":
                assert len(entries) == 1 + told
            history.append({"n": 3})
            assert history.read() == (*entries, {"n": 3})


def test_the_place_is_tried_before_anything_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number, (kind, words) in EXPECTED.items():
        for fault in ("mkdir", "open"):
            with FaultyDisc(tmp_path, 1 if fault == "mkdir" else 2, number, "gone").mounted(monkeypatch):
                with pytest.raises(kind, match=words) as caught:
                    make_folder(tmp_path / str(number) / fault)
            assert caught.value.hint
    assert files.make_folder is make_folder
