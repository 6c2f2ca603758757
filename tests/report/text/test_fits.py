"""Straight lines in figures."""

from __future__ import annotations

import pytest

from benchsweep.records import Extreme, LineFit
from benchsweep.report.text import as_delay_ps, fit_words


def test_a_phase_as_a_delay() -> None:
    """3.6 degrees at 100 MHz are a hundredth of 10 ns."""
    assert as_delay_ps(Extreme(-3.6, 100e6, 1)) == pytest.approx(100.0)
    assert fit_words(None) == "-"


@pytest.mark.parametrize(
    ("slope", "error", "words"),
    [
        (5923.4, 74.2, "+5923 ± 74"),
        (-5923.4, 741.0, "-5920 ± 740"),
        (0.0212345, 0.00123, "+0.0212 ± 0.0012"),
        (-0.5, 12.345, "+0 ± 12"),
        (12.345, 0.0999, "+12.35 ± 0.10"),
        (0.0, 0.5, "+0.00 ± 0.50"),
        (4.0, None, "+4.00"),
        (5923.4, None, "+5920"),
        (0.0, None, "+0.000"),
        (3e9, 2e7, "+3e+09 ± 2e+07"),
    ],
)
def test_value_and_error_end_at_the_same_place(slope: float, error: float | None, words: str) -> None:
    assert fit_words(LineFit(slope, error, 9)) == words
