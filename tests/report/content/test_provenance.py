"""Comments and provenance, as the report tells them."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import benchsweep
from benchsweep.fixture import fixture_text
from benchsweep.records import Comment
from benchsweep.report.content._comments import comments_section
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._provenance import provenance_section
from benchsweep.report.document import Listing
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, text_of, within
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()
HALVES = Path(benchsweep.__file__).parent.parent / "fixtures" / "fixture-halves.toml"


@pytest.fixture
def item(build: SimpleNamespace) -> ReportItem:
    return build.item(points=40)


def listed(section: object) -> list[str]:
    (found,) = [block for block in within(section) if isinstance(block, Listing)]
    return list(found.lines)


def test_what_finds_the_record_and_checks_it(item: ReportItem) -> None:
    measurement = replace(
        item.measurement,
        reduced_from="cd" * 32,
        reduced_at="2026-04-01T00:00:00Z",
        reason="a better fixture",
        source_file="x.s16p",
        budget_toml='name = "bench 3"\n[noise]\n',
    )
    section = provenance_section([replace(item, measurement=measurement, sweep=7)], TEXTS)
    told = facts_of(section)
    assert told["record"] == ["/data/archive/20260301T123005Z-cord.h5"]
    assert told["content hash"][0] == "ab" * 32
    assert told["sweep"] == ["7"]
    assert told["reduced again from"] == ["cd" * 32]
    assert told["reduced again at"] == ["2026-04-01T00:00:00Z"]
    assert told["reason"] == ["a better fixture"]
    assert told["file it came from"] == ["x.s16p"]
    assert told["ports of the matrix, in the order of its rows"][0].startswith("1 A:12.1, 2 A:12.2, ")
    assert told["software"] == ["benchsweep 0.1.0, numpy 2.4"]
    fixture = section_in(section, "Fixture definition as used")
    budget = section_in(section, "Uncertainty budget as used")
    assert fixture.folded
    assert budget.folded
    assert listed(fixture) == ["schema = 1", 'name = "contacts"']
    assert listed(budget) == ['name = "bench 3"', "[noise]"]


def test_what_is_not_there_is_said_or_left_out(item: ReportItem) -> None:
    bare = replace(
        item,
        content_hash="",
        verdict=replace(item.verdict, record=""),
        measurement=replace(item.measurement, fixture_toml="", software={}),
    )
    section = provenance_section([bare], TEXTS)
    told = facts_of(section)
    assert told["record"] == ["not stored"]
    assert not {"content hash", "sweep", "reduced again from", "software"} & set(told)
    assert not any(isinstance(block, Listing) for block in within(section))


def test_comments_of_a_definition_are_left_out_and_that_is_said(item: ReportItem) -> None:
    toml = (
        '# bench 3\n\nname = "b # 3" # its name\nnote = """\n# part of the note\n\n"""\n  # more\n[noise]\n'
    )
    known = replace(item, measurement=replace(item.measurement, budget_toml=toml))
    budget = section_in(provenance_section([known], TEXTS), "Uncertainty budget as used")
    assert listed(budget) == [
        'name = "b # 3" # its name',
        'note = """',
        "# part of the note",
        "",
        '"""',
        "[noise]",
    ]
    assert tomllib.loads("\n".join(listed(budget))) == tomllib.loads(toml)
    said = "Comments and empty lines of the definition are left out"
    assert said in text_of(budget)
    fixture = section_in(provenance_section([known], TEXTS), "Fixture definition as used")
    assert said not in text_of(fixture)  # it has none


def test_measured_files_within_a_definition_are_named_not_listed(item: ReportItem) -> None:
    text = fixture_text(HALVES)
    with_halves = replace(item, measurement=replace(item.measurement, fixture_toml=text))
    section = provenance_section([with_halves], TEXTS)
    lines = listed(section)
    whole = tomllib.loads(text)
    assert "embedded" in whole
    told = tomllib.loads("\n".join(lines))
    assert told == {key: value for key, value in whole.items() if key != "embedded"}
    rest = len((HALVES.parent / "halves" / "coupled-lines.s4p").read_text(encoding="utf-8").splitlines())
    assert f"halves/coupled-lines.s4p: {rest} lines, in the record" in text_of(section)


def test_comments_tell_who_and_when_and_keep_their_lines(item: ReportItem) -> None:
    assert comments_section([item], TEXTS) is None
    comments = (
        Comment("ab" * 32, "I. Vogt", "2026-03-02T08:00:00Z", "drum 12 was wet\n\n dried since"),
        Comment("ab" * 32, "M. Lindqvist", "2026-03-03T08:00:00Z", "measured again: same"),
    )
    section = comments_section([replace(item, comments=comments)], TEXTS)
    assert section is not None
    assert list(facts_of(section).items()) == [
        ("2026-03-02T08:00:00Z, I. Vogt", ["drum 12 was wet", " dried since"]),
        ("2026-03-03T08:00:00Z, M. Lindqvist", ["measured again: same"]),
    ]


def test_words_of_ours_and_of_others(item: ReportItem, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    measurement = replace(
        item.measurement,
        reduced_from=HOSTILE,
        reduced_at=HOSTILE,
        reason=HOSTILE,
        source_file=HOSTILE,
        software={HOSTILE: HOSTILE},
        fixture_toml="name = 'x'\n[embedded]\n'</bdi><script>' = 'a'\n",
        budget_toml="# </bdi><script>",
    )
    comments = (Comment("ab", HOSTILE, HOSTILE, f"{HOSTILE}\n{HOSTILE}"),)
    bad = replace(item, measurement=measurement, comments=comments, sweep=3)
    bad = replace(bad, verdict=replace(item.verdict, record=HOSTILE))
    for section in (provenance_section([bad], texts), comments_section([bad], texts)):
        assert section is not None
        assert not re.search("[A-Za-z]", outside_marks(ours(section)))
        assert "script" in text_of(section)
        assert "script" not in ours(section)
    bare = replace(bad, verdict=replace(item.verdict, record=""))
    assert not re.search("[A-Za-z]", outside_marks(ours(provenance_section([bare], texts))))
