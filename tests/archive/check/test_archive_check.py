"""`archive check`: what is damaged, what does not fit, and what is left alone."""

from __future__ import annotations

import hashlib
import json
import os
import pickle
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import h5py
import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive.check import check_file
from benchsweep.archive.format._seal import BLOCK, sealed
from benchsweep.errors import ArchiveUnreachable, RecordDamaged, RecordNewer
from benchsweep.qualification import _check_pool
from benchsweep.qualification._check_pool import CheckedFile, check_all
from benchsweep.records import Comment, ErrorTerms, Measurement, Specimen

HOUR = 3600.0
GOLDEN = Path(__file__).resolve().parents[1] / "golden"


@pytest.fixture(scope="module")
def record(build: SimpleNamespace) -> Callable[..., Measurement]:
    """A small record of one hookup whose texts every version accepts: there are none."""
    shared = build.calibration(np.random.default_rng(1))

    def make(seed: int = 1, **changes: object) -> Measurement:
        plain = {"fixture_toml": "", "budget_toml": "", "hookups": 1, "couplings": (), "calibration": shared}
        return build.measurement(seed, **(plain | changes))

    return make


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, record: Callable[..., Measurement]) -> Path:
    """An archive of three sound records, one in a sub-folder, with a comment."""
    folder = tmp_path_factory.mktemp("sound")
    paths = [
        archive.write_record(record(seed), folder / place)
        for seed, place in enumerate(("", "", "2025"), start=1)
    ]
    archive.write_note(
        Comment(archive.content_hash(paths[0]), "R. Lind", "2026-04-01T00:00:00Z", "disputed"), folder
    )
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


def names(items: list[dict[str, str]]) -> list[str]:
    return [Path(item["record"]).name for item in items]


def kinds(document: dict[str, Any]) -> list[str]:
    return [found["finding"] for found in document["findings"]]


def spoil(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) * 2 // 3] ^= 1
    path.write_bytes(content)


def test_a_sound_archive(check: Callable, run: Callable, root: Path) -> None:
    code, document = check()
    assert code == 0
    assert document["schema"] == "benchsweep.check/1"
    assert (document["records"], document["checked"]) == (3, 4)
    assert document["files"] == {"comment": 1, "record": 3}
    assert document["list"] is document["compared"] is None
    assert document["damaged"] == document["newer"] == document["findings"] == []
    text = run("archive", "check", "--archive", root)
    assert (text.code, text.err) == (0, "")
    words = " ".join(text.out.split())
    assert "1 comment, 3 records checked" in words
    assert words.endswith("nothing wrong")


def test_nothing_in_the_archive_is_changed(check: Callable, root: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in root.rglob("*")}
    check()
    assert {path: path.stat().st_mtime_ns for path in root.rglob("*")} == before


def test_every_kind_of_file_is_found_damaged(
    check: Callable, run: Callable, root: Path, build: SimpleNamespace
) -> None:
    calibration = archive.write_calibration(
        build.calibration(np.random.default_rng(5)), root / "calibrations"
    )
    damaged = [next(root.glob("2025/*.h5")), next(root.glob("notes/*/*.h5")), calibration]
    for path in damaged:
        spoil(path)
    (root / "foreign.h5").write_bytes(b"something else")
    code, document = check()
    assert code == 6
    assert set(names(document["damaged"])) == {*(path.name for path in damaged), "foreign.h5"}
    # `records` are among `files`; what is damaged is in neither.
    assert (document["records"], document["checked"]) == (2, 6)
    assert document["files"] == {"record": 2}
    assert not any(str(root) in item["reason"] for item in document["damaged"])
    text = run("archive", "check", "--archive", root)
    assert (text.code, "damaged: 4" in text.out) == (6, True)


def test_a_later_version_is_told_apart_and_is_not_taken_as_checked(check: Callable, root: Path) -> None:
    head = "benchsweep record 99\nsomething new\n"
    digest = hashlib.sha256(head.encode()).hexdigest()
    text = f"{head}sha256 of the lines above: {digest}\n".ljust(511).encode() + b"\n" + b"?" * 99
    (root / "newer.h5").write_bytes(text)
    code, document = check()
    assert (code, names(document["newer"]), document["damaged"]) == (6, ["newer.h5"], [])


def other_terms(terms: ErrorTerms) -> ErrorTerms:
    changed = terms.directivity.copy()
    changed[0, 0] = np.nextafter(changed[0, 0].real, 1.0)
    return replace(terms, directivity=changed)


def test_two_calibrations_of_one_name_and_time(
    check: Callable, root: Path, record: Callable[..., Measurement]
) -> None:
    calibration = record(1).calibration
    assert calibration is not None
    other = replace(calibration, terms=other_terms(calibration.terms))
    path = archive.write_record(record(9, calibration=other), root / "zz")
    code, document = check()
    assert (code, kinds(document), names(document["findings"])) == (1, ["calibration-conflict"], [path.name])


def test_the_calibration_that_the_station_keeps(
    check: Callable, root: Path, record: Callable[..., Measurement], own_home: Path
) -> None:
    calibration = record(1).calibration
    assert calibration is not None
    stored = own_home / "calibrations" / "stored" / "bench-2"
    same = archive.write_calibration(calibration, stored)
    # Another one that no record names may be what it likes.
    archive.write_calibration(replace(calibration, identifier="unused"), stored)
    assert check()[0] == 0
    same.unlink()
    archive.write_calibration(replace(calibration, terms=other_terms(calibration.terms)), stored)
    code, document = check()
    assert (code, kinds(document)) == (1, ["calibration-differs"])
    assert "bench-2" in document["findings"][0]["reason"]
    for path in stored.iterdir():
        spoil(path)
    code, document = check()
    assert (code, set(kinds(document))) == (1, {"stored-calibration-damaged"})


def test_a_calibration_in_a_record_of_version_1_is_the_same_as_in_one_of_today(
    tmp_path: Path, run: Callable
) -> None:
    old = GOLDEN / "record-v1.h5"
    shutil.copy(old, tmp_path / "a.h5")
    again = archive.read_record(old)
    assert again.calibration is not None
    # The same sweeps and the same calibration, under another name, in the format of today.
    archive.write_record(replace(again, specimen=Specimen("again")), tmp_path / "b")
    found = run("archive", "check", "--archive", tmp_path, "--json").json["findings"]
    assert {item["finding"] for item in found} - {"fixture-refused", "budget-refused"} == {"same-sweeps"}


def test_definitions_that_are_refused_today(
    check: Callable, root: Path, record: Callable[..., Measurement]
) -> None:
    archive.write_record(record(8, fixture_toml="kind = 'none'\n", budget_toml="schema = 99\n"), root / "zz")
    code, document = check()
    assert (code, kinds(document)) == (1, ["fixture-refused", "budget-refused"])
    assert "schema" in document["findings"][1]["reason"]


def test_records_stored_twice(check: Callable, root: Path, record: Callable[..., Measurement]) -> None:
    first = sorted(root.glob("*.h5"))[0]
    shutil.copy(first, root / "zz.h5")
    # The sweeps of the third record under another name; those of a new reduction are meant to be the same.
    third = archive.read_record(next(root.glob("2025/*.h5")))
    archive.write_record(replace(third, specimen=Specimen("another cord")), root / "zz")
    source = archive.content_hash(next(root.glob("2025/*.h5")))
    archive.write_record(replace(third, reduced_from=source, reason="kit"), root / "zz")
    code, document = check()
    assert (code, sorted(kinds(document))) == (1, ["same-content", "same-sweeps"])
    by_kind = {found["finding"]: found for found in document["findings"]}
    assert Path(by_kind["same-content"]["record"]).name == "zz.h5"
    assert first.name in by_kind["same-content"]["reason"]
    assert "another-cord" in by_kind["same-sweeps"]["record"]


def test_what_points_at_a_record_that_is_not_there(
    check: Callable, root: Path, record: Callable[..., Measurement]
) -> None:
    archive.write_note(Comment("ab" * 32, "R. Lind", "2026-04-01T00:00:00Z", "lost"), root)
    archive.write_record(record(8, reduced_from="cd" * 32, reason="kit"), root / "zz")
    code, document = check()
    assert (code, sorted(kinds(document))) == (1, ["orphan", "source-missing"])
    # A damaged note is none of those that are meant, a damaged record may be: then nothing is said of it.
    spoil(next(path for path in root.glob("notes/*/*.h5") if path.parent.name != "ab"))
    code, document = check()
    assert (code, sorted(kinds(document))) == (6, ["orphan", "source-missing"])
    spoil(sorted(root.glob("*.h5"))[1])
    code, document = check()
    assert (code, kinds(document)) == (6, [])


def aged(path: Path, hours: float) -> None:
    then = time.time() - hours * HOUR
    os.utime(path, (then, then))


def test_what_killed_runs_leave(check: Callable, root: Path, build: SimpleNamespace) -> None:
    for name, hours in (("." + 16 * "a" + ".partial", 3.0), ("." + 16 * "b" + ".partial", 0.0)):
        (root / "2025" / name).write_bytes(b"half")
        aged(root / "2025" / name, hours)
    for name, hours in (("old", 50.0), ("young", 0.0)):
        with archive.Journal(root / "unfinished" / name, {"specimen": name}) as journal:
            journal.save(build.raw_hookup(np.random.default_rng(1)))
        for path in (root / "unfinished" / name).iterdir():
            aged(path, hours)
    code, document = check()
    assert (code, sorted(kinds(document))) == (1, ["left-over", "unfinished"])
    by_kind = {found["finding"]: found for found in document["findings"]}
    assert by_kind["left-over"]["record"].endswith("a.partial")
    assert Path(by_kind["unfinished"]["record"]).name == "old"
    assert "2 days" in by_kind["unfinished"]["reason"]


def test_named_records_alone(check: Callable, run: Callable, root: Path) -> None:
    sound, bad = sorted(root.glob("*.h5"))
    spoil(bad)
    archive.write_note(Comment("ab" * 32, "R. Lind", "2026-04-01T00:00:00Z", "lost"), root)
    answer = run("archive", "check", sound, "--json")
    assert (answer.code, answer.json["records"], answer.json["archive"]) == (0, 1, None)
    answer = run("archive", "check", sound, bad, "--json")
    assert (answer.code, answer.json["records"], names(answer.json["damaged"])) == (6, 1, [bad.name])
    assert answer.json["checked"] == 2
    answer = run("archive", "check", sound, root / "nothing.h5", "--json")
    assert (answer.code, answer.out) == (2, "")
    assert "nothing.h5: no such file" in answer.err


def test_a_selection_alone(check: Callable, run: Callable, root: Path, record: Callable) -> None:
    archive.write_record(record(7, specimen=Specimen("reel 7"), fixture_toml="kind = 'none'\n"), root)
    code, document = check("--specimen", "reel*")
    assert (code, document["records"], kinds(document)) == (1, 1, ["fixture-refused"])
    code, document = check("--specimen", "cord*")
    assert (code, document["records"]) == (0, 3)
    answer = run("archive", "check", next(root.glob("*.h5")), "--specimen", "x", "--archive", root)
    assert (answer.code, "exclude each other" in answer.err) == (2, True)


def test_what_is_no_archive(run: Callable) -> None:
    answer = run("archive", "check", "--archive", "nowhere")
    assert (answer.code, "no such archive" in answer.err) == (6, True)


def test_control_characters_of_names_do_not_reach_the_terminal(run: Callable, root: Path) -> None:
    (root / "evil\x1b[31m.h5").write_bytes(b"x")
    answer = run("archive", "check", "--archive", root)
    assert (answer.code, "\x1b" in answer.out) == (6, False)


@pytest.mark.parametrize("name", ["record-v1.h5", "record-v2.h5", "comment-v2.h5", "grading-v2.h5"])
def test_every_flipped_byte_is_found(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    content = (GOLDEN / name).read_bytes()
    rng = np.random.default_rng(3)
    # All lines of the seal, and bytes of all the rest.
    places = [*range(0, 512, 16), *rng.integers(512, len(content), 40).tolist()]
    check_file(GOLDEN / name)
    for place in places:
        flipped = bytearray(content)
        flipped[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(flipped)
        with pytest.raises((RecordDamaged, RecordNewer)):
            check_file(path)


def test_what_was_changed_on_purpose_and_sealed_again_is_found_on_request(
    tmp_path: Path, run: Callable
) -> None:
    path = tmp_path / "resealed.h5"
    shutil.copy(GOLDEN / "record-v1.h5", path)
    with h5py.File(path, "r+") as file:
        file["specimen"].attrs.modify("length_m", 3.0)
    path.write_bytes(b"".join(sealed("record", path.read_bytes()[BLOCK:])))
    assert run("archive", "check", path, "--json").json["damaged"] == []
    answer = run("archive", "check", path, "--every-item", "--json")
    assert (answer.code, names(answer.json["damaged"])) == (6, ["resealed.h5"])
    assert "/specimen" in answer.json["damaged"][0]["reason"]
    for name in ("record-v1.h5", "record-v2.h5", "grading-v2.h5"):
        assert run("archive", "check", GOLDEN / name, "--every-item", "--json").json["damaged"] == []


def test_a_drive_that_goes_is_told_as_such_from_another_process() -> None:
    # As it comes out of a pool of processes.
    told = pickle.loads(pickle.dumps(ArchiveUnreachable("s3://b/x.h5: gone", hint="Check the network.")))
    assert (type(told), told.message, told.hint) == (
        ArchiveUnreachable,
        "s3://b/x.h5: gone",
        "Check the network.",
    )


class Deadly(str):
    """The name of a file at which the process that reads it ends."""

    __slots__ = ()

    def __reduce__(self) -> tuple[Any, ...]:
        return os._exit, (1,)


def test_several_processes_find_the_same_in_the_same_order_and_one_may_die(root: Path) -> None:
    spoil(next(root.glob("2025/*.h5")))
    sources: list[Path | str] = [entry.source for entry in archive.list_files(root)]
    sources *= 3
    alone = list(check_all(sources, 1))
    assert [found.trouble for found in alone[:4]] == ["", "", "damaged", ""]
    found = list(check_all([*sources[:7], Deadly("deadly.h5"), *sources[7:]], 2))
    assert found[7].reason == "the process that read it died"
    assert [*found[:7], *found[8:]] == alone


@pytest.mark.parametrize(("each_s", "files", "expected"), [(0.3, 400, [2]), (0.3, 40, []), (0.01, 400, [])])
def test_other_processes_start_only_where_the_end_comes_sooner(
    root: Path, monkeypatch: pytest.MonkeyPatch, each_s: float, files: int, expected: list[int]
) -> None:
    """Two of them take a second to start; chunks of eight files take `each_s` here."""
    clock = SimpleNamespace(now=0.0)
    monkeypatch.setattr(_check_pool, "time", SimpleNamespace(monotonic=lambda: clock.now))
    monkeypatch.setattr(_check_pool, "cores", lambda: 2)
    started: list[int] = []

    def check_here(sources: list[Path], *, every_item: bool) -> list[CheckedFile]:
        clock.now += each_s
        return [CheckedFile(str(source), None) for source in sources]

    def in_processes(work: Callable, waiting: Any, jobs: int) -> Iterator[CheckedFile]:
        started.append(jobs)
        while waiting:
            yield from work(waiting.popleft())

    monkeypatch.setattr(_check_pool, "_check_chunk", check_here)
    monkeypatch.setattr(_check_pool, "_in_processes", in_processes)
    sources = [root / f"{number}.h5" for number in range(files)]
    assert [found.source for found in check_all(sources)] == list(map(str, sources))
    assert started == expected


def test_processes_end_with_the_one_that_started_them(root: Path) -> None:
    program = """
import os, signal
from pathlib import Path
from benchsweep.qualification._worker_pool import submit, worker_pool
if __name__ == "__main__":
    with worker_pool(1) as pool:
        print(submit(pool, os.getpid).result(), flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
"""
    script = root / "starts.py"
    script.write_text(program)
    done = subprocess.run([sys.executable, script], check=False, capture_output=True, text=True, timeout=60)
    worker = int(done.stdout)
    for _ in range(200):
        if not alive(worker):
            return
        time.sleep(0.05)
    os.kill(worker, 9)
    pytest.fail("the worker outlived the process that started it")


def alive(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is read from /proc")
def test_memory_does_not_grow_with_the_number_of_records(
    root: Path, record: Callable, tmp_path: Path
) -> None:
    program = """
import json, sys
from benchsweep.qualification import archive_check_document, check_whole_archive
def peak():
    return int(next(l for l in open("/proc/self/status") if l.startswith("VmHWM")).split()[1])
check_whole_archive(sys.argv[1], jobs=1)
few = peak()
found = check_whole_archive(sys.argv[2], jobs=1)
print(json.dumps([archive_check_document(found)["records"], few, peak()]))
"""
    big = tmp_path / "big"
    path = archive.write_record(record(6, points=1001, ports=8, calibration=None), big)
    for number in range(20):
        os.link(path, big / f"{number}.h5")
    arguments = [sys.executable, "-c", program, str(root), str(big)]
    done = subprocess.run(arguments, check=True, capture_output=True, text=True, timeout=120)
    records, few, many = json.loads(done.stdout)
    assert records == 21
    # 21 records of 3 MB each: were they kept, it would be 60 MB.
    assert many - few < 20_000
