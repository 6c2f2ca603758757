"""The limits used, with their standing, as the report tells them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchsweep.records import Parameter
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._limits import limits_section
from benchsweep.report.document import Section
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, ours, section_in, tables_of, text_of
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()


@pytest.fixture
def item(build: SimpleNamespace) -> ReportItem:
    whole = build.item(points=40)
    limits = dict(reversed(whole.limits.items()))
    limits[Parameter.NEXT] = replace(limits[Parameter.NEXT], standing="published", source="TIA-568.2-D 6.2.8")
    limits[Parameter.SKEW] = replace(limits[Parameter.SKEW], standing="common-practice")
    return replace(whole, limits=limits)


def test_every_line_with_its_standing_and_source_in_the_usual_order(item: ReportItem) -> None:
    section = limits_section([item], TEXTS)
    assert section is not None
    ((heads, *rows),) = tables_of(section)
    assert heads == ["parameter", "value must be", "standing", "source"]
    assert len(rows) == len(item.limits)
    memory = "from memory, to be verified"
    assert rows[0] == ["insertion loss", "at most the limit", memory, "invented, clause 7.3"]
    assert ["NEXT", "at least the limit", "published", "TIA-568.2-D 6.2.8"] in rows
    assert rows[-1] == ["skew", "at most the limit", "common practice in the trade", "invented, clause 7.3"]


def test_how_many_of_which_standing_comes_first_the_weakest_before_all(item: ReportItem) -> None:
    told = text_of(limits_section([item], TEXTS) or Section((), ())).splitlines()
    assert told[1:4] == [
        f"{len(item.limits) - 2} limit lines are from memory, "
        "to be verified against your own copy of the standard",
        "1 limit line is common practice in the trade, not taken from the standard itself",
        "1 limit line was checked against a published value",
    ]
    odd = replace(item, limits={Parameter.NEXT: replace(item.limits[Parameter.NEXT], standing="hearsay")})
    told = text_of(limits_section([odd], TEXTS) or Section((), ())).splitlines()
    assert told[1] == "1 limit line is of standing hearsay, which this report does not know"


def test_several_requirements_are_folded_by_name(item: ReportItem) -> None:
    other = replace(item, verdict=replace(item.verdict, requirement="easy"))
    bare = replace(item, limits={}, verdict=replace(item.verdict, requirement="without limits"))
    section = limits_section([item, other, bare], TEXTS)
    assert section is not None
    assert section_in(section, "tia-6a-cord").folded
    assert len(tables_of(section_in(section, "easy"))[0]) == 1 + len(item.limits)
    assert "without limits" not in text_of(section)
    assert f"{2 * (len(item.limits) - 2)} limit lines are from memory" in text_of(section)
    assert limits_section([bare], TEXTS) is None


def test_words_of_ours_and_of_others(item: ReportItem, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    curve = replace(item.limits[Parameter.NEXT], standing=HOSTILE, source=HOSTILE)
    bad = replace(item, limits=dict(item.limits) | {Parameter.NEXT: curve})
    bad = replace(bad, verdict=replace(item.verdict, requirement=HOSTILE))
    for group in ([bad], [bad, bad]):
        section = limits_section(group, texts)
        assert section is not None
        assert not re.search("[A-Za-z]", outside_marks(ours(section)))
        assert "script" in text_of(section)
        assert "script" not in ours(section)
