"""The circumstances of a measurement, and which leg sat on which analyzer port through which mating."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Hookup, StandardTerm, SweepSettings

__all__ = ["Circumstances", "Layout", "lay_out", "thru_known", "thru_ratio"]

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
    thru_known
        Whether load matches came from a thru that is taken as known; None: what `standard_terms` show, which
        is told from the whole grid.
    """

    hookups: tuple[Hookup, ...] = ()
    hours_since_calibration: tuple[float, ...] = ()
    settings: SweepSettings | None = None
    standard_terms: tuple[StandardTerm, ...] = ()
    slots: tuple[tuple[int, ...], ...] = ()
    balance: Mapping[str, tuple[Real, Real, Real]] = field(default_factory=lambda: MappingProxyType({}))
    thru_known: bool | None = None

    def at(self, used: Index) -> Circumstances:
        """Return them at some points of the grid."""
        return replace(
            self,
            standard_terms=tuple(_at(term, used) for term in self.standard_terms),
            balance={
                label: (one[used], two[used], three[used])
                for label, (one, two, three) in self.balance.items()
            },
            thru_known=thru_known(self),
        )

    @property
    def hours(self) -> float:
        """The mean time since calibration in hours; 0 where it is not known."""
        known = self.hours_since_calibration
        return max(sum(known) / len(known), 0.0) if known else 0.0


def _at(term: StandardTerm, used: Index) -> StandardTerm:
    arrays: dict[str, Any] = {
        part.name: value[used]
        for part in fields(term)
        if isinstance(value := getattr(term, part.name), np.ndarray)
    }
    return replace(term, **arrays)


_ALIKE = 0.1


def thru_known(circumstances: Circumstances) -> bool:
    """Tell whether load matches came from a thru that is taken as known, as by short-open-load-thru.

    It shows in what an error of directivity did to the load match: the same whatever the standard, where
    other methods have one match for driven and undriven.
    """
    if circumstances.thru_known is not None:
        return circumstances.thru_known
    known = {term.standard: term for term in circumstances.standard_terms if term.quantity == "reflection"}
    if not {"load", "open", "short"} <= known.keys():
        return False
    ratio = thru_ratio(known["load"])
    for name in ("open", "short"):
        off = np.abs(known[name].load_match - ratio * known[name].directivity)
        if np.max(off) > _ALIKE * np.max(np.abs(known[name].source_match)):
            return False
    return True


def thru_ratio(load: StandardTerm) -> NDArray[np.complex128]:
    """Return ``(n_freq,)``: load match over directivity, ``-1 / t^2`` of a known thru."""
    return np.asarray(load.load_match / np.where(load.directivity == 0.0, 1.0, load.directivity))


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
