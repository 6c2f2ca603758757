"""Check standards: limits from their history, their precision, three levels of a line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import CheckLimits, LevelCheck
from benchsweep.statistics.agreement._values import Floats, number, part, row

__all__ = [
    "FittedLine",
    "PrecisionCheck",
    "check_limits",
    "deviation_in_control",
    "fit_line",
    "level_check",
    "shared_t",
]


class FittedLine(NamedTuple):
    """A straight line ``told = intercept + slope * reference``.

    Parameters
    ----------
    intercept, slope
        As named.
    deviation
        Residual standard deviation, in units of what was told.
    freedom
        Values less two.
    """

    intercept: float
    slope: float
    deviation: float
    freedom: int


class PrecisionCheck(NamedTuple):
    """A standard deviation against the pooled one of a history.

    Parameters
    ----------
    ratio
        The one over the other.
    limit
        Square root of the quantile of F; a ratio beyond it is out of control.
    in_control
        It is not.
    """

    ratio: float
    limit: float
    in_control: bool


def shared_t(freedom: float, *, confidence: float = 0.95, together: int = 1) -> float:
    """Return the two-sided quantile of t that `together` independent values keep at once (Sidak).

    Each is judged at ``confidence ** (1 / together)``, so that all of them lie within with `confidence`
    (NIST/SEMATECH e-Handbook 2.3.7, the table of t*).

    Raises
    ------
    UsageError
    """
    number(freedom, what="a number of degrees of freedom", above=0.0)
    part(confidence, what="a confidence")
    if together < 1:
        raise UsageError(f"{together} values judged at once", hint="Give 1 or more.")
    # 1 - confidence^(1/together) without the cancellation that many values would bring.
    alone = -math.expm1(math.log(confidence) / together)
    return -float(special.stdtrit(freedom, 0.5 * alone))


def check_limits(
    baseline: Sequence[float] | Floats,
    *,
    confidence: float = 0.95,
    together: int = 1,
    least_deviation: float = 0.0,
) -> CheckLimits:
    """Return limits for the next values of a check standard (NIST/SEMATECH e-Handbook 2.3.5.2).

    mean -+ t s with t for n - 1 degrees of freedom. The handbook leaves out that the mean of a short baseline
    is itself uncertain: a next value scatters by s sqrt(1 + 1/n) around it, so that for n = 6 it lies beyond
    limits of 95 % in 6.3 % of cases.

    Parameters
    ----------
    baseline
        ``(n,)`` values of the time when the standard was known to be well, dB or ns.
    together
        So many values are judged at once: one false alarm among all of them as often as for one alone.
    least_deviation
        s is taken as no smaller, in the unit of the values: what they are rounded to, or what no measurement
        repeats better than.

    Raises
    ------
    UsageError
        Fewer than two values, one that is not finite, all alike (the same record twice?) without a least
        deviation, a confidence that is none.
    """
    value = row(baseline, least=2, what="limits of a check standard")
    number(least_deviation, what="a least standard deviation")
    mean, s = float(np.mean(value)), max(float(np.std(value, ddof=1)), least_deviation)
    if not s > 1e-12 * max(1.0, abs(mean)):
        raise UsageError(
            f"limits of a check standard: all {value.size} values of the baseline are alike",
            hint="Measured values always differ; see whether one record was added twice.",
        )
    half = shared_t(value.size - 1, confidence=confidence, together=together) * s
    return CheckLimits(value.size, mean, s, mean - half, mean + half, confidence, together)


def deviation_in_control(
    deviation: float, freedom: int, pooled: float, pooled_freedom: int, level: float = 0.01
) -> PrecisionCheck:
    """Return whether a standard deviation is no larger than its history explains.

    s / s_p against sqrt(F) for `freedom` and `pooled_freedom` degrees of freedom, one-sided at `level`
    (NIST/SEMATECH e-Handbook 2.3.5.1). For repeats with the plug out and in, it tells a worn jack or plug.

    Raises
    ------
    UsageError
        A deviation that is negative or infinite, a pooled one of zero, fewer than one degree of freedom.
    """
    number(deviation, what="a standard deviation")
    if deviation < 0.0:
        raise UsageError(f"a standard deviation of {deviation:g} makes no sense")
    number(pooled, what="a pooled standard deviation", above=0.0)
    part(level, what="a level")
    if min(freedom, pooled_freedom) < 1:
        raise UsageError(
            f"a comparison of deviations with {min(freedom, pooled_freedom)} degrees of freedom",
            hint="Two values give one.",
        )
    ratio = deviation / pooled
    limit = math.sqrt(float(special.fdtri(freedom, pooled_freedom, 1.0 - level)))
    return PrecisionCheck(ratio, limit, ratio <= limit)


def fit_line(reference: Sequence[float] | Floats, told: Sequence[float] | Floats) -> FittedLine:
    """Return the straight line of least squares through what was told of known values.

    Parameters
    ----------
    reference, told
        ``(n,)`` known values and what was told of them, n at least 3.

    Raises
    ------
    UsageError
        Too few, not as many, not finite, all known values alike.
    """
    x = row(reference, least=3, what="known values of a line")
    y = row(told, least=3, what="told values of a line")
    if x.size != y.size:
        raise UsageError(f"a line through {x.size} known and {y.size} told values")
    about = x - x.mean()
    square = float(about @ about)
    if not square > (1e-12 * max(1.0, float(np.abs(x).max()))) ** 2:
        raise UsageError("a line through values of one level", hint="Give known values that differ.")
    slope = float(about @ (y - y.mean())) / square
    intercept = float(y.mean()) - slope * float(x.mean())
    rest = y - y.mean() - slope * about
    freedom = x.size - 2
    return FittedLine(intercept, slope, math.sqrt(float(rest @ rest) / freedom), freedom)


def level_check(
    reference: Sequence[float] | Floats,
    told: Sequence[float] | Floats,
    *,
    intercept: float,
    slope: float,
    deviation: float,
    freedom: int,
    levels: Sequence[str] = ("low", "middle", "high"),
    confidence: float = 0.95,
) -> LevelCheck:
    """Return whether a linear relation still holds at its levels (NIST/SEMATECH e-Handbook 2.3.7).

    W = (told - intercept) / slope - reference must lie within -+ (s / slope) t*, t* shared among the levels
    (`shared_t`), for each level.

    Parameters
    ----------
    reference, told
        One known value for each level, and what was told of it today.
    intercept, slope, deviation, freedom
        Of the line as it was found when all was well (`fit_line`).

    Raises
    ------
    UsageError
        Numbers of values that differ, a slope of zero, a deviation that is none.
    """
    names = tuple(levels)
    x = row(reference, least=1, what="known values of the levels")
    y = row(told, least=1, what="told values of the levels")
    if not x.size == y.size == len(names):
        raise UsageError(f"{len(names)} levels with {x.size} known and {y.size} told values")
    number(intercept, what="an intercept")
    number(slope, what="a slope")
    if slope == 0.0:
        raise UsageError("a slope of zero: what is told does not follow what is measured")
    number(deviation, what="a residual standard deviation", above=0.0)
    limit = deviation / abs(slope) * shared_t(freedom, confidence=confidence, together=len(names))
    off = (y - intercept) / slope - x
    out = tuple(name for name, each in zip(names, off, strict=True) if abs(each) > limit)
    if out:
        shown = ", ".join(f"{name} {each:+.3g}" for name, each in zip(names, off, strict=True) if name in out)
        words = f"out of control: {shown}, beyond +-{limit:.3g}"
    else:
        words = f"in control: none of {len(names)} levels deviates by more than {limit:.3g}"
    known, heard, deviations = (tuple(float(each) for each in column) for column in (x, y, off))
    return LevelCheck(names, known, heard, deviations, limit, out, words)
