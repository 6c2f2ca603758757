"""Whatever stands in a file, reading it ends with a named error or with what was asked for.

The files are read by a process of its own, so that a crash of the HDF5 library is seen and not suffered. 150
of them as a rule; ``pytest --thorough`` makes ten thousand.
"""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import h5py
import numpy as np
import pytest

from benchsweep.archive import (
    Journal,
    check_record,
    grading_of,
    read_record,
    write_calibration,
    write_grading,
    write_note,
    write_record,
)
from benchsweep.archive.format._seal import BLOCK, sealed
from benchsweep.errors import RecordDamaged
from benchsweep.records import (
    Comment,
    Correction,
    Outcome,
    Parameter,
    RequirementText,
    Verdict,
    VerdictRow,
)

pytest.importorskip("resource", reason="no limit on memory there")

HERE = Path(__file__).resolve().parent
LONGEST_S = 60.0
LARGEST_MB = 500.0
HASH, AT = "5a" * 32, "2026-03-02T08:00:00Z"


@pytest.fixture(scope="module")
def sources(build: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One sound file of every kind and version."""
    folder = tmp_path_factory.mktemp("sources")
    made = folder / "made"
    row = VerdictRow(
        Parameter.NEXT, "A", ("12", "36"), 1.5, 1e8, 45.0, 43.5, 0.3, Outcome.PASS, "from-memory"
    )
    verdict = Verdict("r.h5", "cord 7", "r-1", "simple", 2.0, Outcome.PASS, (row,))
    requirement = RequirementText("r-1", "2026", ("schema = 1\n",))
    paths = {
        "record": write_record(build.measurement(points=4, ports=4), made),
        "import": write_record(build.imported(), made),
        "large": write_record(build.measurement(points=17, ports=16, hookups=1), made),
        "calibration": write_calibration(build.calibration(np.random.default_rng(3)), made),
        "comment": write_note(Comment(HASH, "M. Lindqvist", AT, "from the floor"), made),
        "correction": write_note(Correction(HASH, "x", AT, "misread", {"length_m": 2.5, "lot": "4"}), made),
        "grading": write_grading(grading_of([(HASH, verdict)], [requirement], made_at=AT), made),
    }
    with Journal(made / "job", {"job": "7"}) as journal:
        journal.save(build.raw_hookup(np.random.default_rng(5)))
    paths["hookup"] = journal.folder / "hookup-001.h5"
    paths |= {path.stem: path for path in (HERE / "golden").glob("*-v1*.h5")}
    for name, path in paths.items():
        shutil.copy(path, folder / f"{name}.h5")
    shutil.rmtree(made)
    return folder


def read_in_a_process(sources: Path, work: Path, first: int, last: int) -> list[dict[str, Any]]:
    """Return what the readers made of these files; a file at which the process ended or hung is ``wrong``."""
    answers: list[dict[str, Any]] = []
    while first < last:
        command = [sys.executable, "-W", "error", str(HERE / "mangling.py"), str(sources), str(work)]
        at: dict[str, Any] = {"number": first, "words": "before the first file"}
        with subprocess.Popen(
            [*command, str(first), str(last)], stdout=subprocess.PIPE, bufsize=0
        ) as process:
            assert process.stdout is not None
            while select.select([process.stdout], [], [], LONGEST_S)[0] and (
                line := process.stdout.readline()
            ):
                at = json.loads(line)
                if "found" in at:
                    answers.append(at)
            hung = process.poll() is None and not select.select([process.stdout], [], [], 5.0)[0]
            process.kill()
            code = process.wait()
        if "found" in at and code == 0:
            return answers
        how = "hangs" if hung else f"ends with {code}"
        answers.append({**at, "found": {"process": f"wrong: it {how}"}, "seconds": 0.0, "mb": 0.0})
        assert at["words"] != "before the first file", answers[-1]
        first = at["number"] + 1
    return answers


@pytest.mark.timeout(3600)
def test_mangled_files_are_named_errors(
    sources: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    wanted = 10_000 if request.config.getoption("thorough") else 150
    first = int(os.environ.get("BENCHSWEEP_FIRST_MANGLED", "0"))
    answers = read_in_a_process(sources, tmp_path, first, first + wanted)
    assert len({answer["number"] for answer in answers}) == wanted
    wrong = [
        f"{answer['words']}: {reader}: {said}"
        for answer in answers
        for reader, said in answer["found"].items()
        if said.startswith("wrong")
    ]
    assert not wrong, f"{len(wrong)}: " + "\n".join(wrong[:5])
    slowest = max(answers, key=lambda answer: answer["seconds"])
    largest = max(answer["mb"] for answer in answers)
    said = Counter(said for answer in answers for said in answer["found"].values())
    print(f"\n{dict(said)}; slowest {slowest['seconds']:.2f} s ({slowest['words']}); {largest:.0f} MB")  # noqa: T201
    assert slowest["seconds"] < LONGEST_S / 2, slowest
    assert largest < LARGEST_MB
    # Both are met: files that can still be read, and files that cannot.
    assert said["RecordDamaged"] > wanted
    assert said["read"] > wanted // 20


def resealed(raw: bytes, path: Path) -> Path:
    path.write_bytes(b"".join(map(bytes, sealed("record", raw[BLOCK:]))))
    return path


def test_texts_that_claim_more_than_there_is_take_no_memory(tmp_path: Path) -> None:
    """HDF5 would take two thousand million bytes before it looks whether they are there."""
    raw = bytearray((HERE / "golden" / "record-v1.h5").read_bytes())
    with h5py.File(HERE / "golden" / "record-v1.h5") as file:
        start = file["corrected/ports"].id.get_offset()
    assert int.from_bytes(raw[start : start + 4], "little") == len("A:12.1")
    raw[start : start + 4] = (2_000_000_000).to_bytes(4, "little")
    path = resealed(raw, tmp_path / "long.h5")
    for ask in (read_record, check_record):
        with pytest.raises(RecordDamaged, match=r"/corrected/ports: texts of \d+ bytes in a file of"):
            ask(path)


def test_a_heap_of_texts_without_end_is_named(tmp_path: Path) -> None:
    """HDF5 would go through it for ever: its objects claim no length."""
    raw = bytearray((HERE / "golden" / "record-v1.h5").read_bytes())
    start = raw.index(b"GCOL")
    raw[start + 16 : start + 2048] = bytes(2032)
    for ask in (read_record, check_record):
        with pytest.raises(RecordDamaged, match="a heap of texts does not end"):
            ask(resealed(raw, tmp_path / "endless.h5"))


def test_groups_in_a_circle_are_named(tmp_path: Path) -> None:
    path = tmp_path / "circle.h5"
    shutil.copy(HERE / "golden" / "record-v1.h5", path)
    with h5py.File(path, "r+") as file:
        file["specimen/again"] = file["/"]
    with pytest.raises(RecordDamaged, match="claim more bytes than the file has"):
        check_record(resealed(path.read_bytes(), path))
