"""One flipped byte anywhere in a file is found by whoever reads it, in every version of the format.

`read_record` and `check_record` find each of them. `read_reduced` and `read_head` leave out what they do not
give back: they find the flip, or give exactly what they gave before.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.archive import (
    check_record,
    content_hash,
    grading_of,
    read_calibration,
    read_grading,
    read_head,
    read_note,
    read_record,
    read_reduced,
    write_calibration,
    write_grading,
    write_note,
    write_record,
)
from benchsweep.errors import RecordDamaged
from benchsweep.records import Comment, Correction, Outcome, RequirementText, Verdict

GOLDEN = Path(__file__).resolve().parent / "golden"
HASH, AT = "5a" * 32, "2026-03-02T08:00:00Z"
BEGINNING = 4096
RECORDS = ("record-v1.h5", "record-v1-bundle.h5", "record of now", "small record of now")


@pytest.fixture(scope="module")
def records(build: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("flips")
    # With arrays that have a sum of their own, and without.
    large = write_record(build.measurement(points=20, ports=16, hookups=1), folder / "large")
    small = write_record(build.measurement(), folder / "small")
    copies = [Path(shutil.copy(GOLDEN / name, folder)) for name in RECORDS[:2]]
    return dict(zip(RECORDS, (*copies, large, small), strict=True))


@contextmanager
def flipped(path: Path, place: int, mask: int) -> Iterator[None]:
    """Change one byte of the file, and change it back."""
    with path.open("r+b", buffering=0) as stream:
        stream.seek(place)
        (byte,) = stream.read(1)
        for value in (byte ^ mask, byte):
            stream.seek(place)
            stream.write(bytes([value]))
            if value != byte:
                yield


def places(path: Path, many: int, seed: int, every: int = 1) -> list[tuple[int, int]]:
    """Bytes of the beginning and so many more anywhere, each with what is to change in it."""
    rng = np.random.default_rng(seed)
    size = path.stat().st_size
    where = [*range(0, min(BEGINNING, size), every), *rng.integers(0, size, many).tolist()]
    return list(zip(where, rng.integers(1, 256, len(where)).tolist(), strict=True))


def found_by(ask: Callable[[Path], object], path: Path, where: str) -> None:
    caught: RecordDamaged | None = None
    try:
        ask(path)
    except RecordDamaged as error:
        caught = error
    assert caught is not None, f"{where}: {ask.__name__} did not see it"
    assert str(path) in caught.message
    assert caught.hint


@pytest.mark.timeout(3000)
def test_every_flip_is_found_or_does_no_harm(
    records: dict[str, Path], build: SimpleNamespace, request: pytest.FixtureRequest
) -> None:
    many, every = (1000, 1) if request.config.getoption("thorough") else (20, 33)
    for seed, (name, path) in enumerate(records.items()):
        original = path.read_bytes()
        wanted = {ask: ask(path) for ask in (read_reduced, read_head)}
        unseen = 0
        for place, mask in places(path, many, seed, every):
            where = f"{name}: byte {place} changed by {mask:#x}"
            with flipped(path, place, mask):
                for ask in (read_record, check_record):
                    found_by(ask, path, where)
                for ask, before in wanted.items():
                    try:
                        found = ask(path)
                    except RecordDamaged:
                        continue
                    assert build.same(found, before), f"{where}: {ask.__name__} gave something else"
                    unseen += 1
        assert path.read_bytes() == original
        # Version 1 has one sum over all.
        assert unseen == 0 or "v1" not in name
        for ask in (read_record, check_record, read_reduced, read_head):
            ask(path)


def test_every_flip_in_an_array_of_the_matrix_is_found_before_it_is_graded(
    records: dict[str, Path], build: SimpleNamespace
) -> None:
    """What `read_reduced` gives back is checked to the last byte."""
    path = records["record of now"]
    matrix = build.measurement(points=20, ports=16, hookups=1).corrected.s.tobytes()
    start = path.read_bytes().index(matrix)
    rng = np.random.default_rng(8)
    inside = [0, len(matrix) - 1, *rng.integers(0, len(matrix), 8).tolist()]
    for place in inside:
        with flipped(path, start + place, 1 << (place % 8)):
            for ask in (read_reduced, read_record, check_record):
                with pytest.raises(RecordDamaged):
                    ask(path)
    # The error terms are not read for grading.
    assert read_reduced(path).corrected.s.tobytes() == matrix


def test_the_content_hash_is_of_a_sound_file_or_none(records: dict[str, Path]) -> None:
    for name, path in records.items():
        before = content_hash(path)
        for place, mask in places(path, 20, 5, every=200):
            with flipped(path, place, mask):
                try:
                    assert content_hash(path) == before, f"{name}: byte {place}"
                except RecordDamaged:
                    continue


@pytest.mark.timeout(3000)
def test_flips_in_files_of_other_kinds(
    build: SimpleNamespace, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    many, every = (1000, 1) if request.config.getoption("thorough") else (30, 40)
    calibration = build.calibration(np.random.default_rng(3), points=60, ports=16)
    verdict = Verdict("r.h5", "cord 7", "r-1", "simple", 2.0, Outcome.UNDECIDED, ())
    grading = grading_of([(HASH, verdict)], [RequirementText("r-1", "2026", ("schema = 1\n",))], made_at=AT)
    files: dict[Path, Callable[[Path], object]] = {
        write_calibration(calibration, tmp_path): read_calibration,
        write_note(Comment(HASH, "M. Lindqvist", AT, "from the floor"), tmp_path): read_note,
        write_note(Correction(HASH, "x", AT, "misread", {"length_m": 2.5}), tmp_path): read_note,
        write_grading(grading, tmp_path): read_grading,
    }
    for path, read in files.items():
        read(path)
        for place, mask in places(path, many, 9, every):
            with flipped(path, place, mask):
                found_by(read, path, f"{path.name}: byte {place} changed by {mask:#x}")
        read(path)
