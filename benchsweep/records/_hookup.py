from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array, frozen_grid

__all__ = ["Hookup", "Plan", "RawHookup", "RawSweep"]


@dataclass(frozen=True, slots=True, eq=False)
class Hookup:
    """One physical connection set-up.

    Parameters
    ----------
    number
        Counts from 1 within its plan.
    connections
        Analyzer port number -> what is attached to it: a leg label (``A:36.6``) for a specimen, or
        ``open``, ``short``, ``load``, ``thru 5`` (a through connection to analyzer port 5) for a calibration.
        Ports that are not listed are not swept.
    """

    number: int
    connections: Mapping[int, str]

    def __post_init__(self) -> None:
        ordered = dict(sorted(self.connections.items()))
        object.__setattr__(self, "connections", MappingProxyType(ordered))

    @property
    def analyzer_ports(self) -> tuple[int, ...]:
        """The analyzer ports in use, rising."""
        return tuple(self.connections)


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """The ordered hookups that a job needs.

    Parameters
    ----------
    hookups
        In the order in which they are to be made.
    matings
        How many balanced ports have to be attached in all, counting only those that move between hookups.
    """

    hookups: tuple[Hookup, ...]
    matings: int


@dataclass(frozen=True, slots=True, eq=False)
class RawSweep:
    """One sweep as the analyzer gave it, uncorrected.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)``.
    s
        ``(n_freq, n, n)`` complex128; row = receiving, column = driven, in the order of `analyzer_ports`.
    analyzer_ports
        Analyzer port numbers, rising.
    taken_at
        ISO 8601 time in UTC at the end of the sweep.
    seconds
        How long the sweep took.
    state
        Question -> answer: the settings of the analyzer as it stated them before the sweep and again, the
        same, after it.
    """

    frequency_hz: NDArray[np.float64]
    s: NDArray[np.complex128]
    analyzer_ports: tuple[int, ...]
    taken_at: str
    seconds: float
    state: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        n = len(self.analyzer_ports)
        grid = frozen_grid(self.frequency_hz)
        object.__setattr__(self, "frequency_hz", grid)
        object.__setattr__(self, "s", frozen_array(self.s, np.complex128, (grid.size, n, n), "s"))


@dataclass(frozen=True, slots=True, eq=False)
class RawHookup:
    """A finished hookup: what was connected and what was swept."""

    hookup: Hookup
    sweep: RawSweep
