"""What is said of a difference beyond while mating or temperature is not stated: by its size, and of what."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest

from benchsweep.qualification.comparisons._statement import Stated
from benchsweep.qualification.comparisons._uncertainty_parts import Sources
from benchsweep.qualification.comparisons._unstated import unstated_words
from benchsweep.records import Agreement, ComparedPoint, ComparedTrace, Parameter

NEXT = ComparedTrace(Parameter.NEXT, "A", ("12", "36"), Agreement.UNDECIDED, "")
DELAY = ComparedTrace(Parameter.DELAY, None, ("12",), Agreement.UNDECIDED, "")
STATED = Sources(None, Stated(MappingProxyType({Parameter.NEXT: 0.3}), 2.0, MappingProxyType({}), ()))


def point(
    difference: float, e_n: float, mating: float | None = None, degrees: float | None = None
) -> ComparedPoint:
    return ComparedPoint(
        100e6, 40.0, 40.0 + difference, difference, 0.3, 1.0, mating, degrees, 1.1, e_n, 2 * e_n, None
    )


@pytest.mark.parametrize(
    ("row", "difference", "e_n", "explains"),
    [
        (NEXT, 1.5, 1.4, True),
        (NEXT, -3.2, -3.0, True),
        (NEXT, 4.0, 3.01, False),
        (NEXT, -12.0, -11.0, False),
        (DELAY, 4.0, 1.4, True),
        # 70 ns are 14 m of cable: no plug and no room is that long or that warm, however wide U is.
        (DELAY, -70.0, -2.99, False),
    ],
)
def test_only_a_small_difference_may_be_explained(
    row: ComparedTrace, difference: float, e_n: float, explains: bool
) -> None:
    words = unstated_words(row, point(difference, e_n), Sources(None, None))
    assert ("may explain it" in words) == explains
    assert ("seldom explain so much" in words) != explains
    assert ("from memory" in words) != explains
    assert "they are not stated" in words


def test_a_statement_that_leaves_out_a_parameter_names_it() -> None:
    words = unstated_words(DELAY, point(2.0, 1.5, degrees=0.0), STATED)
    assert words == "mating may explain it: the statement says nothing of it for delay"
    far = unstated_words(DELAY, point(70.0, 9.0, degrees=0.0), STATED)
    assert far.startswith("mating seldom explains so much")
    assert "for delay" in far
    no_degrees = replace(STATED, stated=replace(STATED.stated, difference_degc=None))
    words = unstated_words(NEXT, point(2.0, 1.5, mating=0.3), no_degrees)
    assert words == "temperature may explain it: the statement says nothing of it for NEXT"
