"""A finished hookup survives everything; what is not finished is done again."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from benchsweep.archive import Journal
from benchsweep.errors import ArchiveError, ArchiveLocked
from benchsweep.records import Hookup, RawHookup

# Written by a version whose unfinished hookups had a checksum for every item: `hookups[0]` for `JOB`.
EARLIER = Path(__file__).resolve().parent / "golden" / "hookup-001-v1.h5"
JOB = {"specimen": "cord 7", "grid": "1 MHz to 500 MHz, 3 points"}


@pytest.fixture
def hookups(build: SimpleNamespace) -> list[RawHookup]:
    rng = np.random.default_rng(5)
    return [build.raw_hookup(rng, number) for number in (1, 2, 3)]


def test_hookups_come_back_in_order(build: SimpleNamespace, hookups: list[RawHookup], tmp_path: Path) -> None:
    journal = Journal(tmp_path / "job" / "a", JOB)
    assert (journal.resumed, journal.restarted, dict(journal.finished())) == (False, False, {})
    for raw in reversed(hookups):
        journal.save(raw)
    assert list(journal.finished()) == [1, 2, 3]
    journal.close()
    again = Journal(tmp_path / "job" / "a", dict(reversed(JOB.items())))
    assert (again.resumed, again.restarted) == (True, False)
    assert list(again.finished()) == [1, 2, 3]
    for raw in hookups:
        assert build.same(again.finished()[raw.hookup.number], raw)


def test_a_hookup_of_an_earlier_version_is_gone_on_from(
    build: SimpleNamespace, hookups: list[RawHookup], tmp_path: Path
) -> None:
    with h5py.File(EARLIER) as file:
        assert "sha256" in file["s"].attrs
        assert "content_sha256" in file.attrs
    shutil.copy(EARLIER, tmp_path / "hookup-001.h5")
    with Journal(tmp_path, JOB) as journal:
        assert journal.resumed
        # It was written before terminators had names and switch terms were kept.
        plain = Hookup(hookups[0].hookup.number, hookups[0].hookup.connections)
        sweep = replace(hookups[0].sweep, switch_terms=None)
        assert build.same(journal.finished()[1], replace(hookups[0], hookup=plain, sweep=sweep))
        journal.save(hookups[1])
    assert list(Journal(tmp_path, JOB).finished()) == [1, 2]


def test_another_job_empties_it(hookups: list[RawHookup], tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.save(hookups[0])
    with Journal(tmp_path, JOB | {"specimen": "cord 8"}) as other:
        assert (other.resumed, other.restarted, dict(other.finished())) == (False, True, {})
    back = Journal(tmp_path, JOB)
    assert (back.resumed, back.restarted) == (False, False)


def test_a_hookup_done_again_replaces_the_first(
    build: SimpleNamespace, hookups: list[RawHookup], tmp_path: Path
) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.save(build.raw_hookup(np.random.default_rng(6), 1))
        journal.save(hookups[0])
    assert build.same(Journal(tmp_path, JOB).finished()[1], hookups[0])
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("keep", [0, 1, 511, 512, 3000, -1])
def test_a_half_file_counts_as_not_finished(keep: int, hookups: list[RawHookup], tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        for raw in hookups:
            journal.save(raw)
    path = sorted(tmp_path.iterdir())[1]
    path.write_bytes(path.read_bytes()[:keep])
    with Journal(tmp_path, JOB) as again:
        assert list(again.finished()) == [1, 3]
        assert (again.resumed, again.restarted) == (True, False)
        again.save(hookups[1])
    assert list(Journal(tmp_path, JOB).finished()) == [1, 2, 3]


def test_a_flipped_byte_counts_as_not_finished(hookups: list[RawHookup], tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.save(hookups[0])
    (path,) = tmp_path.iterdir()
    raw = path.read_bytes()
    for place in (0, 11, 100, 500, 600, len(raw) // 2, len(raw) - 1):
        flipped = bytearray(raw)
        flipped[place] ^= 0x10
        path.write_bytes(flipped)
        assert not Journal(tmp_path, JOB).finished()


def test_a_file_under_the_wrong_name_is_known_by_its_content(
    hookups: list[RawHookup], tmp_path: Path
) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.save(hookups[0])
    (path,) = tmp_path.iterdir()
    shutil.copy(path, tmp_path / "hookup-009.h5")
    assert list(Journal(tmp_path, JOB).finished()) == [1]


def test_what_is_not_ours_is_left_alone(hookups: list[RawHookup], tmp_path: Path) -> None:
    foreign = {"notes.txt", "hookup-1.h5", "hookup-001.txt", ".hidden"}
    for name in foreign:
        (tmp_path / name).write_text("keep", encoding="ascii")
    (tmp_path / ".0123456789abcdef.partial").write_bytes(b"half")
    journal = Journal(tmp_path, JOB)
    assert not (tmp_path / ".0123456789abcdef.partial").exists()
    journal.save(hookups[0])
    journal.close()
    Journal(tmp_path, {"other": "job"}).close()
    journal.discard()
    assert {path.name for path in tmp_path.iterdir()} == foreign


def test_discard_leaves_no_trace(hookups: list[RawHookup], tmp_path: Path) -> None:
    journal = Journal(tmp_path / "job", JOB)
    journal.save(hookups[0])
    journal.discard()
    assert not journal.finished()
    assert not (tmp_path / "job").exists()
    journal.discard()
    journal.save(hookups[1])
    journal.close()
    assert list(Journal(tmp_path / "job", JOB).finished()) == [2]


def test_a_second_run_of_the_same_job_is_refused_until_the_first_ends(tmp_path: Path) -> None:
    first = Journal(tmp_path / "job", JOB)
    with pytest.raises(ArchiveLocked, match="another run"):
        Journal(tmp_path / "job", JOB)
    with Journal(tmp_path / "other", JOB):
        pass
    first.close()
    Journal(tmp_path / "job", JOB).close()
    assert {path.name for path in tmp_path.iterdir()} == {"job", "other"}


def test_begun_afresh_it_is_empty(hookups: list[RawHookup], tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.save(hookups[0])
    with Journal(tmp_path, JOB, afresh=True) as journal:
        assert not journal.finished()
    with Journal(tmp_path, JOB) as journal:
        assert not journal.resumed


def test_a_job_that_was_being_dropped_when_the_power_went_does_not_come_back(
    hookups: list[RawHookup], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class PowerCut(BaseException):
        pass

    journal = Journal(tmp_path / "job", JOB)
    for raw in hookups:
        journal.save(raw)
    unlink = Path.unlink
    left = [1]

    def once(self: Path, *, missing_ok: bool = False) -> None:
        if not left:
            raise PowerCut
        left.pop()
        unlink(self, missing_ok=missing_ok)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", once)
        with pytest.raises(PowerCut):
            journal.discard()
    journal.close()
    assert list((tmp_path / "job").glob("hookup-*.h5"))
    with Journal(tmp_path / "job", JOB) as again:
        assert not again.resumed
        assert not list((tmp_path / "job").iterdir())


def test_a_hookup_that_cannot_be_stored_is_not_finished(
    hookups: list[RawHookup], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = Journal(tmp_path, JOB)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(ArchiveError, match="the disc is full"):
            journal.save(hookups[0])
    assert not journal.finished()
    assert not list(tmp_path.iterdir())


def test_places_that_cannot_be_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("x", encoding="ascii")
    with pytest.raises(ArchiveError):
        Journal(tmp_path / "file", JOB)

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refused)
    with pytest.raises(ArchiveLocked, match="not permitted"):
        Journal(tmp_path / "new", JOB)
