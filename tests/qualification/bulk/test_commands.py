"""`archive regrade` and `archive reduce` from the command line: answers, exit codes, what is kept."""

from __future__ import annotations

import csv
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import fsspec
import numpy as np
import pytest

from benchsweep import archive
from benchsweep.records import Calibration, Measurement
from tests.conftest import Run


def test_regrade_tells_how_many_and_writes_a_table(run: Run, cords: Path, tmp_path: Path) -> None:
    table = tmp_path / "verdicts.csv"
    answer = run(
        "archive", "regrade", "--archive", cords, "--against", "tia-6a-cord", "--against", "tia-6-cord",
        "--specimen", "cord 0*", "--csv", table, "--json",
    )  # fmt: skip
    assert answer.code == 1
    document = answer.json
    assert document["schema"] == "benchsweep.regrade/1"
    assert (document["records"], document["resumed"], document["damaged"]) == (10, 0, [])
    assert document["outcomes"] == {
        "pass": 14, "conditional-pass": 0, "conditional-fail": 0, "fail": 4, "undecided": 2,
    }  # fmt: skip
    assert document["requirements"]["tia-6-cord"]["fail"] == 2
    assert document["records_per_second"] > 0
    with table.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    records = list(dict.fromkeys(row["record"] for row in rows))
    assert records == sorted(records)
    for record in records[:2]:
        verdicts = run("grade", record, "--against", "tia-6a-cord", "--json").json
        own = [row for row in rows if row["record"] == record and row["requirement"] == "tia-6a-cord"]
        assert [float(row["worst_margin_db"]) for row in own] == [
            row["worst_margin_db"] for row in verdicts["rows"]
        ]
        assert [float(row["uncertainty_high"]) for row in own] == [
            row["uncertainty_high"] for row in verdicts["rows"]
        ]


def test_a_damaged_record_is_told_after_all_others_are_graded(run: Run, cords: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(cords, copy)
    paths = sorted(copy.glob("*.h5"))
    content = bytearray(paths[3].read_bytes())
    # A byte of the corrected matrix: seen when it is read. Raw sweeps are not read for grading.
    content[content.index(archive.read_record(paths[3]).corrected.s.tobytes()) + 2000] ^= 1
    paths[3].write_bytes(content)
    paths[5].write_bytes(paths[5].read_bytes()[:-7])  # the structure: seen by the index
    answer = run("archive", "regrade", "--archive", copy, "--against", "tia-6a-cord", "--json")
    assert answer.code == 6
    assert answer.json["records"] == 41
    assert {item["record"] for item in answer.json["damaged"]} == {str(paths[3]), str(paths[5])}
    assert sum(answer.json["outcomes"].values()) == 39
    assert str(paths[3]) in answer.err


def test_verdicts_are_kept_and_found(run: Run, cords: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(cords, copy)
    words = ("archive", "regrade", "--archive", copy, "--against", "tia-6a-cord", "--length-m", 2)
    assert run(*words, "--keep", "--by", "an engineer").code == 1
    (kept,) = (entry.source for entry in archive.list_files(copy) if entry.kind == "grading")
    grading = archive.read_grading(kept)
    assert (len(grading), grading.by, dict(grading.told)) == (41, "an engineer", {"length_m": "2.0"})
    assert "NEXT" in grading.requirements[0].files[0] or "next" in grading.requirements[0].files[0]
    found = run(
        "archive", "find", "--archive", copy, "--graded-against", "tia-6a-cord", "--outcome", "fail", "--json"
    )
    assert found.json["records"] == 8
    assert run(*words, "--by", "nobody").code == 2


def test_an_archive_at_an_address(run: Run, cords: Path) -> None:
    system = fsspec.filesystem("memory")
    system.put(str(cords), "/bulk-archive", recursive=True)
    root = "memory://bulk-archive"
    local = run("archive", "regrade", "--archive", cords, "--against", "tia-6a-cord", "--json").json
    remote = run("archive", "regrade", "--archive", root, "--against", "tia-6a-cord", "--json")
    assert remote.json["requirements"] == local["requirements"]
    refused = run("archive", "regrade", "--archive", root, "--against", "tia-6a-cord", "--keep")
    assert (refused.code, "nothing is written to an address" in refused.err) == (2, True)
    system.rm("/bulk-archive", recursive=True)


def test_a_cluster_without_dask_or_without_an_answer(
    run: Run, cords: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ("archive", "regrade", "--archive", cords, "--against", "tia-6a-cord", "--scheduler")
    from benchsweep.qualification.bulk import _cluster

    monkeypatch.setattr(_cluster, "_ANSWER_S", 0.3)
    refused = run(*words, "tcp://127.0.0.1:9")
    assert (refused.code, "no Dask scheduler answers at tcp://127.0.0.1:9" in refused.err) == (2, True)

    def missing(name: str) -> Any:
        raise ImportError(name)

    monkeypatch.setattr(_cluster, "import_module", missing)
    refused = run(*words, "tcp://127.0.0.1:9")
    assert (refused.code, "benchsweep[cluster]" in refused.err) == (2, True)


@pytest.fixture
def right(bench: Measurement) -> Calibration:
    """The calibration that the records were corrected with."""
    assert bench.calibration is not None
    return bench.calibration


def test_sweeps_are_reduced_again_with_another_calibration(
    run: Run, right: Calibration, cords: Path, tmp_path: Path
) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(cords, copy, ignore=shutil.ignore_patterns("*cord-[23]*", "*cord-1[02-9]*"))
    spoiled = replace(
        right,
        created_at="2026-05-03T08:00:00Z",
        terms=replace(right.terms, transmission_tracking=1.1 * right.terms.transmission_tracking),
    )
    files = [archive.write_calibration(one, tmp_path / "calibrations") for one in (spoiled, right)]

    def words(number: int) -> tuple[object, ...]:
        return (
            "archive", "reduce", "--archive", copy, "--apply-calibration", files[number], "--json",
            "--reason", "tracking was wrong",
        )  # fmt: skip

    narrow = ("--specimen", "cord 0[4-7]")
    first = run(*words(0), *narrow)
    assert (first.code, len(first.json["reduced"]), first.json["already"]) == (0, 4, 0)
    pair = first.json["reduced"][1]
    old, new = archive.read_record(pair["record"]), archive.read_record(pair["new"])
    assert new.reduced_from == archive.content_hash(pair["record"])
    assert (new.reason, new.specimen, new.budget_toml) == (
        "tracking was wrong",
        old.specimen,
        old.budget_toml,
    )
    assert new.calibration is not None
    assert new.calibration.created_at == spoiled.created_at
    # What goes through is 1.1 times less, but for what mismatches do to it.
    through = old.corrected.s[0, 8, 0] / new.corrected.s[0, 8, 0]
    assert abs(through - 1.1) < 0.01
    # Once more: nothing is left to do.
    again = run(*words(0), *narrow)
    assert (again.code, again.json["reduced"], again.json["already"]) == (0, [], 4)
    # Back with the right one: the matrix of the bench, to the bit, whoever does it; the import has no sweeps.
    back = run(*words(1), *narrow)
    assert len(back.json["reduced"]) == 4
    matrices = {two["record"]: archive.read_record(two["new"]).corrected.s for two in back.json["reduced"]}
    assert np.array_equal(matrices[pair["new"]], old.corrected.s)
    rest = run(*words(0), "--jobs", 2)
    assert (rest.code, len(rest.json["reduced"])) == (1, 11)
    assert ["no raw sweeps" in item["reason"] for item in rest.json["not_reduced"]] == [True]
    # The corrected name and length are those of the new record.
    renamed = run("archive", "find", "--archive", copy, "--specimen", "cord eleven", "--json").json["found"]
    assert [(one["length_m"], one["corrections"]) for one in renamed] == [(5.0, 0)]
    # Those that were reduced again are left out of selections unless asked for.
    assert run("archive", "find", "--archive", copy, "--json").json["records"] == 12
    assert (
        run("archive", "find", "--archive", copy, "--superseded", "--json").json["records"] == 12 + 4 + 4 + 11
    )


def test_a_calibration_of_another_bench_is_not_applied(
    run: Run, right: Calibration, cords: Path, tmp_path: Path
) -> None:
    other = replace(right, idn="another,analyzer,1,1", created_at="2026-05-03T08:00:00Z")
    answer = run(
        "archive", "reduce", "--archive", cords, "--json", "--reason", "a try", "--specimen", "cord 01",
        "--apply-calibration", archive.write_calibration(other, tmp_path),
    )  # fmt: skip
    assert (answer.code, answer.json["reduced"]) == (1, [])
    assert "belongs to analyzer" in answer.json["not_reduced"][0]["reason"]
    assert run(
        "archive", "reduce", "--archive", cords, "--reason", " ", "--apply-calibration", tmp_path / "none.h5"
    ).code == 6  # fmt: skip
