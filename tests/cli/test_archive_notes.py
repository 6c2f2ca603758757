"""`archive comment` and `archive correct`, and every command that goes by them: through the command line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

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
    monkeypatch.setattr(
        "benchsweep.report.write_html", lambda output, items, **_: drawn.extend(items) or output
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
        (["comment", "x.h5", "text", "--by", "R"], 6, "there is no such file"),
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
