"""Discs that are really full, read-only, without permission or taken off, as far as they can be made here.

A small file system in memory is mounted where that is permitted (on Linux, by root); elsewhere those tests
are skipped and say so. `test_durability.py` does the same with errors put between program and system.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.archive import (
    Journal,
    check_record,
    content_hash,
    read_note,
    read_record,
    write_note,
    write_record,
)
from benchsweep.errors import ArchiveError, ArchiveLocked
from benchsweep.records import Comment, Measurement
from tests.archive.faulty_disc import contents

Mount = Callable[[str], Path]


def command(*words: object) -> None:
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"no file system can be mounted here: {done.stderr.strip() or words[0]}")


@pytest.fixture
def mount(tmp_path: Path) -> Iterator[Mount]:
    """Mount a small file system of that size; returns its place, which is given free in the end."""
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        pytest.skip("only root may mount a file system, on Linux")
    if shutil.which("mount") is None or shutil.which("umount") is None:
        pytest.skip("there is no command to mount a file system")
    places: list[Path] = []

    def make(options: str) -> Path:
        place = tmp_path / f"drive-{len(places)}"
        place.mkdir()
        command("mount", "-t", "tmpfs", "-o", options, "tmpfs", place)
        places.append(place)
        return place

    yield make
    for place in places:
        if place.is_mount():
            command("umount", "-l", place)


@pytest.fixture(scope="module")
def measurement(build: SimpleNamespace) -> Measurement:
    return replace(build.measurement(points=17, ports=16, hookups=1), calibration=None)


def test_a_full_disc(measurement: Measurement, mount: Mount) -> None:
    """Records are stored until no more fits, at every length of what is left over."""
    drive = mount("size=2m")
    archive = drive / "archive"
    first = write_record(measurement, archive)
    size = first.stat().st_size
    page = os.sysconf("SC_PAGESIZE")
    filler = drive / "filler"
    fitted = 0
    for left in (0, page, 5 * page, size // 2, size - page, size, size + 4 * page):
        filler.unlink(missing_ok=True)
        free = os.statvfs(drive).f_bavail * page
        filler.write_bytes(bytes(max(free - left // page * page, 0)))
        before = contents(archive)
        path = stored_unless_full(measurement, archive)
        if path is None:
            assert contents(archive) == before
        else:
            fitted += 1
            check_record(path)
            path.unlink()
        assert not list(archive.glob(".*"))
    assert 0 < fitted < 4
    filler.unlink(missing_ok=True)
    again = write_record(measurement, archive)
    assert content_hash(again) == content_hash(first)


def test_a_disc_on_which_no_more_names_are_free(measurement: Measurement, mount: Mount) -> None:
    """Here a second name takes a place of its own, so that giving the name is what fails."""
    drive = mount("size=8m,nr_inodes=40")
    archive = drive / "archive"
    paths = [write_record(measurement, archive)]
    while (path := stored_unless_full(measurement, archive)) is not None:
        paths.append(path)
        assert len(paths) < 40
    for spare in range(3):
        assert set(archive.iterdir()) == set(paths)
        last = paths.pop()
        last.unlink()
        # With one place free the bytes are stored, but the name is refused.
        path = stored_unless_full(measurement, archive)
        assert path is not None or spare == 0
        if path is not None:
            path.unlink()
    for path in (*paths, write_record(measurement, archive)):
        check_record(path)


def stored_unless_full(measurement: Measurement, archive: Path) -> Path | None:
    full: ArchiveError | None = None
    try:
        return write_record(measurement, archive)
    except ArchiveError as error:
        full = error
    assert "the disc is full" in full.message
    assert str(archive) in full.message
    assert full.hint
    return None


def test_a_full_disc_while_hookups_are_kept(build: SimpleNamespace, mount: Mount) -> None:
    drive = mount("size=1m")
    job = {"job": "7"}
    rng = np.random.default_rng(5)
    hookups = [build.raw_hookup(rng, number, points=60, ports=16) for number in range(1, 9)]
    kept = []
    with Journal(drive / "unfinished" / "a", job) as journal:
        while shutil.disk_usage(drive).free > 400_000:
            journal.save(hookups[len(kept)])
            kept.append(len(kept) + 1)
        with pytest.raises(ArchiveError, match="the disc is full"):
            journal.save(build.raw_hookup(rng, len(kept) + 1, points=400, ports=16))
        assert list(journal.finished()) == kept
    assert 0 < len(kept) < len(hookups)
    with Journal(drive / "unfinished" / "a", job) as again:
        assert again.resumed
        assert list(again.finished()) == kept
        for raw in hookups[: len(kept)]:
            assert build.same(again.finished()[raw.hookup.number], raw)
        command("mount", "-o", "remount,size=8m", drive)
        for raw in hookups[len(kept) :]:
            again.save(raw)
    with Journal(drive / "unfinished" / "a", job) as whole:
        assert list(whole.finished()) == list(range(1, 9))
        whole.discard()


def test_a_disc_that_becomes_read_only(measurement: Measurement, mount: Mount) -> None:
    drive = mount("size=8m")
    path = write_record(measurement, drive / "archive")
    comment = Comment(content_hash(path), "M. Lindqvist", "2026-03-02T08:00:00Z", "from the floor")
    command("mount", "-o", "remount,ro", drive)
    for again in (
        lambda: write_record(measurement, drive / "archive"),
        lambda: write_note(comment, drive / "archive"),
        lambda: Journal(drive / "archive" / "unfinished" / "a", {"job": "7"}),
    ):
        with pytest.raises(ArchiveLocked, match="Read-only file system") as caught:
            again()
        assert caught.value.hint
    check_record(path)
    assert read_record(path).specimen == measurement.specimen
    command("mount", "-o", "remount,rw", drive)
    assert read_note(write_note(comment, drive / "archive")) == comment


def test_a_drive_that_is_unmounted_in_the_middle_of_a_job(
    build: SimpleNamespace, measurement: Measurement, mount: Mount
) -> None:
    drive = mount("size=8m")
    rng = np.random.default_rng(5)
    write_record(measurement, drive / "archive")
    journal = Journal(drive / "archive" / "unfinished" / "a", {"job": "7"})
    journal.save(build.raw_hookup(rng, 1))
    command("umount", "-l", drive)
    with pytest.raises(ArchiveError, match="No such file or directory") as caught:
        journal.save(build.raw_hookup(rng, 2))
    assert str(journal.folder) in caught.value.message
    journal.close()
    assert not list(drive.iterdir()), "nothing is written to the disc beneath"


# Run as nobody, in a folder that belongs to root.
WITHOUT_PERMISSION = """
import os, sys
from pathlib import Path
from benchsweep.archive import *
from benchsweep.errors import ArchiveError, ArchiveLocked
measurement = read_record(Path("archive") / sys.argv[1])
os.setgid(65534); os.setuid(65534)
def open_series_of(path):
    with open_series(path):
        pass
def list_all(path):
    list(list_files(path))
def find_record_in(path):
    find_record(path, created_at="2026-03-01T12:30:05Z", specimen="x", sweeps=())
def refused(call, *arguments):
    try:
        call(*arguments)
    except ArchiveLocked as error:
        assert "not permitted: Permission denied" in error.message and error.hint, error
    else:
        raise SystemExit(f"{call} was permitted")
refused(write_record, measurement, Path("archive"))
refused(write_record, measurement, Path("archive") / "new")
refused(make_folder, Path("archive"))
refused(Journal, Path("archive") / "unfinished" / "a", {"job": "7"})
refused(read_record, Path("archive") / "secret.h5")
closed = Path("closed")
readers = (read_record, read_head, read_note, open_series_of, is_series, list_calibrations, list_all)
for call in (*readers, make_folder, find):
    refused(call, closed / "archive")
refused(write_record, measurement, closed / "archive")
refused(find_record_in, closed / "archive")
check_record(Path("archive") / sys.argv[1])
check_record(write_record(measurement, Path("open")))
print("done")
"""


def test_without_permission(measurement: Measurement, tmp_path: Path) -> None:
    if os.name != "posix" or os.geteuid() != 0:
        pytest.skip("only root may become somebody without permission")
    # The way to the working folder is not open to everybody, but it can be used from within.
    tmp_path.chmod(0o755)
    path = write_record(measurement, tmp_path / "archive")
    secret = Path(shutil.copy(path, tmp_path / "archive" / "secret.h5"))
    secret.chmod(0o600)
    (tmp_path / "closed").mkdir(0o700)
    (tmp_path / "open").mkdir()
    (tmp_path / "open").chmod(0o777)
    before = contents(tmp_path / "archive")
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_PERMISSION, path.name],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=200,
    )
    assert (done.returncode, done.stdout) == (0, "done\n"), done.stderr
    assert contents(tmp_path / "archive") == before


def test_a_file_that_may_not_grow_so_large(measurement: Measurement, tmp_path: Path) -> None:
    """A limit of the process, which the system answers with a part of the bytes and then an error."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    first = write_record(measurement, tmp_path)
    size = first.stat().st_size
    for limit in (0, 1, 511, 512, 4096, size // 3, size - 1):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
        try:
            with pytest.raises(ArchiveError, match="the disc is full"):
                write_record(measurement, tmp_path)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert list(tmp_path.iterdir()) == [first]
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        second = write_record(measurement, tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    check_record(second)
