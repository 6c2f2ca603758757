"""Files of testers kept by their content."""

from __future__ import annotations

import hashlib
from pathlib import Path

import fsspec
import pytest

from benchsweep.archive.references import check_kept_file, keep_file, kept_file, kept_name, kept_sources
from benchsweep.errors import ArchiveError, ArchiveLocked, RecordDamaged

CONTENT = "f;dB\r\n1,5;2,25\r\n".encode("utf-16")


def test_kept_as_it_came_and_once(tmp_path: Path) -> None:
    digest = keep_file(tmp_path / "new", CONTENT)
    assert digest == hashlib.sha256(CONTENT).hexdigest()
    path = tmp_path / "new" / kept_name(digest)
    assert path.read_bytes() == CONTENT == kept_file(tmp_path / "new", digest)
    stamp = path.stat().st_mtime_ns
    assert keep_file(tmp_path / "new", CONTENT) == digest
    assert path.stat().st_mtime_ns == stamp
    assert keep_file(tmp_path / "new", b"") == hashlib.sha256(b"").hexdigest()
    assert len(kept_sources(tmp_path / "new")) == 2


def test_changed_bytes_are_found(tmp_path: Path) -> None:
    digest = keep_file(tmp_path, CONTENT)
    path = tmp_path / kept_name(digest)
    path.write_bytes(CONTENT + b" ")
    for read in (
        lambda: kept_file(tmp_path, digest),
        lambda: check_kept_file(path),
        lambda: keep_file(tmp_path, CONTENT),
    ):
        with pytest.raises(RecordDamaged, match="not those that were kept"):
            read()
    path.unlink()
    with pytest.raises(RecordDamaged, match="not there any more"):
        kept_file(tmp_path, digest)


def test_other_files_are_not_listed_and_not_taken_for_kept_ones(tmp_path: Path) -> None:
    digest = keep_file(tmp_path, CONTENT)
    (tmp_path / "references" / "files" / "mine.dat").write_bytes(b"x")
    assert [Path(str(source)).stem for source in kept_sources(tmp_path)] == [digest]
    with pytest.raises(RecordDamaged, match="no content hash"):
        check_kept_file(tmp_path / "references" / "files" / "mine.dat")
    assert kept_sources(tmp_path / "none") == []


def test_where_a_folder_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / kept_name(hashlib.sha256(CONTENT).hexdigest())).mkdir(parents=True)
    with pytest.raises(ArchiveError):
        keep_file(tmp_path, CONTENT)


def test_at_an_address_read_only(tmp_path: Path) -> None:
    digest = hashlib.sha256(CONTENT).hexdigest()
    system = fsspec.filesystem("memory")
    system.pipe(f"/held2/{kept_name(digest)}", CONTENT)
    try:
        assert kept_file("memory://held2", digest) == CONTENT
        assert kept_sources("memory://held2") == [f"memory://held2/{kept_name(digest)}"]
        with pytest.raises(ArchiveLocked):
            keep_file("memory://held2", CONTENT)
    finally:
        system.rm("/held2", recursive=True)
