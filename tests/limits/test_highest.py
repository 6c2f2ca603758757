"""The highest category that passes."""

from __future__ import annotations

import itertools

import pytest

from benchsweep.definitions import validate_model
from benchsweep.errors import UsageError
from benchsweep.limits import Requirement, grade, highest, load_requirement
from benchsweep.records import Outcome, Verdict

TEXT = """
schema = 1
name = "{name}"
title = "t"
body = "{body}"
edition = "e"
class = "{name}"
configuration = "{configuration}"
{rank}
standing = "published"
[source]
document = "d"
checked = "c"
[[lines]]
parameter = "next"
sense = "min"
standing = "published"
source = "s"
bands = [{{ from_mhz = 1.0, to_mhz = 50.0, limit = {{ form = "constant", level = 30.0 }} }}]
"""
LETTERS = {
    "p": Outcome.PASS,
    "c": Outcome.CONDITIONAL_PASS,
    "x": Outcome.CONDITIONAL_FAIL,
    "f": Outcome.FAIL,
    "u": Outcome.UNDECIDED,
}


def requirement(name, rank, body="TIA", configuration="channel") -> Requirement:
    text = TEXT.format(
        name=name, body=body, configuration=configuration, rank="" if rank is None else f"rank = {rank}"
    )
    return validate_model(text, Requirement, where=name)


def verdict(name, letter) -> Verdict:
    return Verdict("", "x", name, "simple", None, LETTERS[letter], ())


def names(items):
    return [item.requirement for item in items]


@pytest.mark.parametrize(
    ("outcomes", "passed", "undecided", "below"),
    [
        # Categories 1, 2, 3 in this order; 3 is the best.
        ("ppp", "3", [], []),
        ("ppf", "2", [], []),
        ("ppu", "2", ["3"], []),
        ("pcf", "2", [], []),
        ("pxf", "1", [], []),
        ("fff", None, [], []),
        ("fuu", None, ["3", "2"], []),
        ("fpf", "2", [], ["1"]),
        ("ufp", "3", [], ["2", "1"]),
    ],
)
def test_the_highest_category_that_passes(outcomes, passed, undecided, below):
    graded = [(requirement(str(n), n), verdict(str(n), letter)) for n, letter in enumerate(outcomes, start=1)]
    for order in itertools.permutations(graded):
        (found,) = highest(order)
        assert (found.body, found.configuration) == ("TIA", "channel")
        assert (found.passed.requirement if found.passed else None) == passed
        assert (names(found.undecided), names(found.below)) == (undecided, below)
        assert names(found.ranked) == ["3", "2", "1"]


def test_each_body_and_configuration_has_its_own_and_what_has_no_rank_takes_no_part():
    graded = [
        (requirement("a", 1), verdict("a", "p")),
        (requirement("b", 1, body="ISO/IEC"), verdict("b", "f")),
        (requirement("c", 1, configuration="cord"), verdict("c", "p")),
        (requirement("d", None), verdict("d", "p")),
    ]
    found = {(item.body, item.configuration): item.passed for item in highest(graded)}
    assert set(found) == {("TIA", "channel"), ("ISO/IEC", "channel"), ("TIA", "cord")}
    assert found["ISO/IEC", "channel"] is None
    assert found["TIA", "channel"].category == "a"
    assert highest([]) == ()


def test_a_requirement_that_nobody_named_is_undecided_without_the_length():
    cord = load_requirement("tia-6a-cord")
    with pytest.raises(UsageError, match="depends on the length"):
        grade([], cord, specimen="x")
    found = grade([], cord, specimen="x", missing_length="undecided")
    assert found.outcome is Outcome.UNDECIDED
    near = [row for row in found.rows if row.parameter == "next"]
    assert len(near) == 12
    assert {row.note for row in near} == {
        "the limit depends on the length of the specimen, which was not given"
    }
    # With one it is as ever: what is missing is the measurement.
    found = grade([], cord, specimen="x", length_m=2.0, missing_length="undecided")
    assert {row.note for row in found.rows} == {"not measured"}
