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
        Analyzer port number -> what is attached to it: a leg of the specimen (``A:36.6``), a mode of a
        balanced port behind a balun (``A:36/d``), a standard of a calibration (``open``, ``short``, ``load``,
        ``thru 5``: a through connection to analyzer port 5), or a check standard (``check pad A:12.1``).
        Ports that are not listed are not swept.
    terminations
        Balanced port (``A:36``) -> name of the terminator on it, for balanced ports that are attached to no
        analyzer port and sit on a terminator that has a name. Others sit on what the fixture says.
    """

    number: int
    connections: Mapping[int, str]
    terminations: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        for name in ("connections", "terminations"):
            ordered = dict(sorted(getattr(self, name).items()))
            object.__setattr__(self, name, MappingProxyType(ordered))

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
        ``(n_freq,)``. Without any point when the sweep was left out in reading its record; then `s` and
        `switch_terms` have none either, and all the rest is there.
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
    switch_terms
        ``(n_freq, n, n)`` complex128, [point, port j, driven port i]: wave that the analyzer sends back into
        the specimen at j over the wave that it receives there, a_j / b_j, uncorrected; zero on the diagonal
        and where none was measured. None where they were not measured at all.
    """

    frequency_hz: NDArray[np.float64]
    s: NDArray[np.complex128]
    analyzer_ports: tuple[int, ...]
    taken_at: str
    seconds: float
    state: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    switch_terms: NDArray[np.complex128] | None = None

    def __post_init__(self) -> None:
        shape = (np.size(self.frequency_hz), len(self.analyzer_ports), len(self.analyzer_ports))
        object.__setattr__(self, "frequency_hz", frozen_grid(self.frequency_hz, may_be_empty=True))
        object.__setattr__(self, "s", frozen_array(self.s, np.complex128, shape, "s"))
        if self.switch_terms is not None:
            ratios = frozen_array(self.switch_terms, np.complex128, shape, "switch_terms")
            object.__setattr__(self, "switch_terms", ratios)


@dataclass(frozen=True, slots=True, eq=False)
class RawHookup:
    """A finished hookup: what was connected and what was swept."""

    hookup: Hookup
    sweep: RawSweep
