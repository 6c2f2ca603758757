"""Rules that points of a control chart can break, as data, and where they are broken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from benchsweep.definitions import Definition, load_model
from benchsweep.errors import UnknownName
from benchsweep.records import ChartSignal
from benchsweep.statistics.process._values import Floats

__all__ = ["LIMITS_ONLY", "run_rules", "run_signals"]

LIMITS_ONLY = ("beyond-limits",)
"""For what is no row of independent normal values: moving ranges, exponentially weighted means."""

_ROUNDING = 1e-9

Span = tuple[int, int, int]
"""First and last point of what breaks a rule, and the point with which it was first broken."""


class RunRule(Definition):
    """A rule; see ``run-rules.toml``."""

    id: str = Field(min_length=1)
    words: str = Field(min_length=1)
    kind: Literal["limits", "zone", "trend", "alternating"]
    deviations: float = Field(default=0.0, ge=0.0)
    count: int = Field(default=1, ge=1)
    among: int = Field(default=1, ge=1)
    decisive: bool = False
    by_default: bool = True
    standing: Literal["published", "common-practice", "from-memory"] = "published"

    @model_validator(mode="after")
    def _fits(self) -> RunRule:
        if self.kind == "zone" and self.count > self.among:
            raise ValueError(f"count: {self.count} of {self.among} points can never be")
        return self


class RunRules(Definition):
    """The file of rules."""

    schema_: Literal[1] = Field(alias="schema")
    source: str
    standing: Literal["published", "common-practice", "from-memory"]
    note: str = ""
    rules: tuple[RunRule, ...]


@cache
def run_rules() -> RunRules:
    """Return the rules that are shipped.

    Raises
    ------
    DefinitionError
        The file is wrong.
    """
    return load_model(Path(__file__).with_name("run-rules.toml"), RunRules)


def run_signals(
    value: Floats,
    centre: Floats,
    lower: Floats,
    upper: Floats,
    deviation: Floats,
    *,
    rules: Sequence[str] | None = None,
) -> tuple[ChartSignal, ...]:
    """Return where rules are broken, in the order in which it is noticed.

    A run that goes on is one signal with all its points, not a new one with each point. A value on a boundary
    is not beyond it. A missing value (NaN) breaks a run and breaks no rule.

    Parameters
    ----------
    value, centre, lower, upper, deviation
        ``(n,)`` as in `ControlChart`.
    rules
        Ids; None: those that the file takes by default.

    Raises
    ------
    UnknownName
        No such rule.
    """
    known = {rule.id: rule for rule in run_rules().rules}
    if wrong := [name for name in rules or () if name not in known]:
        raise UnknownName(f"no run rule named {wrong[0]!r}", hint=f"There are: {', '.join(known)}.")
    chosen = [rule for rule in known.values() if (rule.by_default if rules is None else rule.id in rules)]
    # What only rounding makes of values that are all alike is beyond nothing.
    slack = _ROUNDING * np.maximum(np.abs(centre), np.abs(np.nan_to_num(value)))
    off = np.sign(value - centre) * np.maximum(np.abs(value - centre) - slack, 0.0)
    lower, upper = lower - slack, upper + slack
    found: list[ChartSignal] = []
    for rule in chosen:
        for points, noticed in _broken(rule, value, off, lower, upper, deviation):
            found.append(ChartSignal(rule.id, rule.words, points, rule.decisive, noticed))
    order = [rule.id for rule in chosen]
    return tuple(sorted(found, key=lambda each: (each.noticed, order.index(each.rule))))


def _broken(
    rule: RunRule, value: Floats, off: Floats, lower: Floats, upper: Floats, deviation: Floats
) -> Iterator[tuple[tuple[int, ...], int]]:
    """Yield the points of each stretch that breaks a rule, and the point with which it was first broken."""
    if rule.kind in ("limits", "zone"):
        reach = rule.deviations * deviation
        zone = rule.kind == "zone"
        for side in (off > reach, off < -reach) if zone else (value > upper, value < lower):
            for first, last, noticed in _windows(side, rule.count, rule.among):
                yield tuple(place for place in range(first, last + 1) if side[place]), noticed
        return
    steps = np.diff(value)
    turning = steps[1:] * steps[:-1] < 0.0
    sides = (steps > 0.0, steps < 0.0) if rule.kind == "trend" else (turning,)
    # A step joins two points, a turn three.
    more = 1 if rule.kind == "trend" else 2
    for side in sides:
        for first, last, noticed in _windows(side, rule.count - more, rule.count - more):
            yield tuple(range(first, last + more + 1)), noticed + more


def _windows(side: NDArray[np.bool_], count: int, among: int) -> Iterator[Span]:
    """Yield stretches made of windows of `among` points with `count` or more on that side.

    Windows that overlap or touch in time make one stretch; it begins and ends with a point on that side.
    """
    before = np.concatenate([[0], np.cumsum(side)])
    size = side.size
    ends = [
        end for end in range(size) if side[end] and before[end + 1] - before[max(0, end + 1 - among)] >= count
    ]
    begin = last = noticed = -1
    for end in ends:
        start = max(0, end + 1 - among)
        start += int(np.argmax(side[start : end + 1]))
        if last >= 0 and start <= last + 1:
            last = end
            continue
        if last >= 0:
            yield begin, last, noticed
        begin, last, noticed = start, end, end
    if last >= 0:
        yield begin, last, noticed
