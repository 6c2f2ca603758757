from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array, frozen_grid
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["FieldPoint", "FieldResult", "FieldTrace"]


@dataclass(frozen=True, slots=True, eq=False)
class FieldTrace:
    """One parameter over frequency as a field tester tells it.

    Parameters
    ----------
    parameter, end, pairs
        As `Trace`, in the names of this program: whatever the tester called them was translated.
    quantity
        ``value``: as measured, losses positive; ``margin``: distance to the limit, positive is good.
    frequency_hz, value
        ``(n_freq,)`` float64, rising; finite.
    limit
        ``(n_freq,)`` the limit that the tester itself used; None when it does not tell.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    quantity: Literal["value", "margin"]
    frequency_hz: NDArray[np.float64]
    value: NDArray[np.float64]
    limit: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        grid = frozen_grid(self.frequency_hz)
        object.__setattr__(self, "frequency_hz", grid)
        for name in ("value", "limit"):
            column = getattr(self, name)
            if column is None:
                continue
            column = frozen_array(column, np.float64, (grid.size,), name)
            if not np.isfinite(column).all():
                raise ValueError(f"{self.parameter} {'-'.join(self.pairs)}: {name} holds what is no number")
            object.__setattr__(self, name, column)


@dataclass(frozen=True, slots=True)
class FieldPoint:
    """One number that a field tester tells of a parameter: its worst margin, or a value without a trace.

    Parameters
    ----------
    parameter, end, pairs
        As `FieldTrace`.
    margin, value, limit
        Distance to the limit (positive is good), measured value, limit; None where it does not tell. One of
        `margin` and `value` is there.
    frequency_hz
        Where; None where it does not tell (delay, skew).
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    margin: float | None = None
    value: float | None = None
    limit: float | None = None
    frequency_hz: float | None = None

    def __post_init__(self) -> None:
        if self.margin is None and self.value is None:
            raise ValueError(f"{self.parameter} {'-'.join(self.pairs)}: neither margin nor value")


@dataclass(frozen=True, slots=True)
class FieldResult:
    """What a field tester said of a channel, read from a file or typed in.

    Parameters
    ----------
    traces, points
        Numbers.
    at, by
        When it was measured (ISO 8601), by whom; empty where it is not told.
    tester, channel, requirement
        What the file says of them in its own words; empty where it does not tell. Not trusted: the person who
        adds the result names tester and channel, and a difference is told.
    outcome
        ``pass`` or ``fail`` as the tester said, empty where it did not.
    source, digest
        Name of the file and the SHA-256 of its bytes; empty for typed-in numbers.
    mapping
        Name of the mapping it was read with.
    notes
        What was decided in reading, in words: columns taken, points left out, encoding.
    """

    traces: tuple[FieldTrace, ...] = ()
    points: tuple[FieldPoint, ...] = ()
    at: str = ""
    by: str = ""
    tester: str = ""
    channel: str = ""
    requirement: str = ""
    outcome: str = ""
    source: str = ""
    digest: str = ""
    mapping: str = ""
    notes: tuple[str, ...] = ()
