"""When a channel or tester should be measured again, from what was found so far."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

from pydantic import Field

from benchsweep.definitions import Definition, load_model
from benchsweep.errors import UsageError
from benchsweep.statistics.agreement._values import number

__all__ = ["IN_SERVICE", "IntervalRules", "IntervalSuggestion", "in_use", "interval_rules", "staircase"]

Standing = Literal["published", "common-practice", "from-memory"]

STAIRCASE = "ILAC-G24:2022, method 1, staircase (calendar time)"
IN_USE = "ILAC-G24:2022, method 3, in-use time"
IN_SERVICE = (
    "ILAC-G24:2022, method 4, in-service checking: a check channel or cord that is measured before each "
    "session and kept within its limits tells at once what an interval tells afterwards; it replaces no "
    "comparison, it says when one is due early"
)
"""What there is to say of a method that has no interval to compute."""


class Lengthen(Definition):
    """When an interval may grow; see ``intervals.toml``."""

    within: float = Field(gt=0.0, lt=1.0)
    in_a_row: int = Field(ge=1)
    after_share: float = Field(ge=0.0, le=1.0)
    factor: float = Field(ge=1.0)
    standing: Standing
    source: str


class Shorten(Definition):
    """By how much an interval shrinks."""

    factor: float = Field(gt=0.0, lt=1.0)
    standing: Standing
    source: str


class Bounds(Definition):
    """No suggestion lies outside."""

    fewest_days: float = Field(gt=0.0)
    most_days: float = Field(gt=0.0)
    standing: Standing
    source: str


class IntervalRules(Definition):
    """How intervals are suggested."""

    schema_: Literal[1] = Field(alias="schema")
    source: str
    standing: Standing
    lengthen: Lengthen
    shorten: Shorten
    bounds: Bounds


class IntervalSuggestion(NamedTuple):
    """What a history suggests.

    Parameters
    ----------
    days
        The next interval; None: there is too little of a history.
    method, words
        By which method; how it was found, in a sentence.
    """

    days: float | None
    method: str
    words: str


@cache
def interval_rules() -> IntervalRules:
    """Return the rules that are shipped.

    Raises
    ------
    DefinitionError
        The file is wrong.
    """
    return load_model(Path(__file__).with_name("intervals.toml"), IntervalRules)


def staircase(
    interval_days: float, found: Sequence[tuple[float, float]], *, rules: IntervalRules | None = None
) -> IntervalSuggestion:
    """Return the next interval by the staircase method.

    Only the latest results count: beyond what is allowed, the interval in force (or the time that had passed,
    where that was less) is shortened; well within so many times in a row, it is lengthened; else it stays.

    Parameters
    ----------
    interval_days
        In force.
    found
        Oldest first, of each comparison the days since the one before and the share of what is allowed that
        was found: |E_n|, or the deviation over a tolerance; its sign does not count.

    Raises
    ------
    UsageError
        An interval that is none, negative days, a value that is not finite.
    """
    rules = rules or interval_rules()
    number(interval_days, what="an interval in days", above=0.0)
    return _days(interval_days, _next(interval_days, found, rules, "days"), rules)


def in_use(
    interval_uses: float,
    found: Sequence[tuple[float, float]],
    *,
    uses_per_day: float,
    rules: IntervalRules | None = None,
) -> IntervalSuggestion:
    """Return the next interval by use: matings, measurements or hours instead of days.

    As `staircase` in uses, then told in days at the rate of use. It suits what wears, plugs and jacks;
    drift that goes on in the drawer it does not see, so that the bounds in days hold.

    Parameters
    ----------
    interval_uses
        In force.
    found
        As for `staircase`, with uses instead of days.
    uses_per_day
        How much it is used now.

    Raises
    ------
    UsageError
    """
    rules = rules or interval_rules()
    number(interval_uses, what="an interval in uses", above=0.0)
    number(uses_per_day, what="a number of uses in a day", above=0.0)
    uses, words = _next(interval_uses, found, rules, "uses")
    days = None if uses is None else uses / uses_per_day
    return _days(interval_uses / uses_per_day, (days, words), rules)._replace(method=IN_USE)


def _next(
    interval: float, found: Sequence[tuple[float, float]], rules: IntervalRules, unit: str
) -> tuple[float | None, str]:
    for elapsed, share in found:
        number(elapsed, what=f"a time of {unit} between comparisons")
        number(share, what="a share of what is allowed")
        if elapsed < 0.0:
            raise UsageError(f"{elapsed:g} {unit} between comparisons", hint="Give them oldest first.")
    if not found:
        return None, "fewer than two results yet"
    elapsed, share = found[-1][0], abs(found[-1][1])
    if share > 1.0:
        was = min(interval, elapsed)
        return rules.shorten.factor * was, (
            f"found at {share:.2g} of what is allowed after {elapsed:.4g} {unit}: "
            f"{rules.shorten.factor:g} times {was:.4g} {unit}"
        )
    grow = rules.lengthen
    latest = found[-grow.in_a_row :]
    good = [abs(each) <= grow.within and time >= grow.after_share * interval for time, each in latest]
    if len(latest) == grow.in_a_row and all(good):
        worst = max(abs(each) for _, each in latest)
        return grow.factor * interval, (
            f"found within {grow.within:g} of what is allowed {_times(grow.in_a_row)} (at most {worst:.2g}): "
            f"{grow.factor:g} times {interval:.4g} {unit}"
        )
    if share > grow.within:
        why = f"found at {share:.2g} of what is allowed, more than {grow.within:g}"
    elif not good[-1]:
        why = f"measured after {elapsed:.4g} of {interval:.4g} {unit}: too soon to tell"
    else:
        why = f"not {_times(grow.in_a_row)} yet within {grow.within:g} of what is allowed"
    return interval, f"{why}: {interval:.4g} {unit} stay"


def _days(in_force: float, step: tuple[float | None, str], rules: IntervalRules) -> IntervalSuggestion:
    """Hold a suggestion within the bounds.

    An interval that somebody has set beyond them is no reason to move it: they bound a change alone.
    """
    days, words = step
    if days is None:
        return IntervalSuggestion(None, STAIRCASE, words)
    low = min(in_force, rules.bounds.fewest_days)
    high = max(in_force, rules.bounds.most_days)
    held = min(max(days, low), high)
    if not math.isclose(held, days):
        words += f", held to {held:.4g} days"
    return IntervalSuggestion(held, STAIRCASE, words)


def _times(count: int) -> str:
    return {1: "once", 2: "twice in a row"}.get(count, f"{count} times in a row")
