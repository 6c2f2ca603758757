"""Names from people and files in all that a command prints: none acts on the terminal or forges a line."""

from __future__ import annotations

import json
import shutil
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchsweep import archive
from benchsweep.archive import read_record
from benchsweep.cli._output import print_json, print_lines, print_text, say, say_wrapped
from benchsweep.records import Specimen
from tests.cli.test_report import cord

Run = Callable[..., Any]
# A direction override, an isolate, a space without width, a mark of byte order, an escape; a line of our own.
HIDDEN = "a\u202eb\u2066c\u200bd\ufeffe\x1b[31mf"
FORGED = "pass: another"
AGAINST = ("--against", "tia-6a-cord")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    name = f"{HIDDEN}\n{FORGED}"
    # No edge of an excerpt is inside the name: 40 letters are shown by the narrowest table.
    specimen = Specimen(name, 2.0, lot=HIDDEN, description=name)
    measured = replace(cord("x", "cord-2m", "L", 0), specimen=specimen, operator=name, source_file=name)
    return archive.write_record(measured, folder)


@pytest.fixture
def record(made: Path, own_home: Path) -> Path:
    """A record whose names, and that of whose file, are hostile."""
    path = Path("archive") / f"{HIDDEN}.h5"
    path.parent.mkdir()
    shutil.copy(made, path)
    return path


def assert_harmless(text: str) -> None:
    found = {char for char in text if unicodedata.category(char)[0] == "C"}
    assert found <= {"\n"}, found
    assert not [line for line in text.splitlines() if line.startswith(FORGED)]


@pytest.mark.parametrize(
    "words",
    [
        ("report", "{}", *AGAINST),
        ("report", "{}", *AGAINST, "--number", "7", "-o", "{}.html"),
        ("export", "{}", "--to", "csv"),
        ("export", "{}", "--to", "csv", "--what", "verdict", *AGAINST),
        ("export", "{}", "--to", "touchstone"),
        ("grade", "{}", *AGAINST, "--keep", "--by", "me"),
        ("locate", "{}"),
        ("show", "{}", *AGAINST),
        ("show", "{}", "--budget"),
        ("archive", "find", "--archive", "archive"),
        ("archive", "check", "--archive", "archive"),
        ("archive", "reindex", "--archive", "archive"),
        ("archive", "regrade", "--archive", "archive", *AGAINST),
        ("archive", "comment", "{}", "is disputed", "--by", "me"),
        ("archive", "correct", "{}", "--length-m", "3", "--by", "me", "--reason", "told"),
    ],
    ids=" ".join,
)
def test_no_line_holds_what_acts_on_a_terminal(record: Path, run: Run, words: tuple[str, ...]) -> None:
    told = run(*(word.format(record) for word in words))
    assert told.code in (0, 1, 3), told.err
    assert told.out
    assert_harmless(told.out)
    assert_harmless(told.err)


def test_the_line_of_a_report_names_the_specimen_with_question_marks(record: Path, run: Run) -> None:
    told = run("report", record, *AGAINST, "--quiet")
    line = told.out.splitlines()[0]
    assert "a?b?c?d?e?[31mf?pass: another, " in line


@pytest.mark.parametrize(
    "words",
    [
        ("show", "{}"),
        ("report", "{}", *AGAINST),
        ("import", "{}", "--specimen", "x"),
        ("grade", "{}", "--against", f"no-{HIDDEN}"),
        ("qualify", "--station", f"no-{HIDDEN}", "--specimen", "x", *AGAINST),
        ("archive", "find", "--archive", "{}"),
    ],
    ids=" ".join,
)
def test_no_error_does_either(own_home: Path, run: Run, words: tuple[str, ...]) -> None:
    """Each quotes a name that is not there, or is no such file."""
    told = run(*(word.format(f"{HIDDEN}.h5") for word in words))
    assert told.code in (2, 6)
    assert told.err.startswith("benchsweep: ")
    assert_harmless(told.err)


@pytest.mark.parametrize(
    "words",
    [
        ("{}",),
        ("info", "{}"),
        ("info", "{}\n" + FORGED),
        ("show", "--{}"),
        ("show", "x.h5", "--sweep", "{}"),
        ("archive", "{}"),
        ("limits", "list", "{}"),
    ],
    ids=" ".join,
)
def test_nor_does_what_the_parser_says_of_a_command_line(run: Run, words: tuple[str, ...]) -> None:
    """A shell gives file names for ``*``, and too many arguments are quoted."""
    told = run(*(word.format(HIDDEN) for word in words))
    assert told.code == 2
    assert "Usage: " in told.err
    assert_harmless(told.err)


def test_json_is_exact(record: Path, run: Run) -> None:
    told = run("show", record, "--json")
    assert told.json["record"] == str(record)
    assert told.json["specimen"] == read_record(record).specimen.identifier
    assert_harmless(told.out)  # spelled out


@pytest.mark.parametrize("command", [("show",), ("show", "--against", "tia-6a-cord")])
def test_a_long_path_stays_within_the_columns_of_show(
    made: Path, own_home: Path, run: Run, command: tuple[str, ...]
) -> None:
    folder = Path("x" * 120, "y" * 120)
    folder.mkdir(parents=True)
    path = folder / ("z" * 60 + ".h5")
    shutil.copy(made, path)
    told = run(command[0], path, *command[1:])
    assert told.code == 0, told.err
    assert max(map(len, told.out.splitlines())) <= 80
    label, *rest = told.out.splitlines()
    assert label.startswith("record       x")
    assert (label + "".join(line.strip() for line in rest)).startswith(f"record       {path}")


def test_a_table_keeps_its_lines_and_drawings(capsys: pytest.CaptureFixture[str]) -> None:
    table = "outcome  fail\n  \u2500\u2502\u2581 \u2800\u28ff \u00b1 \u03a9\n\n1 m"
    print_text(table)
    assert capsys.readouterr().out == f"{table}\n"
    print_text("a\x9b1mb\rc\n\u2028d\ud800")
    assert capsys.readouterr().out == "a?1mb?c\n d?\n"


def test_a_line_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    print_lines(["a\nb", "", "c"])
    assert capsys.readouterr().out == "a?b\n\nc\n"
    say("failed:\r\n\tno such\nthing \x1b]0;t\x07")
    assert capsys.readouterr().err == "failed: no such thing ?]0;t?\n"
    say_wrapped(["", f"{'word ' * 40}\u202e"])
    first, *rest = capsys.readouterr().err.splitlines()
    assert first == ""
    assert len(rest) > 1
    assert "".join(rest).endswith("?")


def test_print_json_changes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    document = {"name": f"{HIDDEN}\n\ud800"}
    print_json(document)
    assert json.loads(capsys.readouterr().out) == document
