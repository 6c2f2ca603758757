"""What an unfinished job remembers besides its hookups, and finding what a killed run had archived."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.archive import (
    JobNotes,
    Journal,
    find_calibration_file,
    find_record,
    write_calibration,
    write_record,
)
from benchsweep.errors import ArchiveError
from benchsweep.records import SafetyConfirmation

JOB = {"specimen": "cord 7"}
NOTES = JobNotes(
    SafetyConfirmation("R. Example", "2026-01-01T00:00:00+00:00", ("no voltage", "ümlaut")),
    ("hookup 3: the link dropped", "hookup 5: again"),
    "2026-01-01T01:00:00+00:00",
    ("a", "b"),
    {"temperature_degc": 21.5, "humidity_percent": 40.0},
)


def test_notes_come_back(tmp_path: Path) -> None:
    with Journal(tmp_path / "job", JOB) as journal:
        assert journal.notes == JobNotes()
        journal.keep_notes(replace(NOTES, safety=None))
        journal.keep_notes(NOTES)
        assert journal.notes == NOTES
    with Journal(tmp_path / "job", JOB) as again:
        assert again.notes == NOTES
        assert not again.resumed  # of hookups there are none
        again.discard()
        assert again.notes == JobNotes()
    assert not (tmp_path / "job").exists()


def test_notes_of_an_older_program_tell_of_no_ambient(tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.keep_notes(NOTES)
    (path,) = tmp_path.glob("*.json")
    content = json.loads(json.loads(path.read_bytes())["content"])
    assert content["notes"].pop("ambient") == {"temperature_degc": 21.5, "humidity_percent": 40.0}
    text = json.dumps(content)
    path.write_text(json.dumps({"sha256": hashlib.sha256(text.encode()).hexdigest(), "content": text}))
    with Journal(tmp_path, JOB) as again:
        assert again.notes == replace(NOTES, ambient={})


def test_notes_of_another_job_are_dropped(tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.keep_notes(NOTES)
    with Journal(tmp_path, {"specimen": "cord 8"}) as other:
        assert other.notes == JobNotes()
    with Journal(tmp_path, JOB) as back:
        assert back.notes == JobNotes()


def test_begun_afresh_there_are_none(tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.keep_notes(NOTES)
    with Journal(tmp_path, JOB, afresh=True) as journal:
        assert journal.notes == JobNotes()


def test_damaged_notes_count_as_none(tmp_path: Path) -> None:
    with Journal(tmp_path, JOB) as journal:
        journal.keep_notes(NOTES)
    (path,) = tmp_path.iterdir()
    whole = path.read_bytes()
    rng = np.random.default_rng(3)
    for _ in range(60):
        damaged = bytearray(whole)
        damaged[rng.integers(len(whole))] ^= 1 << int(rng.integers(8))
        for content in (bytes(damaged), whole[: rng.integers(len(whole))]):
            path.write_bytes(content)
            with Journal(tmp_path, JOB) as again:
                assert again.notes in (JobNotes(), NOTES)  # a flipped bit in the white space changes nothing
                assert again.notes == JobNotes() or content != whole[:-1]
    for content in (b"", b"[]", b"null", b'{"content": 1, "sha256": 2}', b"\xff\xfe"):
        path.write_bytes(content)
        with Journal(tmp_path, JOB) as again:
            assert again.notes == JobNotes()


def test_a_full_disc_leaves_the_old_notes_and_the_old_hookup(
    build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(4)
    first, second = build.raw_hookup(rng, 1), build.raw_hookup(rng, 1)
    journal = Journal(tmp_path, JOB)
    journal.keep_notes(NOTES)
    journal.save(first)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(ArchiveError, match="the disc is full"):
            journal.keep_notes(JobNotes())
        with pytest.raises(ArchiveError, match="the disc is full"):
            journal.save(second)
    assert journal.notes == NOTES
    assert build.same(journal.finished()[1], first)
    journal.close()
    with Journal(tmp_path, JOB) as again:
        assert again.notes == NOTES
        assert build.same(again.finished()[1], first)
        again.save(second)
        assert build.same(again.finished()[1], second)
    with Journal(tmp_path, JOB) as again:
        assert build.same(again.finished()[1], second)


def test_a_record_is_found_by_its_sweeps(build: SimpleNamespace, tmp_path: Path) -> None:
    measurement = build.measurement()
    sweeps = tuple(raw.sweep.taken_at for raw in measurement.hookups)
    assert sweeps

    def find(folder: Path = tmp_path, *, sweeps: tuple[str, ...] = sweeps) -> Path | None:
        return find_record(
            folder,
            created_at=measurement.created_at,
            specimen=measurement.specimen.identifier,
            sweeps=sweeps,
        )

    assert find(tmp_path / "nowhere") is None
    assert find() is None
    other = write_record(replace(measurement, hookups=measurement.hookups[:1]), tmp_path)
    assert find() is None
    written = write_record(measurement, tmp_path)
    assert written.name != other.name
    assert find() == written
    assert find(sweeps=sweeps[:1]) == other
    damaged = bytearray(written.read_bytes())
    damaged[-1] ^= 1
    written.write_bytes(damaged)
    assert find() is None


def test_a_calibration_is_found_by_name_and_time(build: SimpleNamespace, tmp_path: Path) -> None:
    made = build.calibration(np.random.default_rng(1))
    known = {"created_at": made.created_at, "identifier": made.identifier}
    assert find_calibration_file(tmp_path / "nowhere", **known) is None
    path = write_calibration(made, tmp_path)
    found = find_calibration_file(tmp_path, **known)
    assert found is not None
    assert found[1] == path
    assert find_calibration_file(tmp_path, **known | {"identifier": "other"}) is None
