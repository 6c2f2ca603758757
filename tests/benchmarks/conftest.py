"""Ratios inside one run, with a table of all of them at the end.

Run by ``pytest tests/benchmarks --benchmark-enable -q -s``; skipped otherwise.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest


@dataclass(frozen=True)
class Timing:
    """Two ways to do the same, taken in turn: medians in seconds, and the median of the ratios."""

    ours_s: float
    plain_s: float
    ratio: float


@dataclass(frozen=True)
class Figure:
    """One line of the table; `figure` is held against `budget`."""

    what: str
    ours: str
    plain: str
    figure: float
    budget: float
    unit: str
    at_least: bool

    @property
    def met(self) -> bool:
        return self.figure >= self.budget if self.at_least else self.figure <= self.budget

    def cells(self) -> tuple[str, ...]:
        bound = "at least" if self.at_least else "at most"
        unit = f" {self.unit}" if self.unit else ""
        return (
            self.what,
            self.ours,
            self.plain,
            f"{self.figure:.3g}{unit}",
            f"{bound} {self.budget:g}{unit}",
            "" if self.met else "MISSED",
        )


KEPT = pytest.StashKey[list[Figure]]()


class Figures:
    """What a benchmark measures, kept for the table and held against its budget."""

    def __init__(self, kept: list[Figure]) -> None:
        self._kept = kept

    def in_turn(
        self,
        ours: Callable[[], object],
        plain: Callable[[], object],
        *,
        rounds: int = 9,
        clock: Callable[[], float] = time.perf_counter,
    ) -> Timing:
        """Time both in turn, so that a drifting machine touches both; the first round only warms up.

        `clock` is `time.process_time` where only what this process computes is meant.
        """
        mine, theirs = [], []
        for _ in range(rounds + 1):
            for action, times in ((ours, mine), (plain, theirs)):
                started = clock()
                action()
                times.append(clock() - started)
        ratios = [one / other for one, other in zip(mine[1:], theirs[1:], strict=True)]
        return Timing(statistics.median(mine[1:]), statistics.median(theirs[1:]), statistics.median(ratios))

    def keep(
        self,
        what: str,
        figure: float,
        budget: float,
        *,
        ours: str,
        plain: str = "",
        unit: str = "",
        at_least: bool = False,
    ) -> None:
        """Put a line into the table, and fail where the budget is missed.

        Parameters
        ----------
        what : str
            What is measured, in a few words.
        figure, budget : float
            The ratio (or a figure in `unit`), and what it may be at most, or must be `at_least`.
        ours, plain : str
            The two sides with their units, for people: "12.1 ms", "8.0 ms".
        """
        line = Figure(what, ours, plain, figure, budget, unit, at_least)
        self._kept.append(line)
        assert line.met, " | ".join(line.cells())


@pytest.fixture
def figures(request: pytest.FixtureRequest) -> Figures:
    """Keep figures for the table; a benchmark that nobody asked for is skipped."""
    if not request.config.getoption("--benchmark-enable"):
        pytest.skip("a timing ratio: give --benchmark-enable")
    return Figures(request.config.stash.setdefault(KEPT, []))


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    kept = config.stash.get(KEPT, [])
    if not kept:
        return
    rows = [("what", "ours", "plain", "figure", "budget", ""), *(line.cells() for line in kept)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    terminalreporter.section("figures and budgets")
    for row in rows:
        terminalreporter.line("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip())
