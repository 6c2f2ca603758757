"""`archive regrade` and `archive reduce` from the command line: answers, exit codes, what is kept."""

from __future__ import annotations

import csv
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import fsspec
import numpy as np
import pytest

from benchsweep import archive
from benchsweep.limits import load_requirement
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
        assert [float(row["worst_margin"]) for row in own] == [
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


def test_every_byte_is_looked_at_when_that_is_asked_for(run: Run, cords: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(cords, copy, ignore=shutil.ignore_patterns("*cord-[1-3]*"))
    path = sorted(copy.glob("*.h5"))[3]
    content = bytearray(path.read_bytes())
    # A byte of the raw sweep, which grading does not read.
    content[content.index(archive.read_record(path).hookups[0].sweep.s.tobytes()) + 2000] ^= 1
    path.write_bytes(content)
    words = ("archive", "regrade", "--archive", copy, "--against", "tia-6a-cord", "--json")
    fast, through = run(*words), run(*words, "--every-byte")
    assert (fast.code, fast.json["damaged"]) == (1, [])
    assert (through.code, [item["record"] for item in through.json["damaged"]]) == (6, [str(path)])
    assert "do not match their checksum" in through.json["damaged"][0]["reason"]
    assert sum(through.json["outcomes"].values()) == sum(fast.json["outcomes"].values()) - 1 == 10
    assert "--every-byte" in run("archive", "regrade", "--help").out


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


COLUMNS = (
    "record content_hash specimen lot product length_m created_at requirement edition decision_rule budget "
    "verdict verdict_before doubts wiring corrections parameter end pairs outcome standing note worst_margin "
    "unit frequency_hz value limit expanded_uncertainty uncertainty_low uncertainty_high guard_band"
).split()


def test_regrade_and_export_write_the_same_table(
    run: Run, bench: Measurement, cords: Path, tmp_path: Path
) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(cords, copy, ignore=shutil.ignore_patterns("*cord-[02-3]*", "*cord-1[4-9]*"))
    # A cord whose pair 3-6 is reversed at end B fails though its rows may pass.
    ports = list(bench.corrected.ports)
    swapped = [{"B:36.3": "B:36.6", "B:36.6": "B:36.3"}.get(port, port) for port in ports]
    matrix = replace(bench.corrected, ports=tuple(swapped))
    reversed_pair = replace(
        bench,
        specimen=replace(bench.specimen, identifier="reversed", lot="=7", product="TM 6"),
        corrected=matrix,
    )
    archive.write_record(reversed_pair, copy)
    requirement = ("--against", "tia-6-cord", "--against", "tia-6-channel")
    words = ("archive", "regrade", "--archive", copy, *requirement, "--decision", "guard-band")
    assert run(*words, "--keep").code == 1
    one, other = tmp_path / "one.csv", tmp_path / "other.csv"
    assert run(*words, "--csv", one).code == 1
    records = [item["record"] for item in run("archive", "find", "--archive", copy, "--json").json["found"]]
    options = (
        "--to",
        "csv",
        "--what",
        "verdict",
        *requirement,
        "--decision",
        "guard-band",
        "--output",
        other,
    )
    assert run("export", *records, *options).code == 0
    assert one.read_bytes() == other.read_bytes()
    rows = rows_of(one)
    assert list(rows[0]) == COLUMNS
    assert {row["verdict_before"] for row in rows} == {"pass", "fail", "undecided"}
    assert all(row["verdict_before"] == row["verdict"] for row in rows)
    assert {(row["parameter"] in ("delay", "skew"), row["unit"]) for row in rows} == {
        (True, "ns"),
        (False, "dB"),
    }
    corrected = {row["corrections"] for row in rows if row["specimen"] == "cord eleven"}
    assert len(corrected) == 1
    assert "corrected by an engineer on 2026-05-02 (label): specimen 'cord eleven'" in corrected.pop()
    wrong = [row for row in rows if row["specimen"] == "reversed"]
    assert {(row["lot"], row["product"], row["verdict"]) for row in wrong} == {("'=7", "TM 6", "fail")}
    assert all("reversed" in row["wiring"] for row in wrong)
    assert not any(row["wiring"] for row in rows if row not in wrong)
    editions = {name: load_requirement(name).edition for name in ("tia-6-cord", "tia-6-channel")}
    assert {row["requirement"]: row["edition"] for row in rows} == editions
    assert {row["content_hash"] for row in rows} == {archive.content_hash(Path(record)) for record in records}


def test_a_table_that_is_there_is_refused_before_the_work(
    run: Run, cords: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "verdicts.csv"
    table.write_text("mine", encoding="utf-8")
    words = ("archive", "regrade", "--archive", cords, "--against", "tia-6a-cord", "--specimen", "cord 01")
    with monkeypatch.context() as patched:
        patched.setattr(archive, "read_reduced", None)  # no record is read
        for options, said in (
            (("--csv", table), "exists already"),
            (("--parquet", table), "does not end in .parquet"),
            (("--csv", tmp_path / "x.txt"), "does not end in .csv"),
            (("--overwrite",), "--overwrite does nothing"),
        ):
            refused = run(*words, *options)
            assert (refused.code, said in refused.err) == (2, True), options
        assert table.read_text(encoding="utf-8") == "mine"
    answer = run(*words, "--csv", table, "--overwrite")
    assert answer.code == 0
    assert len(rows_of(table)) == 20
    assert answer.out.splitlines()[-1].startswith("1 record in ")


def test_what_became_of_the_kept_verdicts_is_told(run: Run, cords: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(cords, copy, ignore=shutil.ignore_patterns("*cord-[1-3]*"))
    text = tmp_path / "house.toml"
    words = ("archive", "regrade", "--archive", copy, "--against", text, "--specimen", "cord 0*")

    def limit(next_db: float) -> None:
        """A requirement of the same name whose limit of NEXT is moved."""
        text.write_text(
            'schema = 1\nname = "house"\nbase = "tia-6-cord"\ntitle = "House"\n'
            '[[lines]]\nparameter = "next"\nsense = "min"\nstanding = "common-practice"\n'
            'source = "the laboratory"\n[[lines.bands]]\nfrom_mhz = 1.0\nto_mhz = 250.0\n'
            f'limit = {{ form = "constant", level = {next_db} }}\n',
            encoding="utf-8",
        )

    limit(1.0)
    first = run(*words, "--keep", "--json")
    assert (first.code, first.json["compared"], first.json["changed"]) == (0, 0, [])
    limit(30.0)
    stricter = run(*words, "--json").json
    assert stricter["compared"] == 10
    told = ("specimen", "requirement", "before", "now")
    assert [tuple(one[name] for name in told) for one in stricter["changed"]] == [
        ("cord 04", "house", "pass", "fail"),
        ("cord 09", "house", "pass", "fail"),
    ]
    assert all(Path(one["record"]).exists() for one in stricter["changed"])
    table = tmp_path / "verdicts.csv"
    lines = run(*words, "--csv", table).out.splitlines()
    assert lines[-4] == "of 10 verdicts kept before 2 changed: 2 pass -> fail"
    assert lines[-3:-1] == ["  cord 04  house  pass -> fail", "  cord 09  house  pass -> fail"]
    assert {row["specimen"] for row in rows_of(table) if row["verdict"] != row["verdict_before"]} == {
        "cord 04", "cord 09",
    }  # fmt: skip
    run(*words, "--keep")
    assert "of 10 verdicts kept before none changed" in run(*words).out


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
    program = (
        "from benchsweep.qualification.bulk._cluster import Cluster\n"
        "try: Cluster('nonsense')\n"
        "except Exception as error: print(type(error).__name__, error.message)"
    )
    begun = time.monotonic()
    alone = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert time.monotonic() - begun < 15.0  # Dask itself waits twenty seconds for what was never there
    assert alone.stdout.startswith("UsageError no Dask scheduler answers at nonsense: ")
    assert alone.stderr == ""

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


def renamed_copy(path: Path) -> Path:
    return Path(shutil.copy(path, path.with_name("the-worn-one.h5")))


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
    # It is the same measurement: when it was reduced again is told beside.
    assert new.created_at == old.created_at
    assert Path(pair["new"]).name.startswith(Path(pair["record"]).name[:17])
    assert datetime.fromisoformat(new.reduced_at) > datetime.fromisoformat(spoiled.created_at)
    assert "archive regrade --against … --keep" in first.err
    chosen = ("archive", "find", "--archive", copy, "--json", "--calibration")
    for calibration in (files[0], files[0].name, files[0].stem, renamed_copy(files[0])):
        assert run(*chosen, calibration).json["records"] == 4, calibration
    assert run(*chosen, right.identifier).json["records"] == 11  # the others and these
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
    # An old one is graded as `grade` does it, which says what took its place.
    options = ("--against", "tia-6a-cord", "--keep")
    assert (
        run("archive", "regrade", "--archive", copy, "--superseded", "--specimen", "cord 05", *options).code
        == 0
    )
    run("grade", pair["record"], *options)
    once, twice = archive.kept_verdicts(copy, archive.content_hash(pair["record"]))
    assert "takes the place of this record" in once.verdict.notes[0]
    assert once.verdict == twice.verdict
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
    ).code == 2  # fmt: skip
