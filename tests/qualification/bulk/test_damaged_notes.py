"""Damaged notes stop the records they may correct and nothing else; no place to keep things stops nothing."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep import archive
from benchsweep.records import Comment, Correction, Measurement
from tests.conftest import Run

REGRADE = ("archive", "regrade", "--against", "tia-6a-cord", "--jobs", 1, "--json", "--quiet")


@pytest.fixture
def three(bench: Measurement, tmp_path: Path) -> Path:
    """Three cords; a comment and a correction of the first."""
    root = tmp_path / "three"
    for number in range(3):
        specimen = replace(bench.specimen, identifier=f"cord-{number}", lot="before")
        path = archive.write_record(
            replace(bench, specimen=specimen, created_at=f"2026-05-01T10:0{number}:00Z"), root
        )
        if number == 0:
            named = archive.content_hash(path)
            archive.write_note(Comment(named, "an engineer", "2026-05-02T08:00:00Z", "looks fine"), root)
            changes = {"lot": "after"}
            archive.write_note(
                Correction(named, "an engineer", "2026-05-02T09:00:00Z", "label", changes), root
            )
    return root


def note(root: Path, kind: str) -> Path:
    (path,) = root.glob(f"notes/*/*-{kind}.h5")
    return path


def flip(path: Path, place: int) -> Path:
    content = bytearray(path.read_bytes())
    content[place] ^= 1
    path.write_bytes(content)
    return path


def _comment(root: Path) -> None:
    flip(note(root, "comment"), 3000)


def _another_comment(root: Path) -> None:
    """Found by nobody who looks for the notes of a record: its name begins with none of a hash."""
    path = note(root, "comment")
    flip(Path(shutil.copy(path, path.with_name("copy.h5"))), 3)


def _grading(root: Path) -> None:
    (root / "gradings" / "ab").mkdir(parents=True)
    (root / "gradings" / "ab" / "x.h5").write_bytes(b"nothing of ours")


@pytest.mark.parametrize("spoil", [_comment, _another_comment, _grading])
def test_what_corrects_nothing_stops_nothing(spoil: Callable[[Path], None], run: Run, three: Path) -> None:
    spoil(three)
    answer = run(*REGRADE, "--archive", three)
    assert answer.code != 6
    assert answer.json["records"] == sum(answer.json["outcomes"].values()) == 3
    assert answer.json["damaged"] == []
    assert len(answer.json["warnings"]) == 1
    assert answer.err.startswith("warning: ")


def _correction(root: Path) -> None:
    flip(note(root, "correction"), 3000)


def _comment_that_may_be_anything(root: Path) -> None:
    flip(note(root, "comment"), 3)


def _correction_named_as_a_comment(root: Path) -> None:
    note(root, "comment").unlink()
    path = note(root, "correction")
    flip(path, 3000).rename(path.with_name(path.name.replace("correction", "comment")))


def _correction_under_another_name(root: Path) -> None:
    path = note(root, "correction")
    path.rename(path.with_name("the label was wrong.h5"))


@pytest.mark.parametrize(
    "spoil",
    [
        _correction,
        _comment_that_may_be_anything,
        _correction_named_as_a_comment,
        _correction_under_another_name,
    ],
)
def test_a_record_whose_corrections_are_not_sure_has_no_verdict(
    spoil: Callable[[Path], None], run: Run, three: Path
) -> None:
    spoil(three)
    first = str(min(three.glob("*.h5")))
    answer = run(*REGRADE, "--archive", three)
    assert answer.code == 6
    assert answer.json["records"] == 3
    assert sum(answer.json["outcomes"].values()) == 2
    assert [one["record"] for one in answer.json["damaged"]] == [first]
    assert "correct" in answer.json["damaged"][0]["reason"]
    assert first in answer.err


def test_a_damaged_correction_of_another_record_is_a_warning(run: Run, three: Path) -> None:
    flip(note(three, "correction"), 3000)
    answer = run(*REGRADE, "--archive", three, "--specimen", "cord-2")
    assert answer.code != 6
    assert answer.json["records"] == 1
    assert len(answer.json["warnings"]) == 1


@pytest.mark.parametrize("spoil", [_comment, _correction])
def test_reducing_goes_on_too(
    spoil: Callable[[Path], None], run: Run, three: Path, bench: Measurement, tmp_path: Path
) -> None:
    spoil(three)
    assert bench.calibration is not None
    other = replace(bench.calibration, created_at="2026-05-01T07:00:00Z")
    file = archive.write_calibration(other, tmp_path / "calibrations")
    answer = run(
        "archive", "reduce", "--archive", three, "--apply-calibration", file, "--reason", "worn", "--json",
        "--jobs", 1, "--quiet",
    )  # fmt: skip
    stopped = spoil is _correction
    assert answer.code == (6 if stopped else 0)
    assert len(answer.json["reduced"]) == (2 if stopped else 3)
    assert answer.json["records"] == 3


def test_where_nothing_can_be_kept_records_are_graded_all_the_same(
    run: Run, three: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = run(*REGRADE, "--archive", three).json["requirements"]
    file = tmp_path / "cache"
    file.write_text("a file where the folder should be")
    monkeypatch.setenv("XDG_CACHE_HOME", str(file))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    answer = run(*REGRADE, "--archive", three, "--csv", tmp_path / "verdicts.csv")
    assert answer.json["requirements"] == expected
    assert answer.err.count("will begin anew") == 1
    assert (tmp_path / "verdicts.csv").stat().st_size > 1000
    assert not list(tmp_path.glob("benchsweep-bulk-*"))  # what was in its place is gone
