"""`archive comment` and `archive correct`, and every command that goes by them: through the command line."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import fsspec
import numpy as np
import pytest

import benchsweep.report
from benchsweep import archive
from benchsweep.limits import load_requirement
from benchsweep.qualification import evaluate, grade_evaluation
from benchsweep.records import Measurement, SMatrix, Specimen, balanced_ports

Run = Callable[..., Any]
GRID = np.unique(np.concatenate([np.linspace(1e6, 250e6, 40), [100e6]]))
WHY = ("--by", "R. Example", "--reason", "label of the neighbour")


@pytest.fixture
def record(own_home: Path) -> Path:
    """Eight lines of 100 m a little better than category 6 cable, at 20 degC."""
    f_mhz = GRID / 1e6
    loss_db = 0.98 * (1.808 * f_mhz**0.5 + 0.017 * f_mhz + 0.2 / f_mhz**0.5)
    s = np.zeros((GRID.size, 16, 16), complex)
    through = 10 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * GRID * 530e-9)
    for k in range(8):
        s[:, k + 8, k] = s[:, k, k + 8] = through
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    measurement = Measurement(
        specimen=Specimen("reel 7", 100.0, "", "26-117"),
        created_at="2026-01-01T00:00:00+00:00",
        origin="touchstone",
        station="",
        operator="M. Lindqvist",
        corrected=SMatrix(GRID, s, legs, (50.0,) * 16),
        ambient={"temperature_degc": 20.0},
    )
    return archive.write_record(measurement, own_home / "archive")


def test_a_comment_is_kept_and_shown(record: Path, run: Run) -> None:
    whole = record.read_bytes()
    answer = run("archive", "comment", record, "customer disputes it", "--by", "R. Example", "--json")
    assert answer.code == 0, answer.err
    document = answer.json
    assert document["schema"] == "benchsweep.note/1"
    assert (document["by"], document["text"]) == ("R. Example", "customer disputes it")
    assert document["content_hash"] == archive.content_hash(record)
    assert Path(document["note"]).is_file()
    assert Path(document["note"]).is_relative_to(record.parent / "notes")
    assert record.read_bytes() == whole
    shown = run("show", record, "--json").json
    assert [item["text"] for item in shown["comments"]] == ["customer disputes it"]
    assert shown["corrections"] == shown["gradings"] == []
    assert shown["lot"] == "26-117"
    text = run("show", record).out
    assert "R. Example: customer disputes it" in text
    assert "lot          26-117" in text


def test_a_correction_goes_into_show_grade_locate_and_report(
    record: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    against = ("--against", "tia-6-cable")
    assert run("grade", record, *against).code == 0
    answer = run("archive", "correct", record, *WHY, "--length-m", "90", "--lot", "26-118", "--json")
    assert answer.code == 0, answer.err
    assert answer.json["changes"] == {"lot": "26-118", "length_m": 90.0}
    words = (
        "corrected by R. Example on {} (label of the neighbour): lot '26-118' instead of '26-117', length 90 "
        "m instead of 100 m"
    ).format(answer.json["at"][:10])

    # The limit is for 100 m: the same loss over 90 m is beyond it.
    graded = run("grade", record, *against, "--json")
    assert graded.code == 1
    assert graded.json["notes"][0] == words
    assert run("grade", record, *against, "--length-m", "100").code == 0, "what is told wins"

    shown = run("show", record, "--json").json
    assert (shown["length_m"], shown["lot"]) == (90.0, "26-118")
    (kept,) = shown["corrections"]
    assert (kept["by"], kept["reason"]) == ("R. Example", "label of the neighbour")
    assert " ".join(words.split()[:8]) in " ".join(run("show", record).out.split())

    located = run("locate", record, "--json").json
    assert (located["length_m"], located["corrections"]) == (90.0, [words])

    drawn: list[Any] = []
    part = benchsweep.report.report_part
    monkeypatch.setattr(
        "benchsweep.report.report_part",
        lambda group, *how, **more: drawn.extend(group) or part(group, *how, **more),
    )
    assert run("report", record, *against, "-o", "report.html").code == 0
    assert drawn[0].measurement.specimen == Specimen("reel 7", 90.0, "", "26-118")
    assert drawn[0].verdict.notes[0] == words


def test_the_last_correction_wins_and_a_length_can_be_unknown(record: Path, run: Run) -> None:
    assert run("archive", "correct", record, *WHY, "--length-m", "90", "--operator", "A. Other").code == 0
    assert run("archive", "correct", record, *WHY, "--no-length", "--no-temperature").code == 0
    shown = run("show", record, "--json").json
    assert (shown["length_m"], shown["operator"], shown["ambient"]) == (None, "A. Other", {})
    assert run("archive", "correct", record, *WHY, "--temperature-degc", "23").code == 0
    assert run("show", record, "--json").json["ambient"] == {"temperature_degc": 23.0}


def test_a_withdrawn_record_is_undecided_everywhere(record: Path, run: Run) -> None:
    assert run("archive", "correct", record, *WHY, "--withdraw").code == 0
    graded = run("grade", record, "--against", "tia-6-cable", "--json")
    assert graded.code == 3
    assert graded.json["outcome"] == "undecided"
    assert "withdrawn by R. Example" in graded.json["doubts"][0]
    assert "withdrawn by R. Example" in run("show", record, "--json").json["withdrawn"]
    located = run("locate", record)
    assert located.code == 3
    assert located.out.startswith("the record was withdrawn by R. Example")
    assert run("archive", "correct", record, *WHY, "--reinstate").code == 0
    assert run("grade", record, "--against", "tia-6-cable").code == 0
    assert run("show", record, "--json").json["withdrawn"] is None


def test_kept_verdicts_are_those_that_were_told_and_can_be_proved(record: Path, run: Run) -> None:
    own = Path("requirements/mine.toml")
    own.parent.mkdir()
    own.write_text('schema = 1\nname = "mine"\nbase = "tia-6-cable"\n# ours\n', encoding="utf-8")
    answer = run(
        *("grade", record, "--against", "tia-6-cable", "--against", "mine", "--length-m", "99"),
        *("--temperature-degc", "24", "--keep", "--by", "R. Example", "--json"),
    )
    told = answer.json
    (path,) = {item["grading"] for item in told}
    grading = archive.read_grading(Path(path))
    assert grading.by == "R. Example"
    assert dict(grading.told) == {"length_m": "99.0", "temperature_degc": "24.0"}
    assert grading.requirements[1].files[0] == own.read_text(encoding="utf-8")
    shipped = load_requirement("tia-6-cable")
    assert grading.requirements[1].files[1:] == grading.requirements[0].files == shipped.texts
    assert grading.software["benchsweep"]
    kept = archive.verdicts_of(grading)
    assert [(v.requirement, str(v.outcome), list(v.notes)) for v in kept] == [
        (item["requirement"], item["outcome"], item["notes"]) for item in told
    ]
    margins = [None if row.worst_margin_db == np.inf else row.worst_margin_db for row in kept[0].rows]
    assert margins == [row["worst_margin_db"] for row in told[0]["rows"]]  # JSON knows no infinity
    shown = run("show", record, "--json").json["gradings"]
    assert [(item["requirement"], item["outcome"], item["by"]) for item in shown] == [
        (item["requirement"], item["outcome"], "R. Example") for item in told
    ]
    assert "tia-6-cable" in run("show", record).out


def test_a_real_verdict_comes_back_exactly(record: Path) -> None:
    evaluation = evaluate(archive.read_record(record))
    graded = [
        grade_evaluation(evaluation, load_requirement(name), record=str(record))[0]
        for name in ("tia-6-cable", "tia-6a-channel")
    ]
    texts = [archive_text(name) for name in ("tia-6-cable", "tia-6a-channel")]
    grading = archive.grading_of(
        [("ab" * 32, verdict) for verdict in graded], texts, made_at="2026-01-01T00:00:00Z"
    )
    back = archive.verdicts_of(archive.read_grading(archive.write_grading(grading, record.parent)))
    assert back == tuple(graded)
    assert any(row.worst_margin_db == np.inf or row.value == np.inf for row in back[0].rows)


def archive_text(name: str) -> Any:
    from benchsweep.records import RequirementText

    requirement = load_requirement(name)
    return RequirementText(name, requirement.edition, requirement.texts)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--length-m", "0"], "a length of 0 m makes no sense"),
        (["--length-m", "nan"], "a length of nan m makes no sense"),
        (["--length-m", "1e9"], "makes no sense"),
        (["--temperature-degc", "900"], "a temperature of 900 degC makes no sense"),
        (["--specimen", " "], "the specimen has no name"),
        (["--specimen", "a\x1bb"], "holds control characters"),
        (["--lot", "a\nb"], "holds control characters"),
        (["--description", "a\x00b"], "holds control characters"),
        (["--operator", "\x07"], "holds control characters"),
        ([], "nothing is corrected"),
        (["--length-m", "3", "--no-length"], "contradict each other"),
        (["--withdraw", "--reinstate"], "contradict each other"),
        (["--length-m", "100"], "nothing would change: length is 100 m already"),
        (["--temperature-degc", "20", "--lot", "26-117"], "lot is '26-117' already, temperature_degc is 20"),
        (["--reinstate"], "nothing would change: it is not withdrawn"),
    ],
)
def test_nonsense_is_refused_and_leaves_nothing(
    arguments: list[str], words: str, record: Path, run: Run
) -> None:
    answer = run("archive", "correct", record, *WHY, *arguments)
    assert answer.code == 2
    assert words in " ".join(answer.err.split())
    assert not (record.parent / "notes").exists()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["comment", "x.h5", "text", "--by", "R"], 2, "no such file"),
        (["comment", "RECORD", " ", "--by", "R"], 2, "the comment is empty"),
        (["comment", "RECORD", "text", "--by", " "], 2, "--by is empty"),
        (["comment", "RECORD", "text"], 2, "--by"),
        (["correct", "RECORD", "--lot", "1", "--by", "R", "--reason", ""], 2, "the reason is empty"),
        (["correct", "RECORD", "--lot", "1", "--by", "R\n", "--reason", "x"], 2, "control characters"),
    ],
)
def test_who_and_why_must_be_told(
    arguments: list[str], code: int, words: str, record: Path, run: Run
) -> None:
    answer = run("archive", *(record if word == "RECORD" else word for word in arguments))
    assert (answer.code, words in answer.err) == (code, True), answer.err


def test_a_correction_with_a_slow_clock_is_refused(record: Path, run: Run) -> None:
    from benchsweep.records import Correction

    named = archive.content_hash(record)
    late = Correction(named, "x", "2999-01-01T00:00:00+00:00", "r", {"lot": "1"})
    archive.write_note(late, record.parent)
    answer = run("archive", "correct", record, *WHY, "--lot", "2")
    assert answer.code == 2
    assert "2999-01-01" in answer.err


def test_a_damaged_correction_is_not_passed_over(record: Path, run: Run) -> None:
    answer = run("archive", "correct", record, *WHY, "--withdraw", "--json")
    path = Path(answer.json["note"])
    damaged = bytearray(path.read_bytes())
    damaged[-1] ^= 1
    path.write_bytes(damaged)
    for command in (["grade", record, "--against", "tia-6-cable"], ["show", record], ["locate", record]):
        answer = run(*command)
        assert answer.code == 6, command
        assert path.name in answer.err


def test_a_correction_that_says_what_holds_already_is_refused(record: Path, run: Run) -> None:
    """What holds is what the last correction says, not what the record says."""
    for arguments in (["--length-m", "90"], ["--withdraw"]):
        assert run("archive", "correct", record, *WHY, *arguments).code == 0
        again = run("archive", "correct", record, *WHY, *arguments)
        assert (again.code, "nothing would change" in again.err) == (2, True), arguments
    assert run("archive", "correct", record, *WHY, "--length-m", "100").code == 0, "back to what was recorded"
    assert run("archive", "correct", record, *WHY, "--length-m", "100", "--lot", "1").code == 0, "the lot"
    assert len(list((record.parent / "notes").rglob("*.h5"))) == 4


def test_a_grading_older_than_a_correction_is_marked_and_counts_no_more(record: Path, run: Run) -> None:
    keep = ("grade", record, "--against", "tia-6-cable", "--keep")
    find = ("archive", "find", "--archive", record.parent)
    assert run(*keep).code == 0
    assert run("archive", "correct", record, *WHY, "--lot", "26-118").code == 0
    assert [item["outdated"] for item in run("show", record, "--json").json["gradings"]] == [False]
    assert run(*find, "--outcome", "pass", "--json").json["records"] == 1
    day = run("archive", "correct", record, *WHY, "--length-m", "90", "--json").json["at"][:10]
    assert [item["outdated"] for item in run("show", record, "--json").json["gradings"]] == [True]
    words = f"before the correction of {day}: grade it again"
    assert words in " ".join(run("show", record).out.split())
    assert words in run(*find).out
    (found,) = run(*find, "--json").json["found"]
    assert [(item["outcome"], item["outdated"]) for item in found["gradings"]] == [("pass", True)]
    for asked in (("--outcome", "pass"), ("--outcome", "fail"), ("--margin-below-db", "99")):
        assert run(*find, *asked, "--json").json["records"] == 0, asked
    assert run(*keep).code == 1
    assert [item["outdated"] for item in run("show", record, "--json").json["gradings"]] == [True, False]
    assert run(*find, "--outcome", "fail", "--json").json["records"] == 1
    assert words not in run(*find).out


def test_a_damaged_grading_hides_no_record(record: Path, run: Run) -> None:
    keep = ("grade", record, "--against", "tia-6-cable", "--keep", "--json")
    first, second = (Path(run(*keep).json["grading"]) for _ in range(2))
    damaged = bytearray(first.read_bytes())
    damaged[-1] ^= 1
    first.write_bytes(damaged)
    answer = run("show", record, "--json")
    assert answer.code == 0
    assert [item["grading"] for item in answer.json["gradings"]] == [str(second)]
    (told,) = answer.json["damaged_gradings"]
    assert first.name in told
    assert f"warning: a kept grading is left out: {told}" in answer.err
    assert run("grade", record, "--against", "tia-6-cable").code == 0


def reduced(record: Path, folder: Path, **changes: Any) -> Path:
    """What `archive reduce` makes of a record, as far as it matters here."""
    own = {"reason": "worn load", "reduced_at": "2026-11-28T10:00:00+00:00"} | changes
    new = replace(archive.read_record(record), reduced_from=archive.content_hash(record), **own)
    return archive.write_record(new, folder)


@pytest.mark.parametrize("below", [".", "again/kit-3"])
def test_a_record_that_was_reduced_again_says_so(below: str, record: Path, run: Run) -> None:
    note = ("archive", "comment", record, "first", "--by", "R")
    assert run(*note).code == 0  # from now on the folder is an archive, whose folders are looked into
    assert run("show", record, "--json").json["superseded"] is None
    specimen = Specimen("reel seven", 100.0)
    new = reduced(record, record.parent / below, specimen=specimen)
    (record.parent / "20260101T000000Z-wreck.h5").write_bytes(b"no record")

    words = f"reduced again: {new.name} on 2026-11-28: worn load"
    assert words in " ".join(run("show", record).out.split())
    shown = run("show", record, "--json").json
    assert (shown["reduced"], shown["superseded"]) == (
        None,
        {
            "record": str(new),
            "content_hash": archive.content_hash(new),
            "at": "2026-11-28T10:00:00+00:00",
            "reason": "worn load",
        },
    )
    assert f"from {record.name} on 2026-11-28: worn load" in " ".join(run("show", new).out.split())
    shown = run("show", new, "--json").json
    assert (shown["reduced"]["record"], shown["superseded"]) == (str(record), None)

    told = "the sweeps were reduced again on 2026-11-28 (worn load)"
    graded = run("grade", record, "--against", "tia-6-cable", "--json")
    assert graded.code == 0
    assert graded.json["notes"][0] == f"{told}: {new.name} takes the place of this record"
    assert told not in run("grade", new, "--against", "tia-6-cable").out

    refused = run("archive", "correct", record, *WHY, "--lot", "1")
    assert refused.code == 2
    assert str(new) in refused.err
    assert run(*note).code == 0
    # A withdrawn one takes the place of nothing.
    assert run("archive", "correct", new, *WHY, "--withdraw").code == 0
    assert run("show", record, "--json").json["superseded"] is None
    assert run("archive", "correct", record, *WHY, "--lot", "1").code == 0
    record.unlink()
    assert run("show", new, "--json").json["reduced"]["record"] is None


def test_of_several_reductions_the_last_made_is_named_also_at_an_address(record: Path, run: Run) -> None:
    last = reduced(record, record.parent, reduced_at="2026-12-01T10:00:00+00:00")
    reduced(record, record.parent, reduced_at="2026-11-30T10:00:00+00:00")
    assert run("show", record, "--json").json["superseded"]["record"] == str(last)
    system = fsspec.filesystem("memory")
    system.put(str(record.parent), "/again", recursive=True)
    try:
        shown = run("show", f"memory://again/{record.name}", "--json").json
        assert shown["superseded"]["record"] == f"memory://again/{last.name}"
        shown = run("show", f"memory://again/{last.name}", "--json").json
        assert shown["reduced"]["record"] == f"memory://again/{record.name}"
    finally:
        system.rm("/again", recursive=True)


def test_a_closed_folder_beside_a_record_hides_nothing(
    record: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("archive", "comment", record, "x", "--by", "R").code == 0
    for name in ("closed", "open"):
        (record.parent / name).mkdir()
    new = reduced(record, record.parent / "open")
    scandir = os.scandir

    def refusing(path: Any) -> Any:
        if str(path).endswith("closed"):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
    assert run("show", record, "--json").json["superseded"]["record"] == str(new)


def test_grade_can_be_quiet(record: Path, run: Run) -> None:
    words = ("grade", record, "--against", "tia-6-cable", "--keep")
    assert "kept: " in run(*words).err
    quiet = run(*words, "--quiet")
    assert (quiet.code, quiet.err) == (0, "")
    assert len(run("show", record, "--json").json["gradings"]) == 2


def test_comments_are_in_the_report(record: Path, run: Run) -> None:
    text = "<script>alert(1)</script> seen\non the drum"
    assert run("archive", "comment", record, text, "--by", "R. <b>").code == 0
    words = ("report", record, "--against", "tia-6-cable", "--against", "tia-6a-channel", "-o", "r.html")
    assert run(*words).code == 0
    page = Path("r.html").read_text(encoding="utf-8")
    assert page.count("&lt;script&gt;alert(1)&lt;/script&gt; seen") == 1
    assert "R. &lt;b&gt;" in page
    assert "<script>alert" not in page
