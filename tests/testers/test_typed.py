"""Typed-in numbers: what is understood, and which word is named where it is not."""

from __future__ import annotations

import pytest

from benchsweep.errors import UsageError
from benchsweep.records import FOUR_PAIRS, FieldPoint, Parameter
from benchsweep.testers import typed_points

UNDERSTOOD = [
    (
        "next A 36-45 margin 3.2 at 233.5 MHz",
        FieldPoint(Parameter.NEXT, "A", ("36", "45"), 3.2, None, None, 233.5e6),
    ),
    (
        "NEXT a 45-36 margin -0.4dB at 1e8 Hz",
        FieldPoint(Parameter.NEXT, "A", ("36", "45"), -0.4, None, None, 1e8),
    ),
    (
        "insertion_loss A 12 value 18.4 at 250MHz",
        FieldPoint(Parameter.INSERTION_LOSS, "A", ("12",), None, 18.4, None, 250e6),
    ),
    (
        "PS ACR-F B 78 limit 20 value 21.5 dB at .1 GHz",
        FieldPoint(Parameter.PS_ACR_F, "B", ("78",), None, 21.5, 20.0, 1e8),
    ),
    (
        "ACR-F B 78-36 margin 2 at 100 mhz",
        FieldPoint(Parameter.ACR_F, "B", ("78", "36"), 2.0, None, None, 1e8),
    ),
    (
        "acr n A 12-78 value -3 at 500 MHz",
        FieldPoint(Parameter.ACR_N, "A", ("12", "78"), None, -3.0, None, 500e6),
    ),
    ("delay A 12 value 0.498 us", FieldPoint(Parameter.DELAY, None, ("12",), None, 498.0, None, None)),
    ("skew margin 12 ns", FieldPoint(Parameter.SKEW, None, FOUR_PAIRS, 12.0, None, None, None)),
    ("skew 78-12 value 4", FieldPoint(Parameter.SKEW, None, ("12", "78"), None, 4.0, None, None)),
]

REFUSED = [
    ("", "neither margin nor value"),
    ("next A 36-45", "neither margin nor value"),
    ("next A 36-45 limit 3 at 1 MHz", "neither margin nor value"),
    ("margin 3.2 at 1 MHz", "begins without a parameter"),
    ("nxt A 36-45 margin 3.2", "no parameter is called 'nxt'; did you mean next?"),
    ("next C 36-45 margin 3.2", "'C' is neither an end"),
    ("next A 36-54 margin 3.2", "'36-54' is neither an end"),
    ("next A 36-45 12 margin 3.2", "'12' is one word too many"),
    ("next 36-45 margin 3.2", "NEXT needs an end"),
    ("next A 36 margin 3.2", "NEXT needs two pairs"),
    ("return loss A 36-45 margin 3.2", "return loss needs one pair"),
    ("next A 36-36 margin 3.2", "named twice"),
    ("next A 36-45 margin", "no number behind 'margin'"),
    ("next A 36-45 margin 3,2", "'3,2' is no number"),
    ("next A 36-45 margin nan", "'nan' is no number"),
    ("next A 36-45 margin 1e99", "'1e99' is too large"),
    ("next A 36-45 margin 3 margin 4", "margin stands there twice"),
    ("next A 36-45 margin 3 ns at 1 MHz", "'ns' is no unit of NEXT"),
    ("delay 12 value 3 dB", "'dB' is no unit of delay"),
    ("next A 36-45 margin 3 at 100", "the frequency has no unit"),
    ("next A 36-45 margin 3 at 100 dB", "'dB' is no unit of frequency"),
    ("next A 36-45 margin 3 at 100 Hz", "no frequency of balanced cabling"),
    ("next A 36-45 margin 3 dB below at 1 MHz", "'below' is none of margin, value, limit, at"),
    ("next A 36-45 value -38 at 1 MHz", "less than nothing"),
    ("next A 36-45 margin 1 " + "x " * 60, "more than 40 words"),
]


@pytest.mark.parametrize(("text", "point"), UNDERSTOOD)
def test_a_text_is_understood(text: str, point: FieldPoint):
    (found,) = typed_points([text]).points
    assert found.frequency_hz == (None if point.frequency_hz is None else pytest.approx(point.frequency_hz))
    same = ("parameter", "end", "pairs", "margin", "value", "limit")
    assert [getattr(found, name) for name in same] == [getattr(point, name) for name in same]


@pytest.mark.parametrize(("text", "why"), REFUSED)
def test_a_wrong_word_is_named(text: str, why: str):
    with pytest.raises(UsageError) as caught:
        typed_points([text])
    assert why in caught.value.message
    assert caught.value.hint


def test_the_same_number_twice_is_refused():
    with pytest.raises(UsageError, match="were given before"):
        typed_points(["next A 36-45 margin 3 at 1 MHz", "next A 45-36 margin 4 at 1 MHz"])
    with pytest.raises(UsageError, match="no number is given"):
        typed_points([])


def test_what_is_known_of_the_measurement_is_kept():
    result = typed_points(["delay 12 value 498"], at="2026-11-20", tester="FT-3", outcome="pass")
    assert (result.at, result.tester, result.outcome, result.source) == ("2026-11-20", "FT-3", "pass", "")
    assert result.notes == ("typed in",)
