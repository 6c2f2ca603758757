"""`archive check` and lots: their bytes, their rules, the records that they name, lists kept elsewhere."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive.check import check_file
from benchsweep.archive.lots import LotFile, create
from benchsweep.errors import RecordMissing
from benchsweep.records import Correction, LotEvent, ReelAdded
from tests.lots.entries import AT, attributes, closed, excluded, lot, opened, result

ORDER = lot().order
FIRST = opened(attributes(2, 0, 1))


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, build: SimpleNamespace) -> Path:
    """An archive of three records, two of which are results of a lot of two reels."""
    folder = tmp_path_factory.mktemp("sound")
    shared = build.calibration(np.random.default_rng(1))
    plain = {"fixture_toml": "", "budget_toml": "", "hookups": 1, "couplings": (), "calibration": shared}
    for seed, place in enumerate(("", "", "2026")):
        archive.write_record(build.measurement(seed, **plain), folder / place)
    file = create(folder, FIRST)
    for reel, path in zip(ORDER[:2], records(folder), strict=False):
        file.append(added(reel, path, folder), lambda there: None)
    return folder


@pytest.fixture
def root(tmp_path: Path, sound: Path) -> Path:
    """A copy of it, to be spoiled."""
    return shutil.copytree(sound, tmp_path / "archive")


@pytest.fixture
def check(run: Callable, root: Path) -> Callable[..., tuple[int, dict[str, Any]]]:
    def call(*arguments: object) -> tuple[int, dict[str, Any]]:
        answer = run("archive", "check", "--archive", root, "--json", *arguments)
        return answer.code, answer.json

    return call


def records(root: Path) -> list[Path]:
    return sorted(root.rglob("*.h5"))


def added(reel: str, path: Path, root: Path, **changes: Any) -> ReelAdded:
    name = path.relative_to(root).as_posix()
    return ReelAdded(AT, "x", "bench", reel, archive.content_hash(path), name, result(), **changes)


def of(root: Path) -> LotFile:
    return LotFile(root, FIRST.lot)


def grow(root: Path, *events: LotEvent) -> None:
    for event in events:
        of(root).append(event, lambda there: None)


def found(document: dict[str, Any]) -> list[tuple[str, str]]:
    """Return (kind, file) of what was found."""
    return [(each["finding"], Path(each["record"]).name) for each in document["findings"]]


def name_of(root: Path) -> str:
    return Path(of(root).path).name


def test_a_sound_lot_is_counted_and_told(check: Callable, run: Callable, root: Path) -> None:
    code, document = check()
    assert code == 0
    assert document["files"] == {"lot": 1, "record": 3}
    assert (document["checked"], document["records"]) == (4, 3)
    assert document["findings"] == document["damaged"] == []
    assert "1 lot, 3 records checked" in " ".join(run("archive", "check", "--archive", root).out.split())
    before = {path: path.stat().st_mtime_ns for path in root.rglob("*")}
    check("--every-item")
    assert {path: path.stat().st_mtime_ns for path in root.rglob("*")} == before


def test_other_files_in_the_folder_are_no_lots(check: Callable, root: Path) -> None:
    (root / "lots" / "read me.txt").write_text("what is here")
    (root / "lots" / "scan.pdf").write_bytes(b"%PDF")
    assert check()[0] == 0


def test_a_damaged_lot_and_one_of_a_later_version(check: Callable, root: Path) -> None:
    path = Path(of(root).path)
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b'"seed":"seed', b'"seed":"Seed'))
    code, document = check()
    assert code == 6
    assert [Path(each["record"]).name for each in document["damaged"]] == [path.name]
    assert "line 2: its checksum" in document["damaged"][0]["reason"]
    path.write_bytes(whole.replace(b"lot/2", b"lot/3", 1))
    code, document = check()
    assert (code, len(document["newer"]), document["damaged"]) == (6, 1, [])
    path.write_bytes(b"something else")
    assert check()[0] == 6


def test_a_damaged_lot_keeps_no_missing_record_from_being_told(
    check: Callable, root: Path, build: SimpleNamespace
) -> None:
    """An orphan is certain as long as all records can be read."""
    archive.write_note(Correction("ab" * 32, "x", AT, "why", {"lot": "7"}), root)
    Path(of(root).path).write_bytes(b"something else")
    assert [kind for kind, _ in found(check()[1])] == ["orphan"]


def test_a_record_that_is_missing_moved_or_another_one(
    check: Callable, run: Callable, root: Path, build: SimpleNamespace
) -> None:
    first, second, _ = records(root)
    moved = root / "2026" / first.name
    first.rename(moved)
    assert check()[0] == 0
    moved.unlink()
    code, document = check()
    assert code == 1
    assert found(document) == [("lot-record-missing", name_of(root))]
    told = document["findings"][0]["reason"]
    assert f"the record {first.relative_to(root).as_posix()} of the reel {ORDER[0]}" in told
    other = archive.write_record(build.measurement(9, hookups=1, fixture_toml="", budget_toml=""), root / "x")
    other.rename(first)
    assert ("lot-record-differs", name_of(root)) in found(check()[1])
    assert "records of lots that are other ones now: 1" in run("archive", "check", "--archive", root).out
    second.unlink()
    kinds = [kind for kind, file in found(check()[1]) if file == name_of(root)]
    assert sorted(kinds) == ["lot-record-differs", "lot-record-missing"]


def test_a_damaged_record_may_be_the_one_that_seems_to_be_missing(check: Callable, root: Path) -> None:
    first, second, _ = records(root)
    first.unlink()
    second.write_bytes(b"something else")
    code, document = check()
    assert (code, document["findings"]) == (6, [])


def test_a_record_that_was_withdrawn_and_used_again(check: Callable, root: Path) -> None:
    content = archive.content_hash(root / added_path(root, 0))
    day = "2026-12-{:02}T00:00:00+00:00"
    archive.write_note(Correction(content, "x", day.format(2), "wrong reel", withdrawn=True), root)
    code, document = check()
    assert code == 1
    assert found(document) == [("lot-record-withdrawn", name_of(root))]
    assert f"the reel {ORDER[0]} counts" in document["findings"][0]["reason"]
    early = archive.write_note(Correction(content, "x", day.format(1), "before", withdrawn=False), root)
    early.rename(early.with_name(f"{content[:16]}-9-correction.h5"))  # the time counts, not the name
    assert [kind for kind, _ in found(check()[1])] == ["lot-record-withdrawn"]
    archive.write_note(Correction(content, "x", day.format(3), "it was the right one", withdrawn=False), root)
    assert found(check()[1]) == []


def added_path(root: Path, place: int) -> str:
    events = [event for event in of(root).read() if isinstance(event, ReelAdded)]
    return events[place].path


def test_a_withdrawn_record_that_does_not_count_any_more_is_nothing_to_look_at(
    check: Callable, root: Path
) -> None:
    content = archive.content_hash(root / added_path(root, 0))
    archive.write_note(Correction(content, "x", AT, "wrong reel", withdrawn=True), root)
    assert len(found(check()[1])) == 1
    third = records(root)[2]
    assert third.relative_to(root).as_posix() not in (added_path(root, 0), added_path(root, 1))
    grow(root, added(ORDER[0], third, root, retest_reason="withdrawn"))
    assert check()[0] == 0


def test_a_reel_that_was_excluded_does_not_count_either(check: Callable, root: Path) -> None:
    content = archive.content_hash(root / added_path(root, 0))
    archive.write_note(Correction(content, "x", AT, "wrong reel", withdrawn=True), root)
    grow(root, excluded(ORDER[0]))
    assert check()[0] == 0


def test_entries_that_may_not_stand_there_are_told(check: Callable, run: Callable, root: Path) -> None:
    grow(root, closed(False, ("R099",)))
    code, document = check()
    assert code == 1
    assert found(document) == [("lot-refused", name_of(root))]
    assert "entry 4 of the history cannot stand there" in document["findings"][0]["reason"]
    assert "lots whose history breaks its own rules: 1" in run("archive", "check", "--archive", root).out


def test_a_copy_under_another_name_is_told(check: Callable, root: Path) -> None:
    copy = root / "lots" / "copy-0123456789abcdef.txt"
    shutil.copy(of(root).path, copy)
    document = check()[1]
    assert ("lot-refused", copy.name) in found(document)
    assert any(kind == "same-content" for kind, _ in found(document))


def test_what_a_killed_run_left(check: Callable, root: Path) -> None:
    path = Path(of(root).path)
    whole = path.read_bytes()
    path.write_bytes(whole[:-30])
    code, document = check()
    assert code == 1
    assert found(document) == [("left-over", path.name)]
    assert "is not finished and does not count" in document["findings"][0]["reason"]
    for size in (0, 5, 40):
        path.write_bytes(whole[:size])
        document = check()[1]
        assert found(document) == [("left-over", path.name)]
        assert "no lot stands in it" in document["findings"][0]["reason"]


def test_a_list_kept_elsewhere_knows_a_lot_that_grew_and_tells_one_that_was_made_anew_or_cut(
    check: Callable, root: Path, tmp_path: Path
) -> None:
    path, list_path = Path(of(root).path), tmp_path / "list.csv"
    assert check("--list", list_path)[0] == 0
    assert f"lot,lots/{path.name},{of(root).digest()}" in list_path.read_text()
    whole = path.read_bytes()
    assert found(check("--compare", list_path)[1]) == []
    grow(root, closed(True))
    code, document = check("--compare", list_path)
    assert (code, document["compared"]["new"], document["findings"]) == (0, 0, [])

    path.write_bytes(
        whole[: whole.rstrip(b"\n").rfind(b"\n") + 1]
    )  # the last entry taken off, without a trace
    assert of(root).read()
    assert found(check("--compare", list_path)[1]) == [("other-content", path.name)]

    head, *lines = whole.splitlines()
    before, anew = hashlib.sha256(head).hexdigest(), [head]
    for number, line in enumerate(lines, start=1):
        entry = json.loads(line.split(b" ", 2)[2])
        content = json.dumps(entry | {"by": "somebody else"}, sort_keys=True, separators=(",", ":"))
        before = hashlib.sha256(f"{before} {number} {content}".encode()).hexdigest()
        anew.append(f"{number} {before} {content}".encode())
    path.write_bytes(b"\n".join([*anew, b""]))
    assert check()[0] == 0  # which nothing in the archive itself can tell
    assert found(check("--compare", list_path)[1]) == [("other-content", path.name)]

    path.unlink()
    assert found(check("--compare", list_path)[1]) == [("missing", path.name)]


def test_one_lot_by_itself(run: Callable, root: Path, tmp_path: Path) -> None:
    answer = run("archive", "check", of(root).path, "--json")
    assert (answer.code, answer.json["files"]) == (0, {"lot": 1})
    facts = check_file(of(root).path)
    assert facts.content_hash == of(root).digest()
    assert [each.path for each in facts.named] == [added_path(root, 0), added_path(root, 1)]
    with pytest.raises(RecordMissing):
        check_file(tmp_path / "none.txt")


def test_the_lists_of_files_find_and_reindex_leave_lots_alone(run: Callable, root: Path) -> None:
    assert run("archive", "reindex", "--archive", root).code == 0
    answer = run("archive", "find", "--archive", root, "--json")
    assert answer.code == 0
    assert answer.json["records"] == 3
    assert answer.json["damaged"] == []
