"""Designs: complete, in an order that anybody can make again."""

from __future__ import annotations

import hashlib
from collections import Counter
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from benchsweep.errors import UsageError
from benchsweep.records import StudyDesign
from benchsweep.statistics.repeatability import (
    crossed_design,
    gauge_anova,
    interlaboratory_design,
    nested,
    nested_design,
    run_key,
)

LINKS = ["link 1", "link 2", "link 3", "link 4"]
PEOPLE = ["Ada", "Bob", "Cyd"]


@pytest.mark.parametrize("design", [crossed_design, nested_design, interlaboratory_design])
@settings(max_examples=20)
@given(st.integers(2, 5), st.integers(2, 4), st.integers(2, 3), st.integers(1, 3), st.text(min_size=1))
def test_each_run_is_there_once(
    design: type[StudyDesign], parts: int, operators: int, matings: int, trials: int, seed: str
) -> None:
    links = [f"link {place}" for place in range(parts)]
    if design is interlaboratory_design:
        operators = max(operators, 3)
    people = [f"person {place}" for place in range(operators)]
    found = design(links, people, matings=matings, trials=trials, seed=seed)
    assert [run.number for run in found.runs] == list(range(1, len(found.runs) + 1))
    runs = [(run.part, run.operator, run.mating, run.trial) for run in found.runs]
    every = product(links, people, range(1, matings + 1), range(1, trials + 1))
    assert Counter(runs) == Counter(every)
    # The plug stays in: trials of a mating follow each other, in their order.
    for first in range(0, len(runs), trials):
        mating = runs[first : first + trials]
        assert {each[:3] for each in mating} == {mating[0][:3]}
        assert [each[3] for each in mating] == list(range(1, trials + 1))
    # Matings of one part by one operator come in their order.
    for part, operator in product(links, people):
        own = [each[2] for each in runs if each[:2] == (part, operator)]
        assert own == sorted(own)
    assert found.freedom == parts * operators * (matings - 1)


def test_an_order_can_be_made_again_by_hand() -> None:
    """Operators by SHA-256 of seed, 'operator', mating, name; parts with the operator too."""

    def key(*names: str) -> str:
        return hashlib.sha256("\n".join(names).encode()).hexdigest()

    found = crossed_design(LINKS, PEOPLE, matings=2, seed="today")
    expected = []
    for mating in ("1", "2"):
        for person in sorted(PEOPLE, key=lambda name: key("today", "operator", mating, name)):
            for link in sorted(LINKS, key=lambda name: key("today", "part", mating, person, name)):
                expected.append((link, person, int(mating)))
    assert [(run.part, run.operator, run.mating) for run in found.runs] == expected
    assert run_key("a", 1, "b") == key("a", "1", "b")


def test_the_order_rests_on_seed_and_names_alone() -> None:
    one = crossed_design(LINKS, PEOPLE, matings=2, seed="today")
    other = crossed_design(LINKS[::-1], PEOPLE[::-1], matings=2, seed="today")
    assert other.runs == one.runs
    assert crossed_design(LINKS, PEOPLE, matings=2, seed="tomorrow").runs != one.runs


def test_a_crossed_study_goes_round_by_round_and_others_part_by_part() -> None:
    crossed = crossed_design(LINKS, PEOPLE, matings=2, seed="x")
    assert [run.mating for run in crossed.runs] == [1] * 12 + [2] * 12
    for design in (nested_design, interlaboratory_design):
        runs = design(LINKS, PEOPLE, matings=3, trials=2, seed="x").runs
        blocks = [(runs[first].operator, runs[first].part) for first in range(0, len(runs), 6)]
        assert len(set(blocks)) == len(blocks) == 12
        assert [name for name, _ in blocks] == sorted((name for name, _ in blocks), key=[*dict(blocks)].index)


def test_every_order_is_as_likely() -> None:
    """First part of 3000 seeds: each of four about as often (chi-squared, 0.1 % level)."""
    first = Counter(
        crossed_design(LINKS, PEOPLE[:2], matings=2, seed=f"seed {place}").runs[0].part
        for place in range(3000)
    )
    assert stats.chisquare([first[name] for name in LINKS]).pvalue > 0.001


def test_freedom_and_words() -> None:
    """3 cords x 2 ends x 5 matings: 24 degrees of freedom; chi-squared gives 0.78 to 1.39 (95 %)."""
    found = nested_design(["cord 1", "cord 2", "cord 3"], ["end A", "end B"], matings=5, trials=2, seed="x")
    assert found.freedom == 24
    words = " ".join(found.words)
    low, high = (np.sqrt(24 / stats.chi2.ppf(tail, 24)) for tail in (0.975, 0.025))
    assert f"between {low:.2f} and {high:.2f} times" in words
    assert "0.78 and 1.39" in words
    assert "apart from that of readings" in words
    still = crossed_design(LINKS, PEOPLE, trials=3, seed="x")
    assert still.freedom == 24
    assert "The plug stays in" in still.words[0]
    alone = nested_design(LINKS[:1], PEOPLE[:1], matings=5, seed="x")
    assert "One operator: nothing is told of others." in alone.words
    assert "One part: whether others behave alike is not told." in alone.words


def test_freedom_is_that_of_the_evaluation() -> None:
    draw = np.random.default_rng(1)
    crossed = crossed_design(LINKS, PEOPLE, matings=3, seed="x")
    table = {row.term: row for row in gauge_anova(draw.normal(size=(4, 3, 3)), pooling_level=1.0).table}
    assert crossed.freedom == table["repeatability"].freedom
    of_matings = nested_design(LINKS, PEOPLE, matings=5, trials=2, seed="x")
    assert of_matings.freedom == nested(draw.normal(size=(4, 3, 5, 2))).freedom[1]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: crossed_design(LINKS[:1], PEOPLE, matings=2, seed="x"), "a study with 1 part"),
        (lambda: crossed_design(LINKS, PEOPLE[:1], matings=2, seed="x"), "a study with 1 operator"),
        (lambda: interlaboratory_design(LINKS, PEOPLE[:2], matings=2, seed="x"), "with 2 operators"),
        (lambda: nested_design([], PEOPLE, matings=2, seed="x"), "a study with 0 parts"),
        (lambda: nested_design(LINKS, PEOPLE, matings=1, trials=5, seed="x"), "with one mating"),
        (lambda: crossed_design(LINKS, PEOPLE, seed="x"), "without repeats"),
        (lambda: crossed_design(LINKS, PEOPLE, matings=0, seed="x"), "0 matings"),
        (
            lambda: crossed_design([*LINKS, "link 1"], PEOPLE, matings=2, seed="x"),
            "part link 1 is there twice",
        ),
        (lambda: crossed_design(LINKS, ["Ada", " "], matings=2, seed="x"), "' ' is no name"),
        (lambda: crossed_design(LINKS, ["Ada", "Bob\nCyd"], matings=2, seed="x"), "is no name of a operator"),
        (lambda: crossed_design(LINKS, PEOPLE, matings=2, seed=""), "without a seed"),
        (lambda: crossed_design(LINKS, PEOPLE, matings=10**5, seed="x"), "1200000 runs"),
    ],
)
def test_what_makes_no_design(call: object, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        call()  # type: ignore[operator]
