"""Listing archives: local folders, and addresses of fsspec with the file system in memory as the store."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import fsspec
import pytest

from benchsweep.archive import list_files
from benchsweep.archive.index._scan import scan_folders
from benchsweep.errors import ArchiveError, ArchiveLocked, ArchiveUnreachable

NAMES = [
    "a.h5",
    "b.h5",
    "2025/c.h5",
    "2025/lot/d.h5",
    "calibrations/bench/k.h5",
    "gradings/g.h5",
    "notes/ab/n.h5",
]
LEFT_OUT = [
    "unfinished/x.h5",
    "2025/unfinished/y/z.h5",
    ".hidden/h.h5",
    ".half.h5",
    "read.txt",
    "b.h5.partial",
]
KINDS = ["record"] * 4 + ["calibration", "grading", "note"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for size, name in enumerate(NAMES + LEFT_OUT):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x" * size)
    return tmp_path


@pytest.fixture
def store(folder: Path) -> Iterator[str]:
    memory = fsspec.filesystem("memory")
    memory.put(str(folder), "/shelf/archive", recursive=True)
    yield "memory://shelf/archive"
    memory.rm("/shelf", recursive=True)


def test_a_folder_is_listed_with_its_sub_folders(folder: Path) -> None:
    found = list(list_files(folder))
    assert [entry.name for entry in found] == NAMES
    assert [entry.source for entry in found] == [folder / name for name in NAMES]
    assert [entry.size for entry in found] == list(range(7))
    assert [entry.kind for entry in found] == KINDS


def test_a_file_address_is_a_folder_of_this_machine(folder: Path) -> None:
    assert list(list_files(f"file://{folder}")) == list(list_files(folder)) == list(list_files(str(folder)))


@pytest.mark.parametrize("slash", ["", "/"])
def test_a_store_is_listed_in_the_same_order(folder: Path, store: str, slash: str) -> None:
    found = list(list_files(store + slash))
    assert [(e.name, e.size, e.kind) for e in found] == [(e.name, e.size, e.kind) for e in list_files(folder)]
    with fsspec.open(str(found[2].source)) as stream:
        assert stream.read() == b"xx"


def test_what_came_since_the_last_listing_is_seen(store: str) -> None:
    before = len(list(list_files(store)))
    fsspec.filesystem("memory").pipe("/shelf/archive/new.h5", b"n")
    assert len(list(list_files(store))) == before + 1


def test_links_in_circles_end(folder: Path) -> None:
    (folder / "2025" / "again").symlink_to(folder, target_is_directory=True)
    (folder / "nowhere.h5").symlink_to(folder / "gone")
    assert [entry.name for entry in list_files(folder)] == ["a.h5", "b.h5", "nowhere.h5", *NAMES[2:]]


@pytest.mark.parametrize(
    "what", ["{folder}/missing", "{folder}/a.h5", "memory://nowhere", "memory://shelf/archive/a.h5"]
)
def test_what_is_no_archive_is_refused(folder: Path, store: str, what: str) -> None:
    with pytest.raises(ArchiveError, match=r"no such archive|is a file|nothing of that name") as caught:
        list(list_files(what.format(folder=folder)))
    assert caught.value.hint


def test_an_empty_archive_is_one(tmp_path: Path) -> None:
    assert list(list_files(tmp_path)) == []


def test_an_unknown_kind_of_address_is_named() -> None:
    with pytest.raises(ArchiveError, match=r"no kind of address that is known.*nonsense") as caught:
        list(list_files("nonsense://x"))
    assert "s3://" in caught.value.hint


def test_without_its_package_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "s3fs", None)
    for name in ("s3", "s3a"):
        monkeypatch.delitem(sys.modules["fsspec.registry"]._registry, name, raising=False)
    with pytest.raises(ArchiveError, match="a package is missing") as caught:
        list(list_files("s3://bucket"))
    assert "benchsweep[s3]" in caught.value.hint


class Refusing(fsspec.AbstractFileSystem):
    """A store whose every listing fails, as each kind of store does in its own way."""

    protocol = "refusing"
    error: Exception = PermissionError("no")

    def find(self, path: str, *args: object, **keywords: object) -> dict[str, object]:
        raise self.error


class NoCredentialsError(Exception):
    """Named as the client library of S3 names it; it is no OSError there either."""


class EndpointConnectionError(Exception):
    """The same."""


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (PermissionError("denied"), ArchiveLocked, "not permitted: denied"),
        (NoCredentialsError("none"), ArchiveLocked, "not permitted: none"),
        (FileNotFoundError("The specified bucket does not exist"), ArchiveError, "nothing of that name"),
        (
            EndpointConnectionError("at http://h"),
            ArchiveUnreachable,
            "the store does not answer: at http://h",
        ),
        (TimeoutError(), ArchiveUnreachable, "the store does not answer: TimeoutError"),
        (ConnectionResetError(104, "reset"), ArchiveUnreachable, "the store does not answer"),
        (RuntimeError("odd"), ArchiveError, "listing failed: odd"),
    ],
)
def test_errors_of_a_store_are_ours(
    monkeypatch: pytest.MonkeyPatch, error: Exception, kind: type[ArchiveError], words: str
) -> None:
    fsspec.register_implementation("refusing", Refusing, clobber=True)
    monkeypatch.setattr(Refusing, "error", error)
    with pytest.raises(ArchiveError, match=words) as caught:
        list(list_files("refusing://shelf"))
    assert type(caught.value) is kind
    assert caught.value.hint


def test_a_folder_that_may_not_be_read_is_named(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # root, as whom checks often run, may read everything: the operating system is asked to refuse
    scan = os.scandir

    def refuse(path: Path) -> object:
        if path.name == "2025":
            raise PermissionError(errno.EACCES, "Permission denied")
        return scan(path)

    monkeypatch.setattr("os.scandir", refuse)
    with pytest.raises(ArchiveLocked, match="2025: listing is not permitted"):
        list(list_files(folder))


def test_links_and_depth_have_an_end(tmp_path: Path) -> None:
    """A folder that is no archive, such as /proc, leads to the whole machine by links, and deep down."""
    top = tmp_path / "machine" / "archive"
    below = top.joinpath(*"123456")
    (below / "7").mkdir(parents=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    for path in (below / "sixth.h5", below / "7" / "seventh.h5", elsewhere / "other.h5"):
        path.write_bytes(b"")
    (tmp_path / "machine" / "above.h5").write_bytes(b"")
    (top / "drive").symlink_to(elsewhere)
    (top / "1" / "up").symlink_to(tmp_path / "machine")
    (top / "self").symlink_to(".")
    expected = ["drive/other.h5", "1/2/3/4/5/6/sixth.h5"]
    assert sorted(entry.name for entry in list_files(top)) == sorted(expected)
    scan = scan_folders(top, {}, lambda _: {})
    assert sorted(f"{folder}/{name}" for folder, names in scan.listed.items() for name in names) == sorted(
        expected
    )
