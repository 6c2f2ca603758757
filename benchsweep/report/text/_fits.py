"""Straight lines through the changes of a series, in figures that are the same in every language."""

from __future__ import annotations

import math

from benchsweep.records import Extreme, LineFit, SeriesSummary

__all__ = ["WANDER_MARK", "any_wanders", "as_delay_ps", "fit_words"]

WANDER_MARK = "~"
"""Stands behind a slope that says little, since the changes wander about the line."""
_LARGEST = 7


def fit_words(fit: LineFit | None) -> str:
    """Return a slope and its standard error, both to two digits of the error; a dash where there is none."""
    if fit is None:
        return "-"
    error = fit.standard_error
    if not error or not math.isfinite(error):
        told = _plain(fit.slope, 3 if fit.slope == 0.0 else 2 - _magnitude(fit.slope))
    else:
        places = 1 - _magnitude(error)
        if abs(_magnitude(fit.slope)) > _LARGEST or places > _LARGEST:
            told = f"{fit.slope:+.3g} ± {error:.2g}"
        else:
            told = f"{_plain(fit.slope, places)} ± {_plain(error, places).removeprefix('+')}"
    return f"{told} {WANDER_MARK}" if fit.wanders else told


def _magnitude(value: float) -> int:
    """Return the power of ten of the first digit, after rounding to two."""
    return int(f"{value:.1e}".partition("e")[2]) if value else 0


def _plain(value: float, places: int) -> str:
    """Return a number with its sign, rounded to decimal places; a negative number of them rounds to tens."""
    return f"{round(value, places) + 0.0:+.{max(places, 0)}f}"  # no minus before a zero


def as_delay_ps(phase: Extreme) -> float:
    """Return the delay in ps that turns a phase by so much at its frequency."""
    return -phase.value / 360.0 / phase.frequency_hz * 1e12


def any_wanders(summary: SeriesSummary) -> bool:
    """Tell whether a line that is shown does not fit."""
    fits = (
        fit
        for c in summary.changes
        for fit in (c.loss_per_hour, c.delay_per_hour, c.worst_per_hour, c.loss_per_unit, c.delay_per_unit)
    )
    return any(fit is not None and fit.wanders for fit in fits)
