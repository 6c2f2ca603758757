"""Numbers as a person reads them: a decimal point and SI units in every language."""

from __future__ import annotations

import math

from benchsweep.report.text._texts import Texts

__all__ = ["interval_words", "length_words", "megahertz", "number", "signed", "uncertainty_words"]


def number(value: float | None, texts: Texts, decimals: int = 2) -> str:
    """Return plain decimals; a dash where there is no number."""
    if value is None or math.isnan(value):
        return "-"
    if math.isinf(value):
        return texts("number.infinite") if value > 0 else texts("number.minus_infinite")
    return f"{value:.{decimals}f}"


def uncertainty_words(value: float | None, texts: Texts) -> str:
    """Return an uncertainty or a guard band; one that two decimals would round to zero with two digits.

    An uncertainty of zero would claim an exact value. Two significant digits are the most that JCGM 100:2008,
    7.2.6 (from memory), finds useful.
    """
    told = number(value, texts)
    if told != number(0.0, texts) or not value:
        return told
    return f"{value:.{1 - int(f'{value:.1e}'.partition('e')[2])}f}"


def signed(value: float | None, texts: Texts) -> str:
    """Return a margin, always with its sign; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return number(value, texts)
    return f"{value:+.2f}"


def megahertz(frequency_hz: float | None) -> str:
    """Return a frequency in MHz, with as many decimals as tell neighbouring points apart."""
    if frequency_hz is None:
        return "-"
    value = frequency_hz / 1e6
    return f"{value:.2f}" if value >= 100 else f"{value:.3f}"


def length_words(length_m: float | None, texts: Texts) -> str:
    """Return a length in metres."""
    return texts("length.not_given") if length_m is None else texts("length.metres", length=f"{length_m:g}")


def interval_words(low: float | None, high: float | None, unit: str, texts: Texts) -> str:
    """Return an expanded uncertainty: one figure where both sides print alike, else both."""
    if low is None or high is None:
        return texts("uncertainty.none")
    below, above = uncertainty_words(low, texts), uncertainty_words(high, texts)
    if below == above:
        return texts("uncertainty.even", value=above, unit=unit)
    return texts("uncertainty.uneven", low=below, high=above, unit=unit)
