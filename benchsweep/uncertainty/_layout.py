"""The circumstances of a measurement, and which leg sat on which analyzer port through which mating."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Hookup, StandardTerm, SweepSettings

__all__ = ["Circumstances", "Layout", "lay_out"]

Real = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Circumstances:
    """How a matrix was measured, as far as its uncertainty depends on it.

    Parameters
    ----------
    hookups
        In the order in which they were made; empty: all ports of the matrix at once (an imported file).
    hours_since_calibration
        One for each hookup; empty where it is not known.
    settings
        Sweep settings; None where they are not known.
    standard_terms
        How well the standards of the calibration are known and what they do to it.
    slots
        Analyzer ports that belong together; not needed, the hookups tell.
    balance
        Balanced port (``A:12``) -> output signal balance, common-mode rejection and reflection of the common
        mode of the balun that it sat on, ``(n_freq,)`` linear amplitudes each.
    """

    hookups: tuple[Hookup, ...] = ()
    hours_since_calibration: tuple[float, ...] = ()
    settings: SweepSettings | None = None
    standard_terms: tuple[StandardTerm, ...] = ()
    slots: tuple[tuple[int, ...], ...] = ()
    balance: Mapping[str, tuple[Real, Real, Real]] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def hours(self) -> float:
        """The mean time since calibration in hours; 0 where it is not known."""
        known = self.hours_since_calibration
        return max(sum(known) / len(known), 0.0) if known else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Hookups by number.

    Parameters
    ----------
    attached
        ``(n_hookup, n_port)`` bool: the port of the matrix was on an analyzer port.
    analyzer, mating
        ``(n_hookup, n_port)``: numbers from 0 of the analyzer port and of the mating; -1 where not attached.
        A port that stays where it was from one hookup to the next is the same mating.
    plain
        One hookup with all ports attached.
    """

    attached: NDArray[np.bool_]
    analyzer: Index
    mating: Index
    plain: bool

    @property
    def n_hookups(self) -> int:
        """How many hookups."""
        return int(self.attached.shape[0])

    @property
    def n_analyzer(self) -> int:
        """How many analyzer ports took part."""
        return int(self.analyzer.max()) + 1

    @property
    def n_matings(self) -> int:
        """How many matings."""
        return int(self.mating.max()) + 1


def lay_out(ports: tuple[str, ...], hookups: tuple[Hookup, ...]) -> Layout:
    """Return the layout of the ports of a matrix.

    Ports that no hookup names, and ports that were never measured together, count as measured in a hookup of
    their own with everything attached, each port on the analyzer port where it was first.
    """
    n = len(ports)
    named = {label for hookup in hookups for label in hookup.connections.values()}
    if not hookups or not named.intersection(ports):
        every = np.arange(n, dtype=np.intp)[None, :]
        return Layout(np.ones((1, n), dtype=bool), every, every.copy(), plain=True)
    analyzer = np.full((len(hookups), n), -1, dtype=np.intp)
    numbers: dict[object, int] = {}
    for row, hookup in enumerate(hookups):
        for port, label in hookup.connections.items():
            if label in ports:
                analyzer[row, ports.index(label)] = numbers.setdefault(port, len(numbers))
    if (analyzer < 0).all(axis=0).any() or not _all_together(analyzer >= 0):
        first = np.array([_first(analyzer[:, k], k, numbers) for k in range(n)], dtype=np.intp)
        analyzer = np.concatenate([analyzer, first[None, :]])
    attached = analyzer >= 0
    mating = np.full_like(analyzer, -1)
    count = 0
    for row in range(analyzer.shape[0]):
        for k in np.flatnonzero(attached[row]):
            if row and analyzer[row - 1, k] == analyzer[row, k]:
                mating[row, k] = mating[row - 1, k]
            else:
                mating[row, k], count = count, count + 1
    plain = analyzer.shape[0] == 1 and bool(attached.all())
    return Layout(attached, analyzer, mating, plain)


def _first(column: Index, k: int, numbers: dict[object, int]) -> int:
    used = column[column >= 0]
    return int(used[0]) if used.size else numbers.setdefault(("nowhere", k), len(numbers))


def _all_together(attached: NDArray[np.bool_]) -> bool:
    together = attached.T.astype(np.intp) @ attached.astype(np.intp)
    return bool((together > 0).all())
