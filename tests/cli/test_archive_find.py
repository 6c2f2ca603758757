"""`archive find` and `archive reindex` as a person and a program meet them."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.cli._find_text import found_text
from benchsweep.records import (
    Correction,
    Measurement,
    Outcome,
    Parameter,
    RequirementText,
    SMatrix,
    Specimen,
    Verdict,
    VerdictRow,
)
from tests.conftest import Run


def record(identifier: str, at: str, lot: str = "") -> Measurement:
    matrix = SMatrix([1e6, 2e6], np.zeros((2, 2, 2), dtype=complex), ("A:12.1", "A:12.2"), (50.0, 50.0))
    return Measurement(Specimen(identifier, 2.0, lot=lot), at, "touchstone", "", "Anna", matrix)


def row(parameter: Parameter, margin: float | None, outcome: Outcome) -> VerdictRow:
    return VerdictRow(parameter, "A", ("12",), margin, 1e6, 40.0, 38.0, None, outcome, "from-memory")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    """An archive of three records in two folders: one graded, one corrected, one withdrawn; and a wreck."""
    root = tmp_path_factory.mktemp("kept") / "archive"
    first = archive.write_record(record("=reel 1", "2026-03-01T10:00:00Z", "L-7"), root)
    second = archive.write_record(record("reel-2", "2026-04-01T10:00:00Z"), root / "april")
    third = archive.write_record(record("reel-3", "2026-05-01T10:00:00Z"), root)
    hashes = [archive.content_hash(path) for path in (first, second, third)]
    rows = (
        row(Parameter.NEXT, 0.25, Outcome.PASS),
        row(Parameter.RETURN_LOSS, -1.5, Outcome.FAIL),
        row(Parameter.TCL, float("inf"), Outcome.PASS),
        row(Parameter.DELAY, 30.0, Outcome.PASS),
    )
    verdict = Verdict(str(first), "=reel 1", "tia-6a-cord", "simple", 2.0, Outcome.FAIL, rows)
    text = RequirementText("tia-6a-cord", "2018", ("schema = 1\n",))
    archive.write_grading(
        archive.grading_of([(hashes[0], verdict)], [text], made_at="2026-06-01T00:00:00Z"), root
    )
    typo = Correction(
        hashes[1], "Bo", "2026-06-02T00:00:00Z", "mistyped", {"identifier": "reel-22", "lot": "L-8"}
    )
    archive.write_note(typo, root)
    archive.write_note(Correction(hashes[2], "Bo", "2026-06-02T00:00:00Z", "kinked", {}, True), root)
    (root / "wreck.h5").write_bytes(b"no record")
    return SimpleNamespace(root=root, first=first, second=second, third=third, hashes=hashes)


def test_the_document_has_everything(run: Run, kept: SimpleNamespace) -> None:
    answer = run("archive", "find", "--archive", kept.root, "--json")
    assert answer.code == 0
    document = answer.json
    assert document["schema"] == "benchsweep.find/1"
    assert document["records"] == 2
    one, two = document["found"]
    assert (one["record"], one["content_hash"]) == (str(kept.first), kept.hashes[0])
    assert (two["specimen"], two["lot"], two["corrections"]) == ("reel-22", "L-8", 1)
    assert two["gradings"] == []
    (grading,) = one["gradings"]
    assert (grading["outcome"], grading["worst_margin_db"], grading["worst_parameter"]) == (
        "fail",
        -1.5,
        "return_loss",
    )
    assert grading["parameters"]["next"] == {"outcome": "pass", "worst_margin": 0.25, "unit": "dB"}
    assert grading["parameters"]["delay"] == {"outcome": "pass", "worst_margin": 30.0, "unit": "ns"}
    assert grading["parameters"]["tcl"]["worst_margin"] is None  # infinite, which JSON cannot say
    assert document["damaged"] == [
        {"record": str(kept.root / "wreck.h5"), "reason": document["damaged"][0]["reason"]}
    ]
    assert "wreck.h5" in answer.err


@pytest.mark.parametrize(
    ("options", "found"),
    [
        (["--specimen", "reel-2*"], ["second"]),
        (["--lot", "L-7"], ["first"]),
        (["--since", "2026-04"], ["second"]),
        (["--until", "2026-03"], ["first"]),
        (["--withdrawn"], ["first", "second", "third"]),
        (["--graded-against", "tia-*"], ["first"]),
        (["--outcome", "fail"], ["first"]),
        (["--outcome", "fail", "--parameter", "next"], []),
        (["--parameter", "next", "--margin-below-db", "0.3"], ["first"]),
        (["--parameter", "next", "--margin-below-db", "0.2"], []),
        (["--operator", "Anna", "--station", "x"], []),
        (["--lot", "L-7", "--lot", "L-8"], ["first", "second"]),
        (["--specimen", "reel-22", "--specimen", "zz*"], ["second"]),
        (["--outcome", "fail", "--outcome", "pass"], ["first"]),
        (["--parameter", "tcl", "--parameter", "next", "--margin-below-db", "0.3"], ["first"]),
        (["--parameter", "tcl", "--parameter", "fext", "--margin-below-db", "0.3"], []),
    ],
)
def test_filters(options: list[str], found: list[str], run: Run, kept: SimpleNamespace) -> None:
    answer = run("archive", "find", "--archive", kept.root, *options, "--json")
    assert answer.code == 0
    assert [item["record"] for item in answer.json["found"]] == [str(getattr(kept, name)) for name in found]


@pytest.mark.parametrize(
    "options",
    [
        ["--since", "soon"],
        ["--outcome", "bad"],
        ["--parameter", "crosstalk"],
        ["--parameter", "delay", "--margin-below-db", "1"],
        ["--since", "2026-03", "--since", "2026-04"],
        ["--until", "2026-03", "--until", "2026-04"],
        ["--margin-below-db", "1", "--margin-below-db", "2"],
        ["--archive", "other"],
        ["--lot", "L-7", "--specimen", "reel-1", "--specimen", ""],
        ["--csv", "table.txt"],
        ["--parquet", "table.csv"],
    ],
)
def test_nonsense_is_a_usage_error_with_a_hint(options: list[str], run: Run, kept: SimpleNamespace) -> None:
    answer = run("archive", "find", "--archive", kept.root, *options)
    assert (answer.code, answer.out) == (2, "")
    assert len(answer.err.splitlines()) == 2


def test_nothing_found_is_no_error_and_no_archive_is(run: Run, kept: SimpleNamespace, tmp_path: Path) -> None:
    nothing = run("archive", "find", "--archive", kept.root, "--specimen", "zz*")
    assert (nothing.code, nothing.out) == (0, "")
    assert "fits" in nothing.err
    assert run("archive", "find", "--archive", tmp_path / "none").code == 6
    (tmp_path / "empty").mkdir()
    assert "no records" in run("archive", "find", "--archive", tmp_path / "empty").err


def test_the_table_says_what_matters(run: Run, kept: SimpleNamespace) -> None:
    lines = run("archive", "find", "--archive", kept.root, "--withdrawn").out.splitlines()
    # Of an import it is the time of storing.
    assert lines[0].split() == ["time", "(UTC)", "specimen", "lot", "length"]
    assert lines[1].split() == ["2026-03-01", "10:00", "=reel", "1", "L-7", "2", "m"]
    assert lines[2].strip() == kept.first.name
    assert lines[3].split() == ["tia-6a-cord", "fail", "-1.50", "dB", "return_loss"]
    assert any("withdrawn" in line for line in lines)
    assert lines[-1] == f"3 records in {kept.root}"
    assert max(map(len, lines[:-1])) <= 80  # piped


@pytest.mark.parametrize("width", [60, 80, 100])
def test_the_table_fits_the_terminal_whatever_the_names(width: int) -> None:
    item = {
        "created_at": "2026-03-01T12:00:00+02:00",
        "specimen": "drum 12 / reel 000123 of the second shift\x1b[31m, blue",
        "lot": "2026-LOT-000123456789-A",
        "length_m": 100.0,
        "name": "2026/20260301T100000Z-drum-12-reel.h5",
        "kind": "series",
        "withdrawn": False,
        "superseded_by": "ab" * 32,
        "reduced_from": "",
        "corrections": 2,
        "comments": 1,
        "gradings": [],
    }
    text = found_text({"archive": "a", "found": [item]}, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert "\x1b" not in text
    assert item["name"] in text
    assert "2026-03-01 10:00" in text
    assert "series, reduced again into abababababab, 2 corrections, 1 comment" in " ".join(text.split())


def found_item(specimen: str, **grading: object) -> dict[str, object]:
    of = {
        "requirement": "tia-6a-cord", "edition": "2018", "outcome": "fail", "worst_margin_db": 1.5,
        "worst_parameter": "next", "outdated": False, "outdated_since": "", "why": "",
    }  # fmt: skip
    return {
        "created_at": "2026-03-01T10:00:00Z", "specimen": specimen, "lot": "", "length_m": 2.0,
        "name": f"20260301T100000Z-{specimen}.h5", "kind": "record", "withdrawn": False, "superseded_by": "",
        "reduced_from": "", "reduced_at": "", "corrections": 0, "comments": 0, "gradings": [of | grading],
    }  # fmt: skip


@pytest.mark.parametrize("width", [80, 100])
def test_the_table_looks_the_same_whatever_the_names(width: int) -> None:
    """No name of a specimen is cut where there is room, and no name of a file changes its place."""
    names = ["a", "cord-2m-of-the-second-delivery-0001"]
    for some in (names[:1], names):
        text = found_text({"archive": "a", "found": [found_item(name) for name in some]}, width=width)
        lines = text.splitlines()
        assert lines[0].split() == ["time", "(UTC)", "specimen", "length"]
        for name in some:
            place = next(k for k, line in enumerate(lines) if f" {name} " in line)
            assert lines[place + 1] == f"{'':18}20260301T100000Z-{name}.h5"
    wide = found_text({"archive": "a", "found": [found_item("a")]}, width=120).splitlines()
    assert wide[1].endswith("  20260301T100000Z-a.h5")


def test_what_the_margins_do_not_tell_is_told() -> None:
    why = "contacts 4 and 5 are crossed at end B; " * 3
    items = [found_item("a", why=why, outdated=True, outdated_since="2026-11-28T10:00:00Z"), found_item("b")]
    lines = found_text({"archive": "a", "found": items}, width=80).splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(" ".join(lines).split())
    assert text.count("graded before the correction of 2026-11-28: grade it again") == 1
    assert text.count(f"because {why.strip()}") == 1
    assert "(2018)" not in text
    items.append(found_item("c", edition="2024"))
    text = found_text({"archive": "a", "found": items}, width=80)
    assert (text.count("tia-6a-cord (2018)"), text.count("tia-6a-cord (2024)")) == (2, 1)


def test_a_table_for_other_programs(run: Run, kept: SimpleNamespace, tmp_path: Path) -> None:
    target = tmp_path / "found.csv"
    answer = run("archive", "find", "--archive", kept.root, "--csv", target)
    assert answer.code == 0
    with target.open(encoding="utf-8", newline="") as file:
        one, two = csv.DictReader(file)
    assert one["specimen"] == "'=reel 1"  # no formula
    assert (one["next_worst_margin_db"], one["delay_worst_margin_ns"], one["outcome"]) == (
        "0.25",
        "30.0",
        "fail",
    )
    assert (two["specimen"], two["requirement"], two["next_worst_margin_db"]) == ("reel-22", "", "")
    assert run("archive", "find", "--archive", kept.root, "--csv", target).code == 2  # there already


def test_parquet_keeps_text_and_numbers(run: Run, kept: SimpleNamespace, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    from pyarrow import parquet

    target = tmp_path / "found.parquet"
    assert run("archive", "find", "--archive", kept.root, "--parquet", target).code == 0
    table = parquet.read_table(target).to_pydict()
    assert table["specimen"] == ["=reel 1", "reel-22"]
    assert table["return_loss_worst_margin_db"][0] == -1.5


def test_reindex_counts_and_warns(run: Run, kept: SimpleNamespace) -> None:
    answer = run("archive", "reindex", "--archive", kept.root, "--json")
    assert answer.code == 0
    assert (answer.json["schema"], answer.json["records"]) == ("benchsweep.reindex/1", 3)
    assert "wreck.h5" in answer.err
    assert "3 records" in run("archive", "reindex", "--archive", kept.root).out
    assert run("archive", "reindex", "--archive", kept.root / "none").code == 6


@pytest.mark.parametrize("option", ["archive", "specimen", "since", "until", "graded-against", "outcome"])
def test_an_empty_option_is_refused_and_not_taken_for_all(
    option: str, run: Run, kept: SimpleNamespace
) -> None:
    root = () if option == "archive" else ("--archive", kept.root)
    answer = run("archive", "find", *root, f"--{option}", "")
    assert (answer.code, answer.out) == (2, "")
    assert f"--{option} is empty" in answer.err


@pytest.mark.parametrize(
    ("option", "many"), [("lot", 0), ("station", 2), ("operator", 0), ("calibration", 2), ("kit", 2)]
)
def test_an_empty_pattern_means_that_nothing_stands_there(
    option: str, many: int, run: Run, kept: SimpleNamespace
) -> None:
    """The two records that are not withdrawn have lots and an operator, and no station (imports)."""
    found = run("archive", "find", "--archive", kept.root, f"--{option}", "", "--json").json
    assert found["records"] == many


@pytest.mark.parametrize("text", ["two\nlines", "red\x1b[31m"])
def test_control_characters_in_names_are_refused(text: str, run: Run, kept: SimpleNamespace) -> None:
    record = kept.first
    for command in (
        ("grade", record, "--against", "tia-6a-cord", "--keep", "--by", text),
        ("archive", "regrade", "--archive", kept.root, "--against", "tia-6a-cord", "--keep", "--by", text),
        ("archive", "correct", record, "--lot", "x", "--by", "me", "--reason", text),
        ("archive", "comment", record, "fine", "--by", text),
        ("qualify", "--station", "simulated", "--specimen", "x", "--operator", text),
        ("import", record, "--specimen", "x", "--operator", text),
        ("record", "--station", "simulated", "--specimen", "x", "--operator", text),
    ):
        answer = run(*command)
        assert answer.code == 2, command
        assert "control characters" in answer.err, command
        assert "\x1b" not in answer.err
