"""Words that keep apart."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.report.chart._labels import apart
from benchsweep.report.chart._lettering import clean, escaped, shortened, width, wrapped

QUIET = settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])


@QUIET
@given(st.lists(st.floats(0.0, 100.0), max_size=20).map(sorted))
def test_names_keep_apart_and_inside(wanted: list[float]) -> None:
    places = apart(wanted, 5.0, 0.0, 100.0)
    assert len(places) == len(wanted)
    assert all(b - a >= 5.0 - 1e-9 for a, b in itertools.pairwise(places))
    assert all(-1e-9 <= place <= 100.0 + 1e-9 for place in places)


def test_names_that_are_apart_stay() -> None:
    assert apart([10.0, 20.0, 90.0], 5.0, 0.0, 100.0) == [10.0, 20.0, 90.0]


def test_names_that_meet_stand_around_their_middle() -> None:
    """Least squares with a least distance: three equal wishes stand around the wish."""
    assert apart([50.0, 50.0, 50.0], 8.0, 0.0, 100.0) == pytest.approx([42.0, 50.0, 58.0])


def test_widths_are_those_of_the_font() -> None:
    """Digits of Helvetica are 0.556 wide (its font metrics); up to a quarter more is kept for others."""
    assert 0.556 * 5 * 7.0 < width("12345", 7.0) < 1.25 * 0.556 * 5 * 7.0
    assert width("iii", 7.0) < width("WWW", 7.0) / 3.0
    assert width("12", 7.0, bold=True) > width("12", 7.0)
    assert width("対", 10.0) >= 10.0


def test_long_words_are_cut() -> None:
    told = shortened("a name that nobody should give to a pair", 7.0, 40.0)
    assert told.endswith("…")
    assert width(told, 7.0) <= 40.0
    assert shortened("12-36", 7.0, 40.0) == "12-36"


@QUIET
@given(st.text(max_size=80), st.floats(20.0, 200.0))
def test_lines_keep_to_their_room(words: str, room: float) -> None:
    for line in wrapped(words, 8.0, room):
        assert width(line, 8.0) <= room
        assert "\n" not in line


def test_lines_lose_no_word() -> None:
    words = "end A: conditional pass, worst 12-36 +0.12 dB at 123.45 MHz"
    lines = wrapped(words, 8.0, 100.0)
    assert len(lines) > 1
    assert " ".join(lines) == words
    assert wrapped("end A\n1: pass", 8.0, 100.0) == ["end A", "1: pass"]


def test_what_xml_cannot_hold() -> None:
    assert clean("a\x00b\ud800c\u202ed\ne") == "a\ufffdb\ufffdc\ufffdd e"
    assert escaped("<&>\"'") == "&lt;&amp;&gt;&quot;&#39;"
