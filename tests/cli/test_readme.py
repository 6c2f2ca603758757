"""README names every command and every JSON document that the program prints."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.conftest import Answer

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = README.split("### Commands", 1)[1].split("\n## ", 1)[0]
SCHEMA = re.compile(r"benchsweep\.[a-z-]+/\d+")
# Told by one process to another in a file of the job, never printed.
INNER = {"benchsweep.regrade-job/2"}


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip("|").split(" | ")]


def test_every_json_document_stands_in_the_table() -> None:
    code = {
        name
        for path in (ROOT / "benchsweep").rglob("*.py")
        for name in SCHEMA.findall(path.read_text(encoding="utf-8"))
    }
    table = [
        name for line in COMMANDS.splitlines() if line.startswith("| `b") for name in SCHEMA.findall(line)
    ]
    assert sorted(table) == sorted(code - INNER)


def test_every_command_stands_in_the_table(run: Callable[..., Answer]) -> None:
    help_text = run("--help").out
    listed = re.findall(r"^[│|]\s+([a-z][a-z-]+)\s{2,}", help_text, re.MULTILINE)
    assert {"compare", "simulate-tester", "qualify"} <= set(listed)
    rows = [cells(line)[0] for line in COMMANDS.splitlines() if line.startswith("| `")]
    named = {word for row in rows for part in re.findall(r"`([^`]+)`", row) for word in part.split()[:1]}
    assert set(listed) <= named


def test_every_verb_of_compare_stands_in_the_table() -> None:
    from benchsweep.cli._compare import app

    verbs = {command.name for command in app.registered_commands} | {
        group.name for group in app.registered_groups
    }
    rows = COMMANDS.split("`--json` prints", 1)[0]
    told: set[Any] = {
        verb
        for part in re.findall(r"\| `compare ([a-z /]+)` \|", rows)
        for verb in part.replace("/", " ").split()
    }
    assert told == verbs


def sample(first: str) -> str:
    """Return the TOML block of the section on field testers that begins so."""
    section = README.split("## Field testers", 1)[1]
    blocks = re.findall(r"^```toml\n(.*?)^```", section, re.MULTILINE | re.DOTALL)
    (found,) = [block for block in blocks if block.startswith(first)]
    return found


def test_the_samples_are_read_as_they_stand(tmp_path: Path) -> None:
    from benchsweep.qualification.comparisons._statement import read_statement, statement_text
    from benchsweep.records import Parameter
    from benchsweep.testers import load_accuracy, read_mapping

    path = tmp_path / "mating.toml"
    path.write_text(sample("# mating.toml"), encoding="utf-8")
    stated = read_statement(statement_text(path))
    assert {each.parameter: each.db for each in stated.mating}[Parameter.NEXT] == 0.35
    assert all(each.study is None for each in stated.mating)
    # Another [[mating]] in place of the first of them.
    path.write_text('schema = 1\nname = "n"\nsource = "s"\nstanding = "from-memory"\n' + sample("[[mating]]"))
    assert read_statement(statement_text(path)).mating[0].study == "winter"
    mapping = read_mapping(sample('schema = 1\nname = "our-tester"'))
    assert mapping.names.ends == {"end 1": "A", "end 2": "B"}
    own = tmp_path / "own.toml"
    head = 'schema = 1\nname = "own"\ndescription = ""\nsource = "Manual"\nstanding = "published"\n'
    own.write_text(head + sample("[[line]]"))
    assert load_accuracy(own).lines_of(Parameter.NEXT)


def test_the_commands_on_field_testers_have_these_options() -> None:
    from click import Context
    from typer.main import get_command

    from benchsweep.cli._app import app

    section = README.split("## Field testers", 1)[1].split("\n## ", 1)[0]
    lines = [line for line in section.splitlines() if line.startswith("benchsweep ")]
    assert len(lines) >= 20
    for line in lines:
        words = shlex.split(line)[1:]
        command: Any = get_command(app)
        while hasattr(command, "get_command"):
            command = command.get_command(Context(command), words.pop(0))
            assert command is not None, line
        known = {option for each in command.params for option in each.opts}
        assert {word for word in words if re.match(r"--?[a-z]", word)} <= known, line
