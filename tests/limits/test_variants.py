"""Variants of requirements (key ``base``), which files are in force, and broken ones."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep import limits
from benchsweep.definitions import data_folder
from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.limits import (
    limit_value,
    list_requirements,
    load_requirement,
    requirement_names,
    requirements_in_force,
)
from benchsweep.records import Parameter

BASE = """
schema = 1
name = "works"
title = "Works' own"
body = "The works"
edition = "2026"
class = "A"
configuration = "channel"
rank = 3
standing = "from-memory"
[source]
document = "Works instruction 1"
checked = "no"
[length]
maximum_m = 100.0
standing = "common-practice"
source = "practice"
[[dc]]
quantity = "loop resistance"
maximum = 25.0
unit = "ohm"
standing = "from-memory"
source = "instruction"
[[lines]]
parameter = "return_loss"
sense = "min"
standing = "published"
source = "page 1"
bands = [{ from_mhz = 1.0, to_mhz = 100.0, limit = { form = "constant", level = 10.0 } }]
[[lines]]
parameter = "next"
sense = "min"
standing = "from-memory"
source = "page 2"
bands = [{ from_mhz = 1.0, to_mhz = 100.0, limit = { form = "constant", level = 30.0 } }]
"""
LINE = """
[[lines]]
parameter = "{parameter}"
sense = "min"
standing = "published"
source = "page 9"
bands = [{{ from_mhz = 1.0, to_mhz = 200.0, limit = {{ form = "constant", level = {level} }} }}]
"""
VARIANT = 'schema = 1\nname = "{name}"\nbase = "{base}"\n'


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "requirements").mkdir()
    return tmp_path / "requirements"


def write(folder, text, name):
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def variant(name="variant", base="works", more=""):
    return VARIANT.format(name=name, base=base) + more


# ---- what a variant takes over


def test_a_variant_takes_over_everything_that_it_does_not_give(folder):
    write(folder, BASE, "works")
    write(folder, variant(more='title = "Better"\n' + LINE.format(parameter="next", level=31.5)), "variant")
    found, base = load_requirement("variant"), load_requirement("works")
    assert (found.name, found.base, found.title) == ("variant", "works", "Better")
    same = ("body", "edition", "category", "configuration", "source", "length", "dc")
    assert all(getattr(found, key) == getattr(base, key) for key in same)
    assert [line.parameter for line in found.lines] == [line.parameter for line in base.lines]
    assert found.lines[0] == base.lines[0]
    # The line of NEXT is the variant's own, also where the base set none.
    assert limit_value(found, Parameter.NEXT, 150e6).value == 31.5
    assert limit_value(base, Parameter.NEXT, 50e6).value == 30.0


def test_standing_is_worked_out_again_and_the_rank_is_not_taken_over(folder):
    write(folder, BASE, "works")
    write(folder, variant(more=LINE.format(parameter="next", level=31.5)), "variant")
    found = load_requirement("variant")
    assert (found.standing, found.rank) == ("published", None)  # both lines are; two A would compete
    write(folder, variant("ranked", more="rank = 4\n"), "ranked")
    assert load_requirement("ranked").rank == 4
    assert load_requirement("ranked").standing == "from-memory"
    write(folder, variant("wrong", more='standing = "published"\n'), "wrong")
    with pytest.raises(DefinitionError, match="weakest line is 'from-memory'"):
        load_requirement("wrong")


def test_lines_can_be_left_out_and_added(folder):
    write(folder, BASE, "works")
    more = 'without = ["next"]\n' + LINE.format(parameter="tcl", level=20.0)
    write(folder, variant(more=more), "variant")
    assert [str(line.parameter) for line in load_requirement("variant").lines] == ["return_loss", "tcl"]
    write(folder, variant("nothing", more='without = ["next", "return_loss"]\n'), "nothing")
    with pytest.raises(DefinitionError, match="lines"):
        load_requirement("nothing")
    write(folder, variant("absent", more='without = ["skew"]\n'), "absent")
    with pytest.raises(DefinitionError, match="works has no line for skew"):
        load_requirement("absent")


def test_dc_limits_are_replaced_by_quantity(folder):
    write(folder, BASE, "works")
    dc = '[[dc]]\nquantity = "{}"\nmaximum = {}\nunit = "ohm"\nstanding = "published"\nsource = "s"\n'
    write(folder, variant(more=dc.format("loop resistance", 21.0) + dc.format("unbalance", 0.2)), "variant")
    assert [(item.quantity, item.maximum) for item in load_requirement("variant").dc] == [
        ("loop resistance", 21.0),
        ("unbalance", 0.2),
    ]


def test_a_variant_of_a_variant(folder):
    write(folder, BASE, "works")
    write(folder, variant("second", "works", LINE.format(parameter="next", level=31.0)), "second")
    write(folder, variant("third", "second", 'title = "Third"\n'), "third")
    third = load_requirement("third")
    assert (third.base, third.title, third.body) == ("second", "Third", "The works")
    assert limit_value(third, Parameter.NEXT, 1e6).value == 31.0


def test_a_base_can_be_a_file_beside_the_variant(folder):
    (folder / "more").mkdir()
    write(folder / "more", BASE.replace('"works"', '"kept"'), "kept")
    write(folder, variant(base="more/kept.toml"), "variant")
    assert load_requirement("variant").title == "Works' own"


def test_a_file_may_change_a_line_of_the_shipped_one_that_it_overrules(folder):
    shipped = load_requirement("tia-6-channel")
    write(folder, variant("tia-6-channel", "tia-6-channel", LINE.format(parameter="next", level=41.0)),
          "tia-6-channel")  # fmt: skip
    own = load_requirement("tia-6-channel")
    assert limit_value(own, Parameter.NEXT, 100e6).value == 41.0
    for parameter in (Parameter.RETURN_LOSS, Parameter.INSERTION_LOSS):
        assert own.line_of(parameter) == shipped.line_of(parameter)


# ---- what is wrong with one


@pytest.mark.parametrize(
    ("text", "names"),
    [
        (variant(base="nobody"), "base: no requirement named 'nobody'"),
        (variant(base="./nobody.toml"), "base: requirement"),
        (variant(base="variant"), "no 'variant' that this file overrules"),
        (variant(more="titel = 1\n"), "titel: unknown key"),
        (variant(more='without = ["gloss"]\n'), "without"),
        (variant(more=LINE.format(parameter="next", level='"x"')), "lines[0].bands[0].limit"),
        ('schema = 1\nbase = "works"\n', "name: this key is missing"),
        ('schema = 1\nname = "variant"\nbase = 3\n', "base"),
        (variant(more=2 * LINE.format(parameter="tcl", level=1.0)), "more than one line for tcl"),
    ],
)
def test_a_wrong_variant_names_its_own_file_and_key(folder, text, names):
    write(folder, BASE, "works")
    path = write(folder, text, "variant")
    with pytest.raises(DefinitionError) as caught:
        load_requirement("variant")
    assert caught.value.message.startswith(f"requirements/{path.name}") or str(path) in caught.value.message
    assert names in caught.value.message


def test_a_wrong_base_is_named_itself(folder):
    path = write(folder, BASE.replace('sense = "min"', 'sense = "least"'), "works")
    write(folder, variant(), "variant")
    with pytest.raises(DefinitionError, match=rf"{path}: lines\[0\].sense"):
        load_requirement("variant")


def test_variants_of_each_other_are_refused(folder):
    write(folder, variant("one", "two"), "one")
    write(folder, variant("two", "three"), "two")
    write(folder, variant("three", "one"), "three")
    with pytest.raises(DefinitionError, match="variants of each other") as caught:
        load_requirement("one")
    assert "one.toml -> two.toml -> three.toml -> one.toml" in caught.value.message


# ---- in force


def test_where_a_requirement_comes_from_and_what_it_overrules(folder, tmp_path):
    data = tmp_path / "data" / "benchsweep" / "requirements"
    data.mkdir(parents=True)
    for place, name in ((folder, "tia-6-cord"), (data, "tia-6-cord"), (data, "works")):
        write(place, BASE.replace('"works"', f'"{name}"'), name)
    found = {item.name: item for item in requirements_in_force()}
    own = found["tia-6-cord"]
    assert (own.origin, own.path) == ("working folder", folder / "tia-6-cord.toml")
    assert own.overrules[0] == data / "tia-6-cord.toml"
    assert [path.name for path in own.overrules] == 2 * ["tia-6-cord.toml"]
    assert (found["works"].origin, found["works"].overrules) == ("data folder", ())
    assert (found["tia-5e-cord"].origin, found["tia-5e-cord"].overrules) == ("shipped", ())
    assert all(item.problem is None and item.requirement.name == name for name, item in found.items())
    assert list(found) == sorted(found) == list(requirement_names())


def test_a_broken_table_does_not_hinder_the_others(folder):
    path = write(folder, "[[lines", "works")
    assert load_requirement("tia-6-cord").name == "tia-6-cord"
    broken = [item for item in requirements_in_force() if item.problem is not None]
    assert [(item.name, item.path, item.requirement) for item in broken] == [("works", path, None)]
    assert "not valid TOML" in broken[0].problem.message
    assert "works" in requirement_names()
    with pytest.raises(DefinitionError, match="not valid TOML"):
        load_requirement("works")
    with pytest.raises(DefinitionError, match="not valid TOML"):
        list_requirements()


@pytest.mark.parametrize(
    ("first", "second", "claims"), [("works", "Works", "Works"), ("works", "copy", "works")]
)
def test_two_files_of_one_folder_may_not_claim_the_same_name(folder, first, second, claims):
    one = write(folder, BASE, first)
    two = write(folder, BASE.replace('"works"', f'"{claims}"'), second)
    for name in (first, second):
        with pytest.raises(DefinitionError, match="2 files claim 'works'") as caught:
            load_requirement(name)
        assert str(one) in caught.value.message
        assert str(two) in caught.value.message
    broken = {item.name for item in requirements_in_force() if item.problem is not None}
    assert broken == {first, second}
    assert load_requirement("tia-6-cord").name == "tia-6-cord"


def test_a_second_file_that_cannot_be_read_claims_the_name_of_its_file_only(folder):
    write(folder, BASE, "works")
    (folder / "noise.toml").write_bytes(b"\xff\xfe")
    (folder / "odd.toml").write_text("name = 3", encoding="utf-8")
    assert load_requirement("works").name == "works"


def test_an_unknown_name_lists_broken_ones_too(folder):
    write(folder, "[[lines", "works")
    with pytest.raises(UnknownName, match="works"):
        load_requirement("wroks")


# ---- parts by length, joins


BY_LENGTH = """
[[lines]]
parameter = "insertion_loss"
sense = "max"
standing = "published"
source = "s"
[[lines.bands]]
from_mhz = 1.0
to_mhz = 100.0
[lines.bands.limit]
form = "powers"
parts = [
  { of_length = true, terms = [{ coefficient = 2.0, exponent = 0.5 }] },
  { factor = 3.0, terms = [{ coefficient = 0.04, exponent = 0.5 }] },
]
"""


def test_a_part_counts_by_the_length(folder):
    write(folder, BASE + BY_LENGTH, "works")
    requirement = load_requirement("works")
    assert requirement.needs_length
    # 2 sqrt(f) L/100 + 3 * 0.04 sqrt(f), by hand at 100 MHz: 0.2 L + 1.2
    for length_m, value in ((90.0, 19.2), (50.0, 11.2), (100.0, 21.2)):
        found = limit_value(requirement, Parameter.INSERTION_LOSS, 100e6, length_m=length_m)
        assert found.value == pytest.approx(value, abs=1e-12)
        assert found.length_m == length_m
    words = requirement.line_of(Parameter.INSERTION_LOSS).bands[0].limit.words()
    assert words == "L/100 (2 √f) + 3 (0.04 √f)"


def test_a_link_of_90_m_by_length_has_the_limits_of_the_permanent_link():
    """0.9 in the formula of the permanent link is 90 m over 100 m."""
    fixed, scaled = (
        load_requirement("iso-e-permanent-link"),
        load_requirement("iso-e-permanent-link-by-length"),
    )
    for parameter in (Parameter.INSERTION_LOSS, Parameter.DELAY):
        for f in np.geomspace(1e6, 250e6, 11):
            of_90_m = limit_value(scaled, parameter, float(f), length_m=90.0).value
            assert of_90_m == pytest.approx(limit_value(fixed, parameter, float(f)).value, abs=1e-9)
            of_40_m = limit_value(scaled, parameter, float(f), length_m=40.0).value
            assert of_40_m <= of_90_m


STEPPED = """
[[lines]]
parameter = "tcl"
sense = "min"
standing = "published"
source = "s"
{cap}
[[lines.bands]]
from_mhz = 1.0
to_mhz = 10.0
limit = {{ form = "constant", level = 20.0 }}
[[lines.bands]]
from_mhz = {start}
to_mhz = 100.0
{step}
limit = {{ form = "constant", level = {level} }}
"""


@pytest.mark.parametrize(
    ("level", "start", "step", "cap", "refused"),
    [
        (20.05, 10.0, "", "", ""),
        (19.95, 10.0, "", "", ""),
        (20.2, 10.0, "", "", "steps by \\+0.20 dB at 10 MHz"),
        (19.8, 10.0, "", "", "steps by -0.20 dB at 10 MHz"),
        (19.8, 10.0, 'step = "clause 7 steps here"', "", ""),
        (19.8, 10.0, 'step = ""', "", "step"),
        (19.8, 12.0, "", "", ""),  # a gap is no join
        (19.8, 12.0, 'step = "why"', "", "there is no step"),
        (25.0, 10.0, "", "cap = 20.0", ""),  # what counts is the limit as it is held
    ],
)
def test_a_step_between_bands_needs_a_reason(folder, level, start, step, cap, refused):
    write(folder, BASE + STEPPED.format(level=level, start=start, step=step, cap=cap), "works")
    if not refused:
        assert load_requirement("works").line_of(Parameter.TCL) is not None
        return
    with pytest.raises(DefinitionError, match=refused):
        load_requirement("works")


def test_the_first_band_has_nothing_to_step_from(folder):
    text = STEPPED.format(level=20.0, start=10.0, step="", cap="")
    write(folder, BASE + text.replace("to_mhz = 10.0\n", 'to_mhz = 10.0\nstep = "why"\n'), "works")
    with pytest.raises(DefinitionError, match="first band"):
        load_requirement("works")


def test_a_cap_below_the_floor_is_refused(folder):
    write(
        folder, BASE + STEPPED.format(level=20.0, start=10.0, step="", cap="cap = 3.0\nfloor = 4.0"), "works"
    )
    with pytest.raises(DefinitionError, match="the cap 3 lies below the floor 4"):
        load_requirement("works")


@pytest.mark.parametrize(
    "limit",
    [
        '{ form = "powers", parts = [{ terms = [{ coefficient = 1.0, exponent = 900.0 }] }] }',
        '{ form = "powers", parts = [{ of_length = true, factor = 1e308, terms = '
        "[{ coefficient = 1e308, exponent = 0.5 }] }] }",
        # A cable of negative loss would have NEXT of the logarithm of a negative number.
        '{ form = "cord-next", head = { level = 54.0, slope = 20.0 }, derating = 1.2, allowance = 0.5, '
        "cable_next = { level = 44.0, slope = 15.0 }, cable_insertion_loss = [{ coefficient = -1.0, "
        "exponent = 0.5 }], connector_insertion_loss = [{ coefficient = 0.02, exponent = 0.5 }], "
        'length_correction = "undivided" }',
    ],
)
def test_a_limit_that_is_no_number_is_refused(folder, limit):
    """NaN is above no limit and below none: it would pass or fail by chance."""
    text = LINE.format(parameter="tcl", level=1.0)
    write(folder, BASE + text.replace('{ form = "constant", level = 1.0 }', limit), "works")
    with pytest.raises(DefinitionError, match="is no finite number"):
        load_requirement("works")


# ---- any damage


TEXTS = {name: path.read_text(encoding="utf-8") for name in ("tia-6-cable", "iso-e-permanent-link-by-length")
         for path in [Path(limits.__file__).parent / "tables" / f"{name}.toml"]}  # fmt: skip
PIECES = ("", "0", "-1", "1e300", '""', "[]", "{}", "true", "[[lines]]", "nan", "x", "=", '"next"', "é")


def loaded(name):
    try:
        return load_requirement(name), None
    except DefinitionError as error:
        return None, error


@given(data=st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_damaged_table_loads_or_is_a_named_error(folder, data):
    name = data.draw(st.sampled_from(sorted(TEXTS)))
    words = re.split(r"(\s+|[{},\[\]])", TEXTS[name])
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(words) - 1))
        words[at] = data.draw(st.one_of(st.sampled_from(PIECES), st.sampled_from(words)))
    write(folder, "".join(words), name)
    requirement, problem = loaded(name)
    if problem is not None:
        assert ".toml" in problem.message
        assert problem.hint
        return
    for line in requirement.lines:
        middle = 1e6 * np.sqrt(line.bands[0].from_mhz * line.bands[0].to_mhz)
        assert np.isfinite(limit_value(requirement, line.parameter, middle, length_m=50.0).value)


# ---- what a verdict says of the file that it is against


def notes_of(name):
    """Return the notes of a verdict in which everything is missing."""
    return limits.grade([], load_requirement(name), specimen="C-1", missing_length="undecided").notes


def told(name):
    return [note for note in notes_of(name) if ".toml" in note]


def shipped_text(name):
    return (Path(limits.__file__).parent / "tables" / f"{name}.toml").read_text(encoding="utf-8")


def test_a_verdict_against_a_shipped_file_says_nothing_of_files():
    assert told("tia-6a-cord") == []
    assert told("tia-6a-cord-divided") == []


def test_a_verdict_names_the_file_that_overrules_the_shipped_one(folder, tmp_path):
    write(folder, shipped_text("tia-6a-cord"), "tia-6a-cord")
    own = "requirements/tia-6a-cord.toml (working folder), which overrules the shipped one"
    assert told("tia-6a-cord") == [f"tia-6a-cord is the file {own}"]
    assert told("tia-6a-cord-divided") == [
        f"tia-6a-cord-divided is a variant of tia-6a-cord, which is the file {own}"
    ]
    assert told("tia-6-cord") == []


def test_a_verdict_names_a_file_in_the_data_folder_and_one_above_it(folder, tmp_path, monkeypatch):
    data = data_folder() / "requirements"
    data.mkdir(parents=True)
    write(data, shipped_text("tia-6a-cord"), "tia-6a-cord")
    (note,) = told("tia-6a-cord")
    assert note.endswith("tia-6a-cord.toml (data folder), which overrules the shipped one")
    write(folder, variant("tia-6a-cord", base="tia-6a-cord"), "tia-6a-cord")
    first, second = told("tia-6a-cord")
    assert first == (
        "tia-6a-cord is the file requirements/tia-6a-cord.toml (working folder), which overrules the one in "
        "the data folder and the shipped one"
    )
    assert second.startswith("tia-6a-cord is a variant of tia-6a-cord, which is the file ")


def test_a_verdict_names_a_laboratorys_own_file_and_one_given_by_its_path(folder, tmp_path):
    write(folder, BASE, "works")
    assert told("works") == [
        "works is the file requirements/works.toml (working folder), none of that name is shipped"
    ]
    assert told("requirements/works.toml") == ["works is the file requirements/works.toml, named by its path"]
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    write(elsewhere, variant("other", base="../requirements/works.toml"), "other")
    first, second = told("elsewhere/other.toml")
    assert first == "other is the file elsewhere/other.toml, named by its path"
    assert second.startswith("other is a variant of works, which is the file ")
    assert second.endswith("requirements/works.toml, named by its path")
    table = Path(limits.__file__).parent / "tables" / "tia-6a-cord.toml"
    assert told(str(table)) == [f"tia-6a-cord is the file {table}, named by its path"]
