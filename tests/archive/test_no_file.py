"""What lies at the place of a file and is none: told at once, never waited for."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.archive import AppendedFile
from benchsweep.archive.check import check_file
from benchsweep.archive.lots import LotFile, create, list_lots, lot_sources
from benchsweep.archive.places import open_content
from benchsweep.errors import ArchiveError
from tests.lots.entries import attributes, excluded, lot, opened

FIRST = opened(attributes(2, 0, 1))
PATIENCE_S = 20.0


def at_once(call: Callable[[], object], *errors: type[Exception]) -> object:
    """Return what a call returns, or the error that it raises; a call that waits for ever is a failure."""
    answer: list[object] = []

    def run() -> None:
        try:
            answer.append(call())
        except (ArchiveError, *errors) as error:
            answer.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(PATIENCE_S)
    assert answer, "it waits for somebody to write into the pipe"
    return answer[0]


def put(path: Path, what: str) -> None:
    path.unlink(missing_ok=True)
    path.parent.mkdir(parents=True, exist_ok=True)
    if what == "a pipe":
        os.mkfifo(path)
    elif what == "a folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes and devices are files of Unix")
@pytest.mark.parametrize("what", ["a pipe", "a folder", "a device"])
def test_at_the_place_of_a_record(tmp_path: Path, what: str) -> None:
    path = tmp_path / "record.h5"
    put(path, what)
    assert at_once(lambda: archive.is_series(path)) is False
    for call in (
        lambda: archive.read_record(path),
        lambda: archive.content_hash(path),
        lambda: archive.read_head(path),
        lambda: archive.of_the_same_sweeps(path),
        *([] if what == "a folder" else [lambda: check_file(path)]),
    ):
        found = at_once(call)
        assert isinstance(found, ArchiveError)
        assert f"not a file but {what}" in found.message
        assert ".h5" in found.hint


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes and devices are files of Unix")
@pytest.mark.parametrize("what", ["a pipe", "a folder", "a device"])
def test_at_the_place_of_a_lot_and_of_another_history(tmp_path: Path, what: str) -> None:
    file = LotFile(tmp_path, FIRST.lot)
    path = Path(str(file.path))
    put(path, what)
    for call in (
        file.read,
        lambda: create(tmp_path, FIRST),
        lambda: file.append(excluded(lot().order[0]), lambda _: None),
        lambda: check_file(lot_sources(tmp_path)[0]),
        AppendedFile(path).read,
    ):
        found = at_once(call)
        assert isinstance(found, ArchiveError)
        assert f"not a file but {what}" in found.message
        assert "history" in found.hint
        assert ".txt" in found.hint
        assert ".h5" not in found.hint


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are files of Unix")
def test_a_file_that_becomes_a_pipe_while_it_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "record.h5"
    path.write_bytes(b"x")
    real = path.stat()
    put(path, "a pipe")
    monkeypatch.setattr("benchsweep.archive.places._source._status", lambda _: real)

    def read() -> bool:
        with open_content(path, "record"):
            return True

    found = at_once(read)
    assert isinstance(found, ArchiveError)
    assert "a pipe" in found.message


@pytest.mark.parametrize("taken", [0, 7])
def test_a_full_disc_leaves_nothing_of_a_lot_that_was_not_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken: int
) -> None:
    """The disc takes a part of the first line, or nothing of it."""
    written = os.write
    calls: list[int] = []

    def full(descriptor: int, data: bytes) -> int:
        if not data.startswith(b"benchsweep-lot/") and not calls:
            return written(descriptor, data)
        calls.append(len(data))
        if taken and len(calls) == 1:
            return written(descriptor, data[:taken])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        with pytest.raises(ArchiveError, match="the disc is full") as caught:
            create(tmp_path, FIRST)
    assert calls
    assert "nothing half was left behind" in caught.value.hint
    assert list((tmp_path / "lots").iterdir()) == []
    assert list_lots(tmp_path) == ()
    assert create(tmp_path, FIRST).read() == (FIRST,)


def test_a_full_disc_leaves_a_lot_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = create(tmp_path, FIRST)
    before = Path(str(file.path)).read_bytes()

    def full(descriptor: int, data: bytes) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        with pytest.raises(ArchiveError, match="the disc is full"):
            file.append(excluded(lot().order[0]), lambda _: None)
    assert Path(str(file.path)).read_bytes() == before
