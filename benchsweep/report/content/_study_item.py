"""A study of repeatability as a report tells it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.records import (
    GaugeStudy,
    InterlaboratoryStudy,
    NestedStudy,
    StudyMeasured,
    StudyPlanned,
    StudySummary,
)

__all__ = ["StudyItem", "StudyResult"]

StudyResult = GaugeStudy | NestedStudy | InterlaboratoryStudy


@dataclass(frozen=True, eq=False)
class StudyItem:
    """A study with what was measured and what follows from it.

    Parameters
    ----------
    planned
        Who measures what in which order.
    measured
        Results of runs that count, by the number of the run.
    results
        Quantity (``next A 36-45``) -> one or more evaluations of it.
    units
        Quantity -> dB or ns.
    digest
        Names the whole history.
    doubts
        What a reader must know first, in words: runs that are missing, measured in another order.
    summary
        One line for each parameter, the one with the worst trace first.
    """

    planned: StudyPlanned
    measured: Mapping[int, StudyMeasured] = field(default_factory=lambda: MappingProxyType({}))
    results: Mapping[str, tuple[StudyResult, ...]] = field(default_factory=lambda: MappingProxyType({}))
    units: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    digest: str = ""
    doubts: tuple[str, ...] = ()
    summary: tuple[StudySummary, ...] = ()

    @property
    def simulated(self) -> int:
        """So many results are of the simulated bench or of a simulated tester, as far as they say so."""
        return sum(event.simulated for event in self.measured.values())
