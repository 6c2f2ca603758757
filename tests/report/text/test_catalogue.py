"""The English texts and the code that uses them agree: read from the source, without running it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

import benchsweep.report
from benchsweep.definitions import find_definition, read_toml
from benchsweep.records import Outcome, Parameter
from benchsweep.report.text import FAMILIES, STANDING_MARKS, english, load_texts
from benchsweep.report.text._load import texts_of
from benchsweep.report.text._texts import parts

KEY = re.compile(r"(?P<table>[a-z][a-z_]*)(\.[a-z][a-z0-9_-]*)+")
PACKAGE = Path(benchsweep.report.__file__).parent.parent


@dataclass(frozen=True)
class Use:
    place: str
    key: str
    fields: frozenset[str] | None  # None: not told by the source


def is_texts(node: ast.expr) -> bool:
    """Tell whether an expression is the texts: ``texts``, ``self.texts``, ``english()``."""
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id == "english"
    name = node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""
    return name in ("texts", "_texts")


def calls(source: str, place: str) -> Iterator[tuple[str, ast.expr, frozenset[str] | None]]:
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        line = isinstance(called, ast.Attribute) and called.attr == "line" and is_texts(called.value)
        if not (line or is_texts(called)):
            continue
        names = [keyword.arg for keyword in node.keywords]
        fields = None if None in names else frozenset(name for name in names if name)
        yield f"{place}:{node.lineno}", node.args[0], fields


def uses(source: str, place: str) -> tuple[list[Use], list[Use]]:
    """Return the keys used as they stand, and the beginnings of those that a word of the data ends."""
    whole, begun = [], []
    for where, key, fields in calls(source, place):
        for one in (key.body, key.orelse) if isinstance(key, ast.IfExp) else (key,):
            if isinstance(one, ast.Constant) and isinstance(one.value, str):
                whole.append(Use(where, one.value, fields))
            elif isinstance(one, ast.JoinedStr) and isinstance(one.values[0], ast.Constant):
                begun.append(Use(where, str(one.values[0].value), fields))
            else:
                # Its value stands in the same source: `named` finds it there.
                made = isinstance(one, ast.BinOp | ast.JoinedStr) or ".format(" in ast.unparse(one)
                assert not made, f"{where}: a key that cannot be found: {ast.unparse(one)}"
    return whole, begun


def named(source: str, place: str) -> list[Use]:
    """Return every text in a source that looks like a key: a table of the catalogue, a point, a name."""
    tables = {key.partition(".")[0] for key in english().entries}
    return [
        Use(f"{place}:{node.lineno}", node.value, None)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and (looks := KEY.fullmatch(node.value))
        and looks["table"] in tables
    ]


def beginnings(source: str, place: str) -> list[Use]:
    """Return every beginning of keys that stands in a source by itself."""
    return [
        Use(f"{place}:{node.lineno}", node.value, None)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and node.value in FAMILIES
    ]


@pytest.fixture(scope="module")
def found() -> tuple[list[Use], list[Use]]:
    whole: list[Use] = []
    begun: list[Use] = []
    for path in sorted((PACKAGE / "report").rglob("*.py")):
        if path.name == "_families.py":
            continue
        source, place = path.read_text(encoding="utf-8"), str(path.relative_to(PACKAGE))
        more = uses(source, place)
        whole += more[0] + named(source, place)
        begun += more[1] + beginnings(source, place)
    assert len(whole) > 30
    assert begun
    return whole, begun


def test_the_source_is_read_as_it_is_meant() -> None:
    source = (
        'a = texts("x.y", n=1) if b else self.texts.line("x.z", m=c, **more)\n'
        'd = english()(f"w.{e.value}"), texts("p" if q else "r"), other("not.ours")\n'
    )
    whole, begun = uses(source, "made up")
    assert {use.key: use.fields for use in whole} == {
        "p": frozenset(),
        "r": frozenset(),
        "x.y": frozenset({"n"}),
        "x.z": None,
    }
    assert [use.key for use in begun] == ["w."]
    assert uses("texts(key)", "made up") == ([], [])
    assert [use.key for use in named("KEYS = ('row.inside', 'elsewhere.inside', 'row.', 'a row.')", "")] == [
        "row.inside"
    ]
    with pytest.raises(AssertionError, match="a key that cannot be found"):
        uses("texts('a' + b)", "made up")


def test_every_key_used_is_in_the_catalogue(found: tuple[list[Use], list[Use]]) -> None:
    told = english().entries
    assert [f"{use.place}: {use.key}" for use in found[0] if use.key not in told] == []


def test_every_call_gives_the_fields_of_its_text(found: tuple[list[Use], list[Use]]) -> None:
    told = english().entries
    wrong = []
    for use in found[0]:
        entry = told.get(use.key)
        if entry is None or use.fields is None:
            continue
        text = entry if isinstance(entry, str) else entry["other"]
        wanted = set(parts(text)[1::2]) | (set() if isinstance(entry, str) else {"count"})
        if use.fields != wanted:
            wrong.append(f"{use.place}: {use.key} wants {sorted(wanted)}, is given {sorted(use.fields)}")
    assert wrong == []


def test_every_key_of_the_catalogue_is_used(found: tuple[list[Use], list[Use]]) -> None:
    whole = {use.key for use in found[0]}
    begun = tuple({use.key for use in found[1]})
    assert [key for key in english().entries if key not in whole and not key.startswith(begun)] == []


def test_a_key_is_ended_by_data_only_where_that_is_told(found: tuple[list[Use], list[Use]]) -> None:
    assert [f"{use.place}: {use.key}" for use in found[1] if use.key not in FAMILIES] == []
    assert set(FAMILIES) - {use.key for use in found[1]} == set()


@pytest.mark.parametrize("beginning", FAMILIES)
def test_a_family_has_texts(beginning: str) -> None:
    assert [key for key in english().entries if key.startswith(beginning)]
    assert FAMILIES[beginning].strip()


def test_closed_lists_have_a_text_for_each_word() -> None:
    texts = english()
    wanted = [f"parameter.{parameter.value}" for parameter in Parameter]
    wanted += [f"{table}.{outcome.value}" for outcome in Outcome for table in ("outcome", "count")]
    wanted += [f"standing.{standing}" for standing in STANDING_MARKS]
    assert [key for key in wanted if key not in texts] == []


def test_the_shipped_english_keeps_the_rules_for_a_translation() -> None:
    path = find_definition("texts", "en")
    assert texts_of(read_toml(path), str(path)) == english() == load_texts()
    assert english().language == "en"


def test_notes_and_reports_call_a_parameter_the_same() -> None:
    texts = english()
    assert {parameter: texts(f"parameter.{parameter.value}") for parameter in Parameter} == {
        parameter: parameter.term for parameter in Parameter
    }
