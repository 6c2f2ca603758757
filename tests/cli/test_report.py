"""`report`: which records, which files, what is stated, what is said when something cannot be done."""

from __future__ import annotations

import dataclasses
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.cli import _report_run
from benchsweep.cli._report_work import Placed
from benchsweep.qualification import load_requirements
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.qualification.bulk import Graded
from benchsweep.records import Measurement, SMatrix, Specimen, SweepSettings, balanced_ports
from benchsweep.simulator.specimen import load_specimen

Run = Callable[..., Any]
LEGS = tuple(leg for port in balanced_ports() for leg in port.legs)
AGAINST = ("--against", "tia-6a-cord")
POINTS = 40


def cord(name: str, kind: str, lot: str, minute: int, points: int = POINTS) -> Measurement:
    grid = np.linspace(1e6, 500e6, points)
    specimen = load_specimen(kind, seed=3)
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in LEGS]
    return Measurement(
        specimen=Specimen(name, 2.0, lot=lot),
        created_at=f"2026-03-01T09:{minute:02d}:00+00:00",
        origin="touchstone",
        station="",
        operator="I. Vogt",
        corrected=SMatrix(
            grid, specimen.scatter(grid)[:, order][:, :, order], tuple(map(str, LEGS)), (50.0,) * 16
        ),
        settings=SweepSettings(1e6, 500e6, points, 1e3, 1, -5.0),
        budget_toml=budget_text("simulated"),
        source_file="cord.s16p",
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of six cords of two lots, one of which fails."""
    folder = tmp_path_factory.mktemp("made") / "archive"
    folder.mkdir()
    for minute in range(6):
        kind = "cord-2m-untwisted-b" if minute == 4 else "cord-2m"
        archive.write_record(cord(f"c{minute}", kind, "L-odd" if minute % 2 else "L-even", minute), folder)
    return folder


@pytest.fixture
def cords(made: Path, own_home: Path) -> list[Path]:
    """The records, oldest first, in ./archive."""
    shutil.copytree(made, "archive")
    return sorted(Path("archive").glob("*.h5"))


def parts(page: Path) -> int:
    return page.read_text(encoding="utf-8").count('id="specimen-')


@pytest.fixture
def assembled(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the command puts together: its parts and all that is told with them; as it goes on."""
    import benchsweep.report

    real = benchsweep.report.assembled
    seen: dict[str, Any] = {}

    def look(found: Any, texts: Any, **told: Any) -> Any:
        seen.update(parts=found, texts=texts, **told)
        return real(found, texts, **told)

    monkeypatch.setattr("benchsweep.report.assembled", look)
    return seen


def test_the_name_of_a_file_decides_what_it_is(cords: list[Path], run: Run) -> None:
    told = run("report", cords[0], *AGAINST, "-o", "a.html", "-o", "b.PDF", "-o", "new/c.htm", "--json")
    assert told.code == 0, told.err
    document = told.json
    assert document["schema"] == "benchsweep.report/1"
    assert document["reports"] == ["a.html", "b.PDF", "new/c.htm"]
    assert document["report"] == "a.html"
    assert document["records"] == [str(cords[0])]
    assert document["outcomes"] == ["pass"]
    assert document["damaged"] == []
    assert Path("a.html").read_bytes() == Path("new/c.htm").read_bytes()
    assert Path("a.html").read_bytes().lower().startswith(b"<!doctype html>")
    assert Path("b.PDF").read_bytes().startswith(b"%PDF-")
    assert document["number"] in Path("a.html").read_text(encoding="utf-8")


def test_report_html_is_written_where_nothing_is_named(cords: list[Path], run: Run) -> None:
    told = run("report", cords[0], *AGAINST)
    assert told.out.splitlines() == [f"pass, doubtful: c0, tia-6a-cord, {cords[0]}", "report report.html"]
    assert Path("report.html").is_file()


def test_a_doubtful_outcome_is_said_to_be_doubtful(cords: list[Path], run: Run) -> None:
    """A grid so coarse that a peak may be missed is doubted: `grade` says so of the same record."""
    dense = archive.write_record(cord("dense", "cord-2m", "", 8, points=101), Path("archive"))
    doubts = [run("grade", path, *AGAINST, "--json").json["doubts"] for path in (cords[0], dense)]
    assert [len(of) for of in doubts] == [1, 0]
    told = run("report", cords[0], dense, *AGAINST, "--json").json
    assert (told["outcomes"], told["doubts"]) == (["pass", "pass"], doubts)
    assert run("report", cords[0], dense, *AGAINST).out.splitlines()[:2] == [
        f"pass, doubtful: c0, tia-6a-cord, {cords[0]}",
        f"pass: dense, tia-6a-cord, {dense}",
    ]


def test_a_kept_grading_that_says_otherwise_makes_it_doubtful(cords: list[Path], run: Run) -> None:
    dense = archive.write_record(cord("kept", "cord-2m", "", 9, points=101), Path("archive"))
    strict = run("grade", dense, *AGAINST, "--decision", "guard-band 10", "--budget", "simulated", "--keep")
    assert strict.code == 1, strict.err
    told = run("report", dense, *AGAINST, "-o", "kept.html")
    assert told.out.splitlines()[0] == f"pass, doubtful: kept, tia-6a-cord, {dense}"
    page = Path("kept.html").read_text(encoding="utf-8")
    assert page.index("guard-band 10") < page.index("report number")


@pytest.mark.parametrize(
    "command",
    [
        ("report", *AGAINST),
        ("show", *AGAINST),
        ("show", "--budget", *AGAINST),
        ("export", "--to", "csv", "--what", "verdict", *AGAINST),
        ("grade", *AGAINST),
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_an_error_about_one_of_several_records_names_it(
    command: tuple[str, ...], cords: list[Path], run: Run
) -> None:
    nameless = dataclasses.replace(cord("c9", "cord-2m", "", 9), specimen=Specimen("c9"))
    path = archive.write_record(nameless, Path("archive"))
    verb, *options = command
    told = run(verb, *([] if verb == "grade" else cords[:2]), path, *options)
    assert told.code == 2
    (said,) = [line for line in told.err.splitlines() if line.startswith("benchsweep: ")]
    assert said.startswith(f"benchsweep: {path}: tia-6a-cord: ")
    assert "length" in said


def test_what_is_no_matter_of_a_record_does_not_name_one(cords: list[Path], run: Run) -> None:
    told = run("grade", cords[0], *AGAINST, "--budget", "no-such-budget")
    assert told.code == 2
    assert str(cords[0]) not in told.err


@pytest.mark.parametrize("name", ["report.txt", "report", "report.html.gz"])
def test_another_kind_of_file_is_refused_before_any_work(cords: list[Path], run: Run, name: str) -> None:
    told = run("report", cords[0], *AGAINST, "-o", "a.html", "-o", name)
    assert told.code == 2
    assert "record 1 of" not in told.err
    assert ".html" in told.err
    assert ".pdf" in told.err
    assert not Path("a.html").exists()
    assert not Path(name).exists()


def test_a_file_given_twice_is_refused(cords: list[Path], run: Run) -> None:
    told = run("report", cords[0], *AGAINST, "-o", "a.html", "-o", "./a.html")
    assert told.code == 2
    assert "given twice" in told.err


def test_a_record_never_makes_room_for_a_report(cords: list[Path], run: Run) -> None:
    shutil.copy(cords[0], "kept.pdf")
    before = Path("kept.pdf").read_bytes()
    for named in (("kept.pdf",), ()):
        told = run("report", *named, *AGAINST, "-o", "kept.pdf", *([] if named else ["--lot", "L-odd"]))
        assert told.code == 2, told.err
        assert Path("kept.pdf").read_bytes() == before


def test_records_are_chosen_as_find_chooses_them(
    cords: list[Path], run: Run, assembled: dict[str, Any]
) -> None:
    told = run("report", "--lot", "L-even", *AGAINST, "-o", "lot.html", "--json")
    assert told.code == 0, told.err
    even = [path for place, path in enumerate(cords) if place % 2 == 0]
    assert [Path(path).name for path in told.json["records"]] == [path.name for path in even]
    assert told.json["outcomes"] == ["pass", "pass", "fail"]
    chosen = Path("lot.html").read_bytes()
    found = run("archive", "find", "--lot", "L-even", "--json").json["found"]
    assert [one["record"] for one in found] == told.json["records"]
    # The same as when they are named.
    assert run("report", *told.json["records"], *AGAINST, "-o", "named.html").code == 0
    assert Path("named.html").read_bytes() == chosen
    assert run("report", "--archive", "archive", *AGAINST, "-o", "all.html").code == 0
    assert len(assembled["parts"]) == 6


def test_of_an_archive_the_parameter_is_that_of_a_kept_grading(cords: list[Path], run: Run) -> None:
    assert run("grade", cords[4], *AGAINST, "--keep").code == 1
    told = run("report", "--parameter", "next", "--outcome", "fail", *AGAINST, "--json")
    assert told.code == 0, told.err
    assert [Path(path).name for path in told.json["records"]] == [cords[4].name]
    several = ("--parameter", "next", "--parameter", "eltctl", "--outcome", "fail")
    told = run("report", *several, *AGAINST, "--json")
    assert told.code == 0, told.err
    assert [Path(path).name for path in told.json["records"]] == [cords[4].name]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "no record is named"),
        (("--lot", "nobody"), "nothing in archive fits"),
        (("archive/x.h5", "--lot", "L-odd"), "named and chosen from an archive as well"),
        (("archive/x.h5", "--archive", "archive"), "named and chosen from an archive as well"),
    ],
)
def test_what_is_to_be_reported_must_be_clear(
    cords: list[Path], run: Run, words: tuple[str, ...], said: str
) -> None:
    told = run("report", *words, *AGAINST)
    assert told.code == 2, told.err
    assert said in told.err
    assert not Path("report.html").exists()


def test_a_damaged_record_among_many_is_named(cords: list[Path], run: Run) -> None:
    spoil(cords[1])
    told = run("report", *cords, *AGAINST)
    assert told.code == 6
    assert cords[1].name in told.err.splitlines()[-2] + told.err.splitlines()[-1]
    assert not Path("report.html").exists()
    spoil(cords[3])
    told = run("report", *cords, *AGAINST)
    assert told.code == 6
    assert cords[1].name in told.err
    assert f"cannot be reported either: {cords[3]}" in told.err


def spoil(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2 :] = b"\0" * (len(data) - len(data) // 2)
    path.write_bytes(data)


def test_of_an_archive_with_a_damaged_file_the_others_are_reported(
    cords: list[Path], run: Run, assembled: dict[str, Any]
) -> None:
    cords[1].write_bytes(cords[1].read_bytes()[:5000])
    told = run("report", "--archive", "archive", *AGAINST, "--json")
    assert told.code == 6
    assert [Path(one["record"]).name for one in told.json["damaged"]] == [cords[1].name]
    assert len(told.json["records"]) == len(assembled["parts"]) == 5
    assert Path("report.html").is_file()
    assert cords[1].name in told.err


def test_processes_make_the_same_report_as_one(cords: list[Path], run: Run) -> None:
    how = (*cords[:3], *AGAINST, "--against", "tia-6a-channel", "--detail", "brief", "--quiet")
    assert run("report", *how, "-o", "one.html", "--jobs", 1).code == 0
    told = run("report", *how, "-o", "two.html", "--jobs", 2)
    assert told.code == 0, told.err
    assert Path("two.html").read_bytes() == Path("one.html").read_bytes()


def test_a_process_that_dies_at_a_record_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Dying:
        def run(self, work: Any, job: str, chunks: Any) -> Any:
            for chunk in chunks:
                yield [Graded(item, problem="the process that read it died") for item in chunk]

    monkeypatch.setattr("benchsweep.qualification.runner_for", lambda *_, **__: Dying())
    from benchsweep.cli._report_work import ReportJob
    from benchsweep.errors import ArchiveError
    from benchsweep.qualification import RegradeJob

    job = ReportJob(RegradeJob(load_requirements(["tia-6a-cord"])), None, (), None, "en", "full")
    assert ReportJob.from_text(job.to_text()) == job
    said: list[str] = []
    with pytest.raises(ArchiveError, match=r"a\.h5: the process that read it died"):
        _report_run.report_all(job, ["a.h5", "b.h5"], jobs=None, progress=said.append)
    assert [line for line in said if "either" in line] == [
        "this cannot be reported either: b.h5: the process that read it died"
    ]


def test_small_portions_hold_every_record_once_and_in_order() -> None:
    for count in (1, 2, 15, 16, 100, 1000):
        items = [Placed(f"{place}.h5", "", place=place) for place in range(count)]
        portions = list(_report_run._chunks(items))
        assert [item for portion in portions for item in portion] == items
        assert max(map(len, portions)) <= 5


@pytest.mark.parametrize(("count", "detail"), [(4, "full"), (5, "brief")])
def test_from_five_records_on_a_report_is_brief(
    cords: list[Path], run: Run, assembled: dict[str, Any], count: int, detail: str
) -> None:
    assert run("report", *cords[:count], *AGAINST).code == 0
    assert assembled["detail"] == detail
    assert run("report", *cords[:count], *AGAINST, "--detail", "full", "-o", "full.html").code == 0
    assert assembled["detail"] == "full"
    sizes = [Path(name).stat().st_size for name in ("report.html", "full.html")]
    assert (sizes[0] < sizes[1]) == (detail == "brief")


LETTERHEAD = """
number = "T-1"
authorised_by = "I. Vogt"
function = "head"
issued_on = 2026-03-02
[laboratory]
name = "Cabling laboratory"
[customer]
name = "A customer"
"""


def test_what_is_stated_comes_from_the_letterhead_and_then_from_options(
    cords: list[Path], run: Run, assembled: dict[str, Any]
) -> None:
    Path("head.toml").write_text(LETTERHEAD, encoding="utf-8")
    told = run("report", cords[0], *AGAINST, "--letterhead", "head.toml", "--json")
    assert told.code == 0, told.err
    stated = assembled["particulars"]
    assert (stated.laboratory, stated.number, stated.issued_on) == ("Cabling laboratory", "T-1", "2026-03-02")
    assert told.json["number"] == "T-1"
    options = ("--number", "T-2", "--authorised-by", "A. Holm", "--customer", "B", "--issued", "2026-03-05")
    told = run("report", cords[0], *AGAINST, "--letterhead", "head.toml", *options, "--json")
    assert told.json["number"] == "T-2"
    changed = dataclasses.replace(
        stated, number="T-2", authorised_by="A. Holm", function="", customer="B", issued_on="2026-03-05"
    )
    assert assembled["particulars"] == changed
    page = Path("report.html").read_text(encoding="utf-8")
    for word in ("Cabling laboratory", "T-2", "A. Holm", "2026-03-05"):
        assert word in page


def test_a_report_is_issued_today_where_nothing_is_said(
    cords: list[Path], run: Run, assembled: dict[str, Any]
) -> None:
    before = datetime.now(UTC).date().isoformat()
    assert run("report", cords[0], *AGAINST).code == 0
    assert before <= assembled["particulars"].issued_on <= datetime.now(UTC).date().isoformat()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--issued", "2.3.2026"), "2.3.2026 is no date"),
        (("--issued", "2026-02-30"), "2026-02-30 is no date"),
        (("--number", " "), "nothing is given"),
        (("--number", ""), "--number: nothing is given"),
        (("--title", ""), "--title: nothing is given"),
        (("--title", "  "), "--title: nothing is given"),
        (("--title", "a\u202eb"), "--title: holds the character U+202E"),
        (("--authorised-by", ""), "--authorised-by: nothing is given"),
        (("--customer", "a\x1bb"), "--customer: holds the character U+001B"),
        (("--letterhead", "none.toml"), "none.toml"),
        (("--language", "xx"), "xx"),
        (("--detail", "some"), "some"),
        (("--jobs", "0"), "equal to 1"),
    ],
)
def test_what_makes_no_sense_is_refused_before_any_work(
    cords: list[Path], run: Run, words: tuple[str, ...], said: str
) -> None:
    told = run("report", cords[0], *AGAINST, *words)
    assert told.code == 2, told.err
    assert said in told.err
    assert "record 1 of" not in told.err
    assert not Path("report.html").exists()


def test_the_words_are_those_of_the_language(cords: list[Path], run: Run) -> None:
    from tests.report.text.pseudo import CLOSE, OPEN, pseudo_language

    path = pseudo_language(Path())
    for jobs in (1, 2):
        told = run(
            "report", *cords[:2], *AGAINST, "--language", path, "--jobs", jobs, "-o", f"{jobs}.html", "-q"
        )
        assert told.code == 0, told.err
        page = Path(f"{jobs}.html").read_text(encoding="utf-8")
        assert page.count(OPEN) > 500
        assert f"{OPEN}pass{CLOSE}" in page


def test_how_far_it_is_is_told_of_each_of_a_few_records(cords: list[Path], run: Run) -> None:
    told = run("report", *cords[:3], *AGAINST)
    lines = told.err.splitlines()
    assert lines == [
        *(f"record {number} of 3: {path}" for number, path in enumerate(cords[:3], start=1)),
        "writing the report",
    ]
    assert run("report", *cords[:3], *AGAINST, "--quiet").err == ""
