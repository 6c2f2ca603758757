"""`archive check --list` and `--compare`: what leaves no trace in the archive itself."""

from __future__ import annotations

import csv
import hashlib
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive.check import FileFacts, ListComparison, ListedFile, read_file_list, write_file_list
from benchsweep.archive.format._seal import BLOCK, sealed
from benchsweep.errors import DataFileError
from benchsweep.records import Comment, Specimen

HEADINGS = ["kind", "name", "content_hash", "bytes", "first_512_bytes_sha256"]
GOLDEN = Path(__file__).resolve().parents[1] / "golden"


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, build: SimpleNamespace) -> Path:
    """An archive of two records, the first of version 1, one in a sub-folder, a comment and a calibration."""
    folder = tmp_path_factory.mktemp("sound")
    shutil.copy(GOLDEN / "record-v1.h5", folder / "first.h5")
    archive.write_calibration(build.calibration(np.random.default_rng(1)), folder / "calibrations")
    plain = {"fixture_toml": "", "budget_toml": "", "hookups": 1, "couplings": (), "calibration": None}
    path = archive.write_record(build.measurement(1, **plain), folder / "2025")
    archive.write_note(Comment(archive.content_hash(path), "R. Lind", "2026-04-01T00:00:00Z", "x"), folder)
    return folder


@pytest.fixture
def root(tmp_path: Path, sound: Path) -> Path:
    return shutil.copytree(sound, tmp_path / "archive")


@pytest.fixture
def listed(run: Callable, root: Path, tmp_path: Path) -> Path:
    path = tmp_path / "list.csv"
    run("archive", "check", "--archive", root, "--list", path)
    return path


@pytest.fixture
def compared(run: Callable, root: Path, listed: Path) -> Callable[..., tuple[dict[str, str], int]]:
    """Compare, and return finding by name of the file, and how many are new."""

    def call(code: int, *arguments: object) -> tuple[dict[str, str], int]:
        answer = run("archive", "check", "--archive", root, "--compare", listed, "--json", *arguments)
        assert (answer.code, answer.json["compared"]["file"]) == (code, str(listed)), answer.err
        kinds = ("missing", "other-content")
        found = [item for item in answer.json["findings"] if item["finding"] in kinds]
        names = [Path(item["record"]).relative_to(root).as_posix() for item in found]
        return dict(zip(names, (item["finding"] for item in found), strict=True)), answer.json["compared"][
            "new"
        ]

    return call


def test_the_list_names_every_file_and_can_be_made_by_other_programs(
    run: Callable, root: Path, tmp_path: Path
) -> None:
    listed = tmp_path / "list.csv"
    shutil.copy(GOLDEN / "series-v1.h5", root)
    run("archive", "check", "--archive", root, "--list", listed)
    with listed.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == HEADINGS
    paths = sorted(root.rglob("*.h5"), key=lambda path: path.relative_to(root).as_posix())
    assert [row[1] for row in rows[1:]] == [path.relative_to(root).as_posix() for path in paths]
    for row, path in zip(rows[1:], paths, strict=True):
        assert int(row[3]) == path.stat().st_size
        assert row[4] == hashlib.sha256(path.read_bytes()[:512]).hexdigest()
        with h5py.File(path) as file:
            assert row[2] == file.attrs["content_sha256"]
    assert {row[0] for row in rows[1:]} == {"record", "series", "comment", "calibration"}
    path = listed.with_name("again.csv")
    answer = run("archive", "check", "--archive", root, "--list", path, "--json")
    assert path.read_bytes() == listed.read_bytes()
    digest = hashlib.sha256(listed.read_bytes()).hexdigest()
    assert answer.json["list"] == {"file": str(path), "files": 5, "sha256": digest}


def test_nothing_has_changed(run: Callable, root: Path, listed: Path, compared: Callable) -> None:
    assert compared(run("archive", "check", "--archive", root).code) == ({}, 0)
    words = " ".join(run("archive", "check", "--archive", root, "--compare", listed).out.split())
    assert "list.csv of 4 files, none is new" in words


def test_what_was_deleted_is_missing_and_what_came_is_new(
    run: Callable, root: Path, compared: Callable, listed: Path, build: SimpleNamespace
) -> None:
    note = next(root.glob("notes/*/*.h5"))
    note.unlink()
    # Without the list, nothing tells that there was a note, or a record that nothing is about.
    calibration = next(root.glob("calibrations/*.h5"))
    calibration.unlink()
    before = run("archive", "check", "--archive", root, "--json")
    assert not {item["finding"] for item in before.json["findings"]} & {"orphan", "missing"}
    archive.write_record(build.measurement(5, calibration=None), root)
    expected = {path.relative_to(root).as_posix(): "missing" for path in (note, calibration)}
    assert compared(1) == (expected, 1)
    words = " ".join(run("archive", "check", "--archive", root, "--compare", listed).out.split())
    assert "on the list, but no longer there: 2" in words
    assert "of 4 files, 1 new since" in words


def test_a_file_under_another_name_is_told_as_that(
    run: Callable, root: Path, listed: Path, compared: Callable
) -> None:
    (root / "first.h5").rename(root / "2025" / "second.h5")
    assert compared(1) == ({"first.h5": "missing"}, 0)
    answer = run("archive", "check", "--archive", root, "--compare", listed, "--json")
    (found,) = [item for item in answer.json["findings"] if item["finding"] == "missing"]
    assert found["reason"].endswith(str(root / "2025" / "second.h5"))


def test_what_was_made_anew_with_all_its_checksums_is_found(root: Path, compared: Callable) -> None:
    """A record changed by means of this program itself: no check of the file can tell, the list does."""
    path = next(root.glob("2025/*.h5"))
    changed = replace(archive.read_record(path), specimen=Specimen("another cord"))
    written = archive.write_record(changed, root / "elsewhere")
    written.replace(path)
    (root / "elsewhere").rmdir()
    assert compared(1, "--every-item") == ({path.relative_to(root).as_posix(): "other-content"}, 0)


def test_what_keeps_its_content_hash_but_not_its_content_is_found(root: Path, compared: Callable) -> None:
    path = root / "first.h5"
    with h5py.File(path, "r+") as file:
        file["specimen"].attrs.modify("length_m", 3.0)
    path.write_bytes(b"".join(sealed("record", path.read_bytes()[BLOCK:])))
    assert compared(1) == ({"first.h5": "other-content"}, 0)
    # With --every-item it is damaged, and that alone is told.
    assert compared(6, "--every-item") == ({}, 0)


def test_what_is_damaged_is_not_told_twice_and_is_on_no_list(
    run: Callable, root: Path, listed: Path, compared: Callable
) -> None:
    content = bytearray((root / "first.h5").read_bytes())
    content[5000] ^= 1
    (root / "first.h5").write_bytes(content)
    assert compared(6) == ({}, 0)
    answer = run("archive", "check", "--archive", root, "--list", "second.csv", "--json")
    assert (answer.code, answer.json["list"]["files"]) == (6, 3)
    assert set(read_file_list(listed)) - set(read_file_list(Path("second.csv"))) == {"first.h5"}


def test_the_list_overwrites_nothing_unasked(run: Callable, root: Path, listed: Path) -> None:
    (root / "first.h5").unlink()
    before = listed.read_bytes()
    answer = run("archive", "check", "--archive", root, "--list", listed)
    assert (answer.code, "exists already" in answer.err, answer.out) == (2, True, "")
    assert listed.read_bytes() == before
    # Compared with what it was, then replaced.
    answer = run(
        "archive", "check", "--archive", root, "--list", listed, "--compare", listed, "--overwrite", "--json"
    )
    assert "missing" in {item["finding"] for item in answer.json["findings"]}
    assert (answer.json["list"]["files"], len(read_file_list(listed))) == (3, 3)
    words = run("archive", "check", "--archive", root, "--list", listed, "--overwrite").out
    assert hashlib.sha256(listed.read_bytes()).hexdigest() in words
    assert "Sign it" in " ".join(words.split())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--list", "list.parquet"), "as .csv"),
        (("--list", "x.csv", "--specimen", "cord"), "a whole archive"),
        (("--compare", "x.csv", "first.h5"), "a whole archive"),
        (("--compare", "nowhere.csv"), "nowhere.csv"),
        (("--overwrite",), "does nothing without --list"),
    ],
)
def test_what_makes_no_sense_is_refused(run: Callable, arguments: tuple[str, ...], words: str) -> None:
    answer = run("archive", "check", *arguments)
    assert (answer.code, words in " ".join(answer.err.split())) == (2, True), answer.err


DIGEST = "ab" * 32
LINE = f"record,a.h5,{DIGEST},12,{DIGEST}\r\n"
HEAD = ",".join(HEADINGS) + "\r\n"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "first line"),
        (b"\xff\xfe", "no UTF-8"),
        ((HEAD.replace(",", ";") + LINE).encode(), "first line"),
        ((HEAD + LINE + LINE).encode(), "line 3 has a name that came before"),
        ((HEAD + LINE + "record,b.h5\r\n").encode(), "line 3 has 2 cells"),
        ((HEAD + LINE.replace(DIGEST, "ab", 1)).encode(), "line 2 is not"),
        ((HEAD + LINE.replace(",12,", ",1e2,")).encode(), "line 2 is not"),
        ((HEAD + f'"{LINE}').encode(), "no list of files"),
        ((HEAD + f'"{"a" * 200_000}",{LINE}').encode(), "no list of files"),
    ],
)
def test_a_list_that_is_none_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(content)
    with pytest.raises(DataFileError, match=r"list\.csv") as raised:
        read_file_list(path)
    assert words in raised.value.message


HOSTILE = ["=2+5.h5", "'=2+5.h5", "a\n=b.h5", 'a",b.h5', " .h5", "\udc80.h5", "\ufeffx.h5", "Ü/x.h5"]


def test_names_come_through_whatever_they_are(tmp_path: Path) -> None:
    files = [
        ListedFile.of(name, FileFacts("record", DIGEST, size=k, first_block_sha256=f"{k:064x}"))
        for k, name in enumerate(HOSTILE)
    ]
    listed = read_file_list(write_file_list(files, tmp_path / "list.csv"))
    assert len(listed) == len(HOSTILE)
    comparison = ListComparison(listed)
    assert not [found for file in files for found in comparison.add(file.name, file)]
    assert (list(comparison.missing("archive")), comparison.new) == ([], 0)


def test_an_empty_archive_has_a_list(tmp_path: Path, run: Callable) -> None:
    (tmp_path / "empty").mkdir()
    path = tmp_path / "list.csv"
    assert run("archive", "check", "--archive", tmp_path / "empty", "--list", path).code == 0
    assert read_file_list(path) == {}


def test_a_store_is_listed_as_the_same_files_here(run: Callable, root: Path, listed: Path) -> None:
    import fsspec

    store = fsspec.filesystem("memory")
    store.put(f"{root}/", "listed/", recursive=True)
    try:
        answer = run("archive", "check", "--archive", "memory://listed", "--compare", listed, "--json")
        assert answer.json["compared"] == {"file": str(listed), "files": 4, "new": 0}
        assert "missing" not in {item["finding"] for item in answer.json["findings"]}
        store.rm("/listed/first.h5")
        answer = run("archive", "check", "--archive", "memory://listed", "--compare", listed, "--json")
        assert [item["record"] for item in answer.json["findings"] if item["finding"] == "missing"] == [
            "memory://listed/first.h5"
        ]
    finally:
        store.rm("/listed", recursive=True)
