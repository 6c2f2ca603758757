"""Agreement of two measurements and stability of check standards. Pure numbers, no files.

Whether one result agrees within both uncertainties: `e_number`, `zeta_score`, with `combined_uncertainty`.
How far many results lie apart: `bland_altman`. Whether a check standard is where it was: `check_limits`, its
scatter by `deviation_in_control`, three levels of a line by `level_check`. Whether values rise or fall over
time: `trend`. What moved, channel, bench or tester: `attribute_drift`. When to measure again: `staircase`,
`in_use`, with rules as data in ``intervals.toml``.

Differences are always tester less bench, in dB, in ns for delay and skew. An uncertainty that is not known is
None, never zero; what needs it is None then.
"""

from benchsweep.statistics.agreement._bland_altman import bland_altman
from benchsweep.statistics.agreement._check import (
    FittedLine,
    PrecisionCheck,
    check_limits,
    deviation_in_control,
    fit_line,
    level_check,
    shared_t,
)
from benchsweep.statistics.agreement._drift import CheckSeries, attribute_drift
from benchsweep.statistics.agreement._intervals import (
    IN_SERVICE,
    IntervalRules,
    IntervalSuggestion,
    in_use,
    interval_rules,
    staircase,
)
from benchsweep.statistics.agreement._scores import combined_uncertainty, e_number, zeta_score
from benchsweep.statistics.agreement._trend import Trend, trend

__all__ = [
    "IN_SERVICE",
    "CheckSeries",
    "FittedLine",
    "IntervalRules",
    "IntervalSuggestion",
    "PrecisionCheck",
    "Trend",
    "attribute_drift",
    "bland_altman",
    "check_limits",
    "combined_uncertainty",
    "deviation_in_control",
    "e_number",
    "fit_line",
    "in_use",
    "interval_rules",
    "level_check",
    "shared_t",
    "staircase",
    "trend",
    "zeta_score",
]
