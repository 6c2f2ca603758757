"""Requirement files: what is shipped, a laboratory's own, wrong ones."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.errors import DefinitionError, LimitNotDefined, UnknownName, UsageError
from benchsweep.limits import (
    limit_curve,
    limit_value,
    load_requirement,
    parse_parameter,
    requirement_names,
)
from benchsweep.records import Parameter

CATEGORIES = {"5e": 100.0, "6": 250.0, "6a": 500.0}
NAMES = [f"tia-{c}-{kind}" for c in CATEGORIES for kind in ("cord", "channel", "permanent-link")]

OWN = """
schema = 1
name = "{name}"
title = "Works' own limit"
body = "The works"
edition = "2026"
class = "6A"
configuration = "cord"
standing = "common-practice"
[source]
document = "Works instruction"
checked = "By the laboratory"
[[lines]]
parameter = "return_loss"
sense = "min"
standing = "common-practice"
source = "Works instruction"
[[lines.bands]]
from_mhz = 1.0
to_mhz = 100.0
limit = {{ form = "constant", level = 33.0 }}
"""


@pytest.fixture(autouse=True)
def empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def own(folder, text, name="works"):
    path = folder / "requirements" / f"{name}.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_channels_permanent_links_and_cords_are_shipped():
    """What else is shipped: tests/limits/test_tables.py."""
    names = list(requirement_names())
    assert set(NAMES) <= set(names)
    assert names == sorted(names)


@pytest.mark.parametrize("name", NAMES)
def test_every_line_says_where_it_comes_from_and_how_sure_it_is(name):
    requirement = load_requirement(name)
    _, category, configuration = name.split("-", 2)
    assert (requirement.body, requirement.category.lower()) == ("TIA", category)
    assert requirement.configuration == configuration
    assert requirement.edition
    assert requirement.source.document
    assert requirement.source.checked
    for line in requirement.lines:
        assert "568" in line.source
        assert (line.from_mhz, line.to_mhz) == (1.0, CATEGORIES[category])
        if line.standing == "published":
            assert "checked against" in line.note.lower(), "the value has to be named"
        else:
            assert "verify" in line.note
    limited = {line.parameter.value for line in requirement.lines}
    cord = {"return_loss", "next"}
    full = cord | {"insertion_loss", "ps_next", "acr_f", "ps_acr_f", "delay", "skew"}
    assert limited == (cord if configuration == "cord" else full)
    assert requirement.needs_length is (configuration == "cord")
    senses = {line.parameter.value for line in requirement.lines if line.sense == "max"}
    assert senses <= {"insertion_loss", "delay", "skew"}
    assert all(band.limit.words() for line in requirement.lines for band in line.bands)


def test_what_was_never_checked_is_not_called_published():
    from_memory = {name for name in NAMES if load_requirement(name).standing == "from-memory"}
    assert from_memory == set(NAMES) - {"tia-5e-channel"}
    for category in CATEGORIES:
        assert {line.standing for line in load_requirement(f"tia-{category}-cord").lines} == {"from-memory"}


def test_the_standing_of_a_band_is_that_of_the_value():
    requirement = load_requirement("tia-6-channel")
    standing = {
        mhz: limit_value(requirement, Parameter.RETURN_LOSS, mhz * 1e6).standing
        for mhz in (5, 10, 20, 40, 41, 100)
    }
    # Where two bands meet the lower one holds the common frequency.
    memory = {20, 40}
    assert standing == {mhz: "from-memory" if mhz in memory else "published" for mhz in standing}


@pytest.mark.parametrize("name", NAMES)
def test_lines_join_where_bands_meet(name):
    """A limit that jumps at a band edge is a wrong constant; the known steps of 568-C.2 are below 0.04 dB."""
    requirement = load_requirement(name)
    for line in requirement.lines:
        for lower, upper in zip(line.bands, line.bands[1:], strict=False):
            assert lower.to_mhz == upper.from_mhz
            edge = np.array([lower.to_mhz])
            step = lower.limit.evaluate(edge, 2.0) - upper.limit.evaluate(edge, 2.0)
            assert abs(step[0]) < 0.04, (line.parameter, lower.to_mhz)


@pytest.mark.parametrize("name", [n for n in NAMES if not n.endswith("cord")])
def test_curve_equals_values_and_is_nan_outside(name):
    requirement = load_requirement(name)
    grid = np.array([0.5e6, 1e6, 7e6, 20e6, 77e6, 100e6, 2e9])
    for line in requirement.lines:
        curve = limit_curve(requirement, line.parameter, grid)
        assert curve is not None
        assert (curve.sense, curve.source) == (line.sense, line.source)
        assert np.isnan(curve.value[[0, -1]]).all()
        for f, value in zip(grid[1:-1], curve.value[1:-1], strict=True):
            assert limit_value(requirement, line.parameter, f).value == value


def test_caps_hold():
    grid = np.geomspace(1e6, 500e6, 500)
    for name in NAMES:
        requirement = load_requirement(name)
        for line in requirement.lines:
            if line.cap is not None:
                curve = limit_curve(requirement, line.parameter, grid, length_m=1.0)
                assert np.nanmax(curve.value) == line.cap


def test_cord_next_falls_with_length_and_needs_it():
    requirement = load_requirement("tia-6a-cord")
    values = [
        limit_value(requirement, Parameter.NEXT, 20e6, length_m=length).value for length in (1, 2, 5, 10)
    ]
    assert values == sorted(values, reverse=True)
    with pytest.raises(UsageError, match="depends on the length") as caught:
        limit_value(requirement, Parameter.NEXT, 300e6)
    assert "--length-m" in caught.value.hint
    with pytest.raises(UsageError, match="depends on the length"):
        limit_curve(requirement, Parameter.NEXT, np.array([1e6]))
    assert limit_value(requirement, Parameter.NEXT, 300e6, length_m=2).length_m == 2
    assert limit_value(requirement, Parameter.RETURN_LOSS, 300e6, length_m=2).length_m is None


def test_the_divided_length_correction_is_an_option_of_the_file(empty_folder):
    """It lowers the limit by what 1 - 10^(-IL100/5) is short of one: much at 1 MHz, nothing above 16 MHz."""
    shipped = load_requirement("tia-6-cord")
    text = next(iter(p for p in shipped_tables() if p.stem == "tia-6-cord")).read_text(encoding="utf-8")
    own(empty_folder, text.replace('"undivided"', '"divided"'), "tia-6-cord")
    divided = load_requirement("tia-6-cord")
    difference = [
        limit_value(shipped, Parameter.NEXT, f * 1e6, length_m=10).value
        - limit_value(divided, Parameter.NEXT, f * 1e6, length_m=10).value
        for f in (10, 16, 100)
    ]
    assert difference[0] > difference[1] > difference[2] >= 0.0
    assert 0.0 < difference[1] < 0.06


def shipped_tables():
    from pathlib import Path

    import benchsweep.limits

    return (Path(benchsweep.limits.__file__).parent / "tables").glob("*.toml")


def test_a_table_in_the_working_folder_wins_by_name(empty_folder):
    names = requirement_names()
    before = limit_value(load_requirement("tia-6a-cord"), Parameter.RETURN_LOSS, 50e6).value
    own(empty_folder, OWN.format(name="tia-6a-cord"), "tia-6a-cord")
    after = limit_value(load_requirement("tia-6a-cord"), Parameter.RETURN_LOSS, 50e6)
    assert (after.value, after.standing) == (33.0, "common-practice")
    assert before != after.value
    assert requirement_names() == names


def test_a_new_table_and_a_path_are_found(empty_folder):
    path = own(empty_folder, OWN.format(name="works"))
    assert load_requirement("works").title == "Works' own limit"
    assert load_requirement(str(path)).name == "works"
    assert "works" in requirement_names()


@pytest.mark.parametrize(
    ("old", "new", "names"),
    [
        ('sense = "min"', 'sens = "min"', "sens"),
        ('sense = "min"', 'sense = "least"', "lines[0].sense: 'least' is none of "),
        (
            'sense = "min"',
            'sense = "max"',
            "lines[0].sense: 'max' is the wrong way round: return_loss has a minimum",
        ),
        ("from_mhz = 1.0", 'from_mhz = "1"', "lines[0].bands[0].from_mhz: must be a number; write 1 without"),
        ("to_mhz = 100.0", "tomhz = 100.0", "lines[0].bands[0].tomhz: unknown key; did you mean to_mhz?"),
        ("level = 33.0", "level = 33,0", "Write numbers with a point: 33.0 in place of 33,0."),
        ("level = 33.0", "levl = 33.0", "levl"),
        ("level = 33.0", "level = nan", "level"),
        ('form = "constant"', 'form = "cubic"', "bands[0].limit.form: 'cubic' is none of "),
        (
            'form = "constant"',
            'form = "logline"',
            "bands[0].limit.form: 'logline' is none of log-line, ",
        ),
        ("to_mhz = 100.0", "to_mhz = 0.5", "to_mhz"),
        ("from_mhz = 1.0", "from_mhz = 0.0", "from_mhz"),
        ('parameter = "return_loss"', 'parameter = "gloss"', "parameter"),
        ("schema = 1", "schema = 2", "schema"),
        ('standing = "common-practice"\n[source]', 'standing = "published"\n[source]', "weakest"),
        ('source = "Works instruction"', 'source = ""', "lines[0].source"),
        ('name = "works"', 'name = "other"', "not the name of the file"),
        ("[[lines.bands]]", "[[lines.bands", "TOML"),
    ],
)
def test_a_wrong_file_is_refused_with_file_and_key(empty_folder, old, new, names):
    text = OWN.format(name="works")
    assert old in text
    path = own(empty_folder, text.replace(old, new))
    with pytest.raises(DefinitionError) as caught:
        load_requirement("works")
    assert path.name in caught.value.message
    assert names in caught.value.message + caught.value.hint


@pytest.mark.parametrize("parameter", list(Parameter))
@pytest.mark.parametrize("sense", ["min", "max"])
def test_a_line_the_wrong_way_round_is_refused(empty_folder, parameter, sense):
    """Loss, delay and its differences are limited from above, what is better when larger from below."""
    text = OWN.format(name="works").replace('"return_loss"', f'"{parameter}"')
    path = own(empty_folder, text.replace('sense = "min"', f'sense = "{sense}"'))
    if (sense == "max") == (parameter in ("insertion_loss", "delay", "skew")):
        assert load_requirement("works").lines[0].sense == sense
        return
    with pytest.raises(DefinitionError) as caught:
        load_requirement("works")
    assert f"{path}: lines[0].sense: '{sense}' is the wrong way round" in caught.value.message


def test_a_form_that_is_none_is_answered_by_the_nearest(empty_folder):
    own(empty_folder, OWN.format(name="works").replace('"constant"', '"logline"'))
    with pytest.raises(DefinitionError, match=r"none of log-line, .*; did you mean log-line\?"):
        load_requirement("works")


def test_mistakes_below_a_list_do_not_make_it_too_short(empty_folder):
    own(empty_folder, OWN.format(name="works").replace("level = 33.0", "levl = 33.0"))
    with pytest.raises(DefinitionError) as caught:
        load_requirement("works")
    assert "levl: unknown key; did you mean level?" in caught.value.hint
    assert "at least 1 item" not in caught.value.message + caught.value.hint


def test_bands_may_not_overlap_and_a_parameter_has_one_line(empty_folder):
    text = OWN.format(name="works")
    band = '[[lines.bands]]\nfrom_mhz = 50.0\nto_mhz = 200.0\nlimit = { form = "constant", level = 1.0 }\n'
    own(empty_folder, text + band)
    with pytest.raises(DefinitionError, match="overlap"):
        load_requirement("works")
    line = text[text.index("[[lines]]") :]
    own(empty_folder, text + line)
    with pytest.raises(DefinitionError, match="more than one line for return_loss"):
        load_requirement("works")


def test_unknown_names_list_what_there_is():
    with pytest.raises(UnknownName, match="tia-6a-cord"):
        load_requirement("tia-9-cord")
    with pytest.raises(UnknownName, match="ps_acr_f"):
        parse_parameter("nxt")
    for text in ("PS-NEXT", "ps next", " Ps  Next ", "PS_NEXT"):
        assert parse_parameter(text) is Parameter.PS_NEXT


@pytest.mark.parametrize(
    ("text", "first"),
    [("nxt", "next"), ("psnext", "ps_next"), ("Return Los", "return_loss"), ("insertion", "insertion_loss")],
)
def test_an_unknown_parameter_is_answered_by_the_nearest_first(text, first):
    with pytest.raises(UnknownName, match=rf"; did you mean {first}\? There are: {first}, "):
        parse_parameter(text)


def test_what_is_like_nothing_is_taken_for_nothing():
    with pytest.raises(UnknownName) as caught:
        parse_parameter("zzz")
    assert "did you mean" not in caught.value.message
    assert "return_loss" in caught.value.message


def test_a_limit_that_is_not_defined_names_what_is():
    requirement = load_requirement("tia-6-channel")
    with pytest.raises(LimitNotDefined, match="tia-6-channel limits next from 1 to 250 MHz, not at 400 MHz"):
        limit_value(requirement, Parameter.NEXT, 400e6)
    with pytest.raises(LimitNotDefined, match="tia-6-channel sets no limit for tcl") as caught:
        limit_value(requirement, Parameter.TCL, 100e6)
    assert "return_loss" in caught.value.hint
    assert limit_curve(requirement, Parameter.TCL, np.array([1e6])) is None


@pytest.mark.parametrize("length", [0.0, -2.0, float("nan"), float("inf"), 1e9])
def test_a_length_that_is_none(length):
    with pytest.raises(UsageError, match="length"):
        limit_value(load_requirement("tia-6-cord"), Parameter.NEXT, 1e6, length_m=length)
    with pytest.raises(UsageError, match="length"):
        limit_value(load_requirement("tia-6-channel"), Parameter.NEXT, 1e6, length_m=length)


@pytest.mark.parametrize("frequency", [0.0, -1e6, float("nan"), float("inf")])
def test_a_frequency_that_is_none(frequency):
    with pytest.raises(UsageError, match="frequency"):
        limit_value(load_requirement("tia-6-channel"), Parameter.NEXT, frequency)


def test_gaps_between_bands_set_no_limit(empty_folder):
    band = '[[lines.bands]]\nfrom_mhz = 200.0\nto_mhz = 300.0\nlimit = { form = "constant", level = 1.0 }\n'
    own(empty_folder, OWN.format(name="works") + band)
    requirement = load_requirement("works")
    with pytest.raises(LimitNotDefined, match="1 to 100, 200 to 300 MHz"):
        limit_value(requirement, Parameter.RETURN_LOSS, 150e6)
    assert limit_value(requirement, Parameter.RETURN_LOSS, 200e6).value == 1.0


def test_a_floor_holds(empty_folder):
    text = OWN.format(name="works").replace('sense = "min"', 'sense = "min"\nfloor = 20.0')
    text = text.replace(
        'form = "constant", level = 33.0',
        'form = "log-line", level = 30.0, slope = 10.0',
    )
    own(empty_folder, text)
    requirement = load_requirement("works")
    values = [limit_value(requirement, Parameter.RETURN_LOSS, f).value for f in (1e6, 1e7, 1e8)]
    assert values == [30.0, 20.0, 20.0]


def test_formulas_can_be_read_by_a_person():
    channel, cord = load_requirement("tia-6-channel"), load_requirement("tia-6a-cord")
    text = {line.parameter.value: line.bands[0].limit.words() for line in channel.lines}
    assert text["insertion_loss"] == "1.02 (1.808 √f + 0.017 f + 0.2/√f) + 4 (0.02 √f) + 0.0003 f^1.5"
    assert text["next"] == "-20 log( 10^(-(44.3 - 15 log (f/100))/20) + 2·10^(-(54 - 20 log (f/100))/20) )"
    assert text["skew"] == "50"
    return_loss, crosstalk = cord.lines
    assert return_loss.bands[0].limit.words() == "24 + 3 log (f/25)"
    assert "two heads of 46.04 - 40 log (f/250)" in crosstalk.bands[1].limit.words()
    assert "undivided" in crosstalk.bands[1].limit.words()
