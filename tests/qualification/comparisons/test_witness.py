"""Histories see each other: of one that was cut off, taken away or written anew the others tell."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.archive.references import ReferenceFile
from benchsweep.errors import ReferenceRefused
from benchsweep.qualification import check_whole_archive
from benchsweep.qualification.comparisons import due, list_references, read_channel, read_tester
from benchsweep.qualification.comparisons._histories import Unread
from tests.qualification.comparisons.made import (
    CHANNEL,
    TESTER,
    added,
    compared,
    constant,
    with_records,
    with_tester,
)

OTHER = "FT-08"


@pytest.fixture
def seen(tmp_path: Path) -> Path:
    """Two comparisons of a tester, seen by one of another."""
    with_records(tmp_path)
    with_tester(tmp_path)
    with_tester(tmp_path, OTHER)
    compared(tmp_path, constant(0.1))
    compared(tmp_path, constant(0.2))
    compared(tmp_path, constant(0.3), tester=OTHER)
    return tmp_path


def path_of(folder: Path, kind: str = "tester", name: str = TESTER) -> Path:
    return Path(str(ReferenceFile(folder, kind, name).path))  # type: ignore[arg-type]


def findings(folder: Path) -> set[tuple[str, str]]:
    found = check_whole_archive(folder).findings
    return {(each.kind, Path(str(each.source)).name) for each in found if each.kind != "left-over"}


def test_nothing_is_said_of_histories_that_grow(seen: Path) -> None:
    added(seen, day=30)
    assert findings(seen) == set()
    assert not any("history" in doubt for doubt in read_tester(seen, TESTER).doubts)
    unread: Unread = []
    list_references(seen, unread=unread)
    assert unread == []


def test_an_end_that_was_cut_off_is_told(seen: Path) -> None:
    path = path_of(seen)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]))
    (doubt,) = (each for each in read_tester(seen, TESTER).doubts if "cut off" in each)
    assert "it has 2 entries, and had 3 entries when something was added to the tester FT-08" in doubt
    assert ("reference-cut", path.name) in findings(seen)
    unread: Unread = []
    assert due(seen, unread=unread)
    assert "was cut off" in unread[0][1].message


def test_a_history_that_is_gone_is_told(seen: Path) -> None:
    path_of(seen).unlink()
    assert ("reference-missing", path_of(seen, name=OTHER).name) in findings(seen)
    unread: Unread = []
    list_references(seen, unread=unread)
    assert "the history of the tester FT-07 is not there any more" in unread[0][1].message


def test_a_history_that_was_written_anew_is_refused_or_told(seen: Path, tmp_path: Path) -> None:
    path = path_of(seen)
    path.unlink()
    with pytest.raises(ReferenceRefused, match="its history is gone"):
        with_tester(seen)
    # Made elsewhere and copied here it is another one.
    other = tmp_path / "other"
    with_records(other)
    with_tester(other)
    for db in (0.4, 0.5):
        compared(other, constant(db))
    path.write_bytes(path_of(other).read_bytes())
    assert any("is another one" in doubt for doubt in read_tester(seen, TESTER).doubts)
    assert ("reference-cut", path.name) in findings(seen)


def test_a_bench_record_sees_the_testers_and_each_state_is_kept_once(seen: Path) -> None:
    view = added(seen, day=30)
    assert {(each.kind, each.name) for each in view.measured[-1].seen} == {("tester", OTHER)}
    assert [each.seen for each in read_channel(seen, CHANNEL).measured[1:]] == [view.measured[-1].seen]
    again = added(seen, day=60)
    assert again.measured[-1].seen == ()
