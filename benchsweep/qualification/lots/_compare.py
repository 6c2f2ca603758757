"""Whether a reel is graded as it was."""

from __future__ import annotations

import math

from benchsweep.records import ReelMargin, ReelResult

__all__ = ["differences"]

# Far below what anybody reads, far above what another order of summation does.
_SAME = 1e-6


def differences(then: ReelResult, now: ReelResult) -> tuple[str, ...]:
    """Return what of a result is not as it was, in words; empty when everything is.

    Compared are the outcome, length and temperature, and for each parameter and end the worst margin, its
    value, its frequency and its outcome; numbers to 1e-6 of their size or unit. Words are not.
    """
    told: list[str] = []
    if then.outcome is not now.outcome:
        told.append(f"the outcome was {then.outcome}, now it is {now.outcome}")
    for name, unit in (("length_m", "m"), ("temperature_degc", "degC")):
        before, after = getattr(then, name), getattr(now, name)
        if not _same(before, after):
            what = name.partition("_")[0]
            told.append(f"the {what} was {_shown(before)} {unit}, now it is {_shown(after)} {unit}")
    old = {(each.parameter, each.end): each for each in then.margins}
    new = {(each.parameter, each.end): each for each in now.margins}
    for key in dict.fromkeys((*old, *new)):
        words = _margin_words(old.get(key), new.get(key))
        if words:
            parameter, end = key
            told.append(f"{parameter.term}{'' if end is None else f' at end {end}'}: {words}")
    return tuple(told)


def _margin_words(then: ReelMargin | None, now: ReelMargin | None) -> str:
    if then is None or now is None:
        return "was not graded then" if then is None else "is not graded any more"
    unit = then.parameter.unit
    if not _same(then.margin, now.margin):
        return f"the worst margin was {_shown(then.margin)} {unit}, now it is {_shown(now.margin)} {unit}"
    if then.outcome is not now.outcome:
        return f"the outcome was {then.outcome}, now it is {now.outcome}"
    for name in ("value", "limit", "frequency_hz"):
        if not _same(getattr(then, name), getattr(now, name)):
            return f"the {name.partition('_')[0]} of the worst margin is another one"
    return ""


def _same(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return first is second
    return first == second or math.isclose(first, second, rel_tol=_SAME, abs_tol=_SAME)


def _shown(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.6g}"
