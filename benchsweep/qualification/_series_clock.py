"""When the sweeps of a series are due, and the clocks that say so."""

from __future__ import annotations

import math
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

__all__ = ["Clock", "Schedule", "SystemClock"]


class Clock(Protocol):
    """The time, and waiting; another one may stand in for tests."""

    def now(self) -> datetime:
        """Return the time of the calendar, in UTC."""

    def monotonic(self) -> float:
        """Return seconds from some start, never set back."""

    def wait(self, seconds: float, stop: threading.Event) -> None:
        """Wait, at most until `stop` is set."""


class SystemClock:
    """The clocks of the computer."""

    def now(self) -> datetime:
        """Return the time of the calendar, in UTC."""
        return datetime.now(UTC)

    def monotonic(self) -> float:
        """Return seconds from some start, never set back."""
        return time.monotonic()

    def wait(self, seconds: float, stop: threading.Event) -> None:
        """Wait, at most until `stop` is set."""
        if seconds > 0.0:
            stop.wait(seconds)


@dataclass
class Schedule:
    """Sweeps at fixed times: the first at `start_s`, then every `every_s`, whatever a sweep takes.

    A sweep that cannot begin at its time begins as soon as it can; times that have passed by then are left
    out, never made up for.

    Parameters
    ----------
    start_s, every_s
        On a clock that is never set back.
    """

    start_s: float
    every_s: float
    _next: int = 0

    @property
    def due_s(self) -> float:
        """When the next sweep is due."""
        return self.start_s + self._next * self.every_s

    def begin(self, now_s: float) -> tuple[float, int]:
        """Note that a sweep begins now; return by how much it is late and how many times were left out."""
        latest = max(math.floor((now_s - self.start_s) / self.every_s), self._next)
        left_out = latest - self._next
        late_s = max(now_s - self.due_s, 0.0)
        self._next = latest + 1
        return late_s, left_out
