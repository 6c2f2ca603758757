"""An archive in a store is indexed by names and sizes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import fsspec
import pytest

from benchsweep.archive import Selection, find
from benchsweep.archive.index import _refresh
from benchsweep.errors import ArchiveError
from tests.archive.index.conftest import Maker, plain_archive, plain_find

URL = "memory://archives/ours"


@pytest.fixture
def store(maker: Maker) -> Iterator[fsspec.AbstractFileSystem]:
    maker.fill(10, 6, 4)
    system = fsspec.filesystem("memory")
    system.put(str(maker.root), "/archives/ours", recursive=True)
    yield system
    system.rm("/archives", recursive=True)


def test_answers_are_those_of_the_same_archive_in_a_folder(
    maker: Maker, store: fsspec.AbstractFileSystem
) -> None:
    plain = plain_archive(maker.root)
    for _ in range(20):
        wanted = maker.selection()
        found = find(URL, wanted)
        assert [one.name for one in found] == plain_find(plain, wanted)
        assert all(one.source == f"{URL}/{one.name}" for one in found)


def test_only_what_is_new_is_fetched(
    maker: Maker, store: fsspec.AbstractFileSystem, monkeypatch: pytest.MonkeyPatch
) -> None:
    everything = Selection(superseded=True, withdrawn=True)
    before = len(find(f"{URL}/", everything))
    real, read = _refresh.read_content, []
    monkeypatch.setattr(
        _refresh, "read_content", lambda source, name: read.append(name) or real(source, name)
    )
    assert len(find(URL, everything)) == before
    assert read == []
    path = maker.record()
    name = path.relative_to(maker.root).as_posix()
    store.put(str(path), f"/archives/ours/{name}")
    store.pipe("/archives/ours/2025/bad.h5", b"no record")
    found = find(URL, everything)
    assert (len(found), sorted(read)) == (before + 1, sorted([name, "2025/bad.h5"]))
    assert [one.name for one in found.damaged] == ["2025/bad.h5"]
    store.rm(f"/archives/ours/{name}")
    assert len(find(URL, everything)) == before


def test_a_store_without_such_an_archive_is_an_error(own_home: Path) -> None:
    with pytest.raises(ArchiveError):
        find("memory://nowhere/at/all")
