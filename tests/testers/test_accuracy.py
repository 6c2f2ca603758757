"""Declared accuracy: figures by hand, what is not declared, and files that are wrong."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import DefinitionError
from benchsweep.records import Parameter
from benchsweep.testers import accuracies, accuracy_text, load_accuracy, read_accuracy

HEAD = """schema = 1
name = "own"
description = "Of a tester"
source = "Its manual"
standing = "published"
"""


def line(text: str, parameter: str = "next", meaning: str = "expanded") -> str:
    told = f'[[line]]\nparameter = "{parameter}"\nmeaning = "{meaning}"\n'
    return f'{told}source = "Table 1"\nstanding = "published"\n{text}\n'


def at(text: str, mhz: list[float], value: float = 40.0, **more: object) -> list[float] | None:
    found = read_accuracy(HEAD + text).expanded(Parameter.NEXT, np.array(mhz) * 1e6, value, **more)  # type: ignore[arg-type]
    return None if found is None else [round(one, 9) for one in found.tolist()]


def test_points_are_joined_straight_in_the_logarithm_of_frequency():
    text = line("points = { frequency_mhz = [1.0, 100.0], figure = [1.0, 3.0] }")
    # 10 MHz is half way between 1 and 100.
    assert at(text, [1.0, 10.0, 100.0]) == [1.0, 2.0, 3.0]
    assert np.isnan(at(text, [0.9, 10.0])[0])
    assert at(text, [101.0, 200.0]) is None


def test_a_form_is_held_between_floor_and_cap():
    text = line("form = { a = 2.0, b = 1.0, floor = 1.5, cap = 2.5 }\nfrom_mhz = 1.0\nto_mhz = 500.0")
    assert at(text, [10.0, 100.0, 200.0, 500.0]) == [1.5, 2.0, round(2 + math.log10(2), 9), 2.5]
    assert np.isnan(at(text, [100.0, 501.0])[1])


def test_limits_of_error_become_an_expanded_uncertainty():
    """JCGM 100:2008, 4.3.7: half-width a of equally likely errors has u = a / sqrt 3; here U = 2 u."""
    assert at(line("form = { a = 3.0 }", meaning="limits"), [100.0]) == [round(2 * 3 / math.sqrt(3), 9)]


def test_a_part_of_the_value_is_added():
    accuracy = read_accuracy(HEAD + line("form = { a = 5.0 }\nrelative_percent = 4.0", "delay"))
    # 5 ns + 4 % of 500 ns, also where no frequency is told.
    assert accuracy.expanded(Parameter.DELAY, None, 500.0) == pytest.approx([25.0])
    assert accuracy.expanded(Parameter.DELAY, 1e6, np.array([500.0, 250.0])) == pytest.approx([25.0, 15.0])


def test_nothing_is_declared_of_another_parameter_or_without_a_frequency():
    accuracy = read_accuracy(HEAD + line("form = { a = 2.0, b = 1.0 }"))
    assert accuracy.expanded(Parameter.RETURN_LOSS, 1e8, 20.0) is None
    assert accuracy.expanded(Parameter.NEXT, None, 20.0) is None


def test_a_statement_near_the_limit_ends_there():
    text = line("form = { a = 2.0 }\nnear_limit_db = 10.0")
    told = at(text, [100.0, 100.0, 100.0], margin=np.array([-3.0, 10.0, 10.1]))
    assert told[:2] == [2.0, 2.0]
    assert np.isnan(told[2])
    assert at(text, [100.0], margin=11.0) is None
    assert at(text, [100.0]) == [2.0]


def test_where_bands_meet_the_larger_figure_counts():
    for low, high in ((1.0, 2.0), (2.0, 1.0)):
        text = line(f"form = {{ a = {low} }}\nto_mhz = 100.0")
        text += line(f"form = {{ a = {high} }}\nfrom_mhz = 100.0")
        assert at(text, [50.0, 100.0, 150.0]) == [low, 2.0, high]


def test_the_template_is_refused_until_it_is_filled(tmp_path: Path):
    assert {"template", "demonstration"} <= set(accuracies())
    with pytest.raises(DefinitionError, match="is not filled") as caught:
        load_accuracy("template")
    assert "./accuracies/" in caught.value.hint
    assert load_accuracy("template", may_be_template=True).template


def filled_template() -> str:
    """Return the template as a laboratory fills it: every text and figure that it asks for replaced."""
    text = accuracy_text("template").replace("\ntemplate = true\n", "\n")
    for before, after in (
        ('name = "template"', 'name = "our tester"'),
        ("To be copied to ./accuracies/ and filled from the documents of the tester", "Our tester, channel"),
        ("Name the document, its edition and the clause, table or page", "Manual, edition 3, table 4"),
        (
            "Name the type of instrument, its adapters and configuration (channel, permanent link)",
            "hand-held",
        ),
        ("Name the accuracy level, or take this line out", "IIIe"),
        ("[99.9, 99.9, 99.9]", "[2.0, 2.5, 4.0]"),
        ("a = 9999.0", "a = 10.0"),
        ("\nrelative_percent = 99.9", "\nrelative_percent = 4.0"),
        ("Name the document, clause and table", "Table 4"),
    ):
        assert before in text
        text = text.replace(before, after)
    return text


def test_a_template_that_is_filled_is_taken(tmp_path: Path):
    (tmp_path / "bench-tester.toml").write_text(filled_template(), encoding="utf-8")
    filled = load_accuracy("bench-tester", folders=(tmp_path,))
    assert filled.expanded(Parameter.NEXT, 1e6, 50.0) == pytest.approx([2.0 * 2 / math.sqrt(3)])
    assert "from memory" in filled.doubt


@pytest.mark.parametrize(
    ("filled", "left", "key"),
    [
        ("our tester", "template", "name"),
        (
            "Manual, edition 3, table 4",
            "Name the document, its edition and the clause, table or page",
            "source",
        ),
        (
            "Manual, edition 3, table 4",
            "name the document,  its edition and the clause, table or page",
            "source",
        ),
        ("IIIe", "Name the accuracy level, or take this line out", "level"),
        ("[2.0, 2.5, 4.0]", "[2.0, 2.5, 99.9]", r"line\[0\]\.points\.figure\[2\]"),
        ("points = {", "form = { a = 1.0, cap = 99.9 }\n# {", r"line\[0\]\.form\.cap"),
        ("a = 10.0", "a = 9999", r"line\[1\]\.form\.a"),
        ("relative_percent = 4.0", "relative_percent = 99.9", r"line\[1\]\.relative_percent"),
        ('source = "Table 4"', 'source = "Name the document, clause and table"', r"line\[0\]\.source"),
    ],
)
def test_what_still_stands_from_the_template_is_refused(tmp_path: Path, filled: str, left: str, key: str):
    text = filled_template()
    assert filled in text
    (tmp_path / "own.toml").write_text(text.replace(filled, left, 1), encoding="utf-8")
    with pytest.raises(DefinitionError, match=rf"own\.toml: {key}: .*from the template"):
        load_accuracy("own", folders=(tmp_path,))


def test_the_template_without_its_mark_is_no_declaration(tmp_path: Path):
    text = accuracy_text("template").replace("\ntemplate = true\n", "\n")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    with pytest.raises(DefinitionError, match="name: 'template' still stands") as caught:
        load_accuracy("own", folders=(tmp_path,))
    assert "source" in caught.value.hint
    # What was kept with a comparison is read as it was then.
    assert read_accuracy(text).line


def test_invented_figures_are_called_so():
    accuracy = load_accuracy("demonstration")
    assert "invented" in accuracy.doubt
    assert "Invented" in accuracy.source
    assert {one.source for one in accuracy.line} == {"Invented"}
    assert read_accuracy(HEAD + line("form = { a = 1.0 }")).doubt == ""


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "nothing is declared"),
        (line(""), "give points, form or relative_percent"),
        (line("form = { a = 1.0 }\npoints = { frequency_mhz = [1.0], figure = [1.0] }"), "not both"),
        (line("points = { frequency_mhz = [1.0, 1.0], figure = [1.0, 2.0] }"), "must rise"),
        (line("points = { frequency_mhz = [1.0], figure = [1.0, 2.0] }"), "not as many numbers"),
        (line("points = { frequency_mhz = [1.0], figure = [-1.0] }"), "greater than or equal to 0"),
        (line("form = { a = 1.0, floor = 2.0, cap = 1.0 }"), "cap is below floor"),
        (line("form = { a = 1.0 }\nfrom_mhz = 2.0\nto_mhz = 1.0"), "from_mhz is not below to_mhz"),
        (line("form = { a = 1.0 }") + line("form = { a = 2.0 }\nfrom_mhz = 5.0"), "two lines of next"),
        (line("form = { a = 1.0 }", meaning="typical"), "'typical' is none of"),
        (line("form = { a = 1.0 }\nunit = 1"), "unknown key"),
    ],
)
def test_wrong_files_are_refused(text: str, why: str):
    with pytest.raises(DefinitionError) as caught:
        read_accuracy(HEAD + text)
    assert why in caught.value.message + caught.value.hint
