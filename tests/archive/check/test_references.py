"""`archive check` and histories of channels, testers, studies: bytes, rules, what they name, lists."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive.check import check_file
from benchsweep.archive.references import ReferenceFile, create, encode_event, keep_file, kept_name
from benchsweep.records import Correction, ReferenceEvent
from tests.archive.references.entries import (
    CHANNEL,
    COMPARED,
    COMPARISON,
    MEASURED,
    PLANNED,
    RETURNED,
    RUN,
    TESTER,
    WITHDRAWN,
)

CONTENT = b"f,dB\n1,2\n"
TEXT = b'["schema = 1"]'


def anything(events: tuple[ReferenceEvent, ...]) -> None:
    assert events


def records(root: Path) -> list[Path]:
    return sorted(root.rglob("*.h5"))


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, build: SimpleNamespace) -> Path:
    """An archive with a channel of one record, a tester of one comparison, a study of one run."""
    folder = tmp_path_factory.mktemp("sound")
    shared = build.calibration(np.random.default_rng(1))
    plain = {"fixture_toml": "", "budget_toml": "", "hookups": 1, "couplings": (), "calibration": shared}
    for seed in range(2):
        archive.write_record(build.measurement(seed, **plain), folder)
    record = records(folder)[0]
    named = archive.content_hash(record)
    create(folder, CHANNEL).append(replace(MEASURED, record=named, path=record.name, accepted=True), anything)
    file, text = keep_file(folder, CONTENT), keep_file(folder, TEXT)
    told = replace(
        COMPARISON, record=record.name, record_digest=named, requirement_digest=text, source_digest=file
    )
    create(folder, TESTER).append(replace(COMPARED, comparison=told, file=file), anything)
    create(folder, PLANNED).append(replace(RUN, source="run.csv", digest=file), anything)
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


def found(document: dict[str, Any]) -> list[tuple[str, str]]:
    return [(each["finding"], Path(each["record"]).name.split("-")[0]) for each in document["findings"]]


def file_of(root: Path, kind: str) -> Path:
    (path,) = (root / "references").glob(f"{kind}-*.txt")
    return path


def kept_of(root: Path, content: bytes) -> Path:
    return root / kept_name(hashlib.sha256(content).hexdigest())


def test_a_sound_one(check: Callable) -> None:
    code, document = check()
    assert (code, document["findings"], document["damaged"]) == (0, [], [])
    assert document["files"] == {"attachment": 2, "record": 2, "reference": 3}
    assert (document["checked"], document["records"]) == (7, 2)


def test_every_byte_of_every_text_is_looked_at(check: Callable, root: Path) -> None:
    for path in (file_of(root, "channel"), file_of(root, "tester"), kept_of(root, CONTENT)):
        whole = path.read_bytes()
        place = len(whole) // 2
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        code, document = check()
        assert code == 6
        assert [each["record"] for each in document["damaged"]] == [str(path)]
        # A kept file that is damaged is not missing besides, nor is anything left over.
        assert document["findings"] == []
        path.write_bytes(whole)
    assert check()[0] == 0


def test_a_record_that_is_gone_or_another_one(check: Callable, root: Path) -> None:
    named, other = records(root)
    named.unlink()
    code, document = check()
    assert code == 1
    assert found(document) == [("reference-record-missing", kind) for kind in ("channel", "tester")]
    shutil.copy(other, named)
    _, document = check()
    assert ("reference-record-differs", "channel") in found(document)


def test_a_record_that_was_withdrawn(check: Callable, root: Path) -> None:
    named = archive.content_hash(records(root)[0])
    at = "2026-12-01T08:00:00+00:00"
    archive.write_note(Correction(named, "x", at, "bent", withdrawn=True), root)
    assert sorted(found(check()[1])) == [
        ("reference-record-withdrawn", "channel"),
        ("reference-record-withdrawn", "tester"),
    ]
    # A channel that was returned after it has a new baseline: the record does not count any more.
    channel = ReferenceFile(root, "channel", CHANNEL.channel)
    for event in (WITHDRAWN, RETURNED):
        channel.append(event, anything)
    assert found(check()[1]) == [("reference-record-withdrawn", "tester")]


def test_kept_files_that_are_gone_or_nobodys(check: Callable, root: Path) -> None:
    kept_of(root, TEXT).unlink()
    keep_file(root, b"of a run that was killed")
    code, document = check()
    assert code == 1
    (lost, left) = document["findings"]
    assert (lost["finding"], Path(lost["record"]).name.split("-")[0]) == (
        "reference-record-missing",
        "tester",
    )
    assert hashlib.sha256(TEXT).hexdigest() in lost["reason"]
    assert left["finding"] == "left-over"
    kept_of(root, CONTENT).unlink()
    kinds = found(check()[1])
    assert kinds.count(("reference-record-missing", "tester")) == 2
    assert kinds.count(("reference-record-missing", "study")) == 1
    # A history that cannot be read may name any kept file: then none is nobody's.
    file_of(root, "tester").write_bytes(b"benchsweep-reference/1\nno line\n")
    assert not [kind for kind, _ in found(check()[1]) if kind == "left-over"]


def chained(path: Path, event: ReferenceEvent) -> None:
    """Add a line by hand, with its checksum: as somebody who knows the format would."""
    head, *lines = path.read_bytes().splitlines()
    before = lines[-1].split(b" ", 2)[1].decode() if lines else hashlib.sha256(head).hexdigest()
    content = json.dumps(encode_event(event), sort_keys=True, separators=(",", ":"))
    number = len(lines) + 1
    digest = hashlib.sha256(f"{before} {number} {content}".encode()).hexdigest()
    path.write_bytes(path.read_bytes() + f"{number} {digest} {content}\n".encode())


def test_rules_that_sound_lines_break(check: Callable, root: Path) -> None:
    path = file_of(root, "channel")
    chained(path, RETURNED)
    chained(path, replace(WITHDRAWN, at="2026-12-01T08:00:00+00:00"))
    chained(path, replace(WITHDRAWN, at="2026-11-30T08:00:00+00:00"))
    reasons = [each["reason"] for each in check()[1]["findings"] if each["finding"] == "reference-refused"]
    assert len(reasons) == 3
    for words in ("was not withdrawn", "was withdrawn before", "a clock was set back"):
        assert sum(words in reason for reason in reasons) == 1


def test_a_copy_under_another_name(check: Callable, root: Path) -> None:
    path = file_of(root, "tester")
    path.rename(path.with_name("tester-FT-08-0123456789abcdef.txt"))
    assert ("reference-refused", "tester") in found(check()[1])


def test_an_unfinished_line_is_told(check: Callable, root: Path) -> None:
    path = file_of(root, "study")
    path.write_bytes(path.read_bytes()[:-9])
    code, document = check()
    assert code == 1
    assert ("left-over", "study") in found(document)


def test_a_list_kept_elsewhere_finds_what_the_chain_cannot(
    check: Callable, root: Path, tmp_path: Path
) -> None:
    listed = tmp_path / "list.csv"
    assert check("--list", listed)[0] == 0
    path = file_of(root, "tester")
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    code, document = check("--compare", listed)
    assert code == 1
    assert ("other-content", "tester") in found(document)
    path.unlink()
    assert ("missing", "tester") in found(check("--compare", listed)[1])


def test_histories_that_have_grown_are_what_was_listed(check: Callable, root: Path, tmp_path: Path) -> None:
    listed = tmp_path / "list.csv"
    check("--list", listed)
    ReferenceFile(root, "tester", TESTER.tester).append(WITHDRAWN, anything)
    assert check("--compare", listed)[0] == 0


def test_single_files(root: Path) -> None:
    facts = check_file(file_of(root, "channel"))
    assert (facts.kind, len(facts.refers)) == ("reference", 1)
    facts = check_file(kept_of(root, CONTENT))
    assert (facts.kind, facts.content_hash) == ("attachment", hashlib.sha256(CONTENT).hexdigest())
