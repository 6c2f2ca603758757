"""One lot of a report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.records import (
    LimitCurve,
    LotState,
    OperatingCurve,
    Parameter,
    ProcessView,
    Trace,
    VariablesDecision,
)

__all__ = ["LotItem"]


@dataclass(frozen=True, eq=False)
class LotItem:
    """One lot of a report.

    Parameters
    ----------
    state
        Where it stands.
    curve
        What the plan in force accepts.
    digest
        Names the whole history; empty: not known.
    traces
        Reel -> the worst trace of each parameter and end, as it is held against the limit (brought to length
        and temperature of the requirement). It may be thinned: a grid need not be that of the limit.
    limits
        Parameter -> the limit.
    views
        The product over its lots up to now.
    inspection
        What the lot means for the next one (switching rules), in words.
    doubts
        What a reader must know before the lot is trusted, besides what its reels tell, in words.
    variables
        What a plan by variables says so far; of a closed lot it is in the decision.
    corrections
        Reel -> what had been corrected of its record when it was added, in words.
    simulated
        Reels that were measured on the simulated bench: for practice.
    software
        Packages that took part, with their versions.
    """

    state: LotState
    curve: OperatingCurve
    digest: str = ""
    traces: Mapping[str, tuple[Trace, ...]] = field(default_factory=lambda: MappingProxyType({}))
    limits: Mapping[Parameter, LimitCurve] = field(default_factory=lambda: MappingProxyType({}))
    views: tuple[ProcessView, ...] = ()
    inspection: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    variables: tuple[VariablesDecision, ...] = ()
    corrections: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))
    simulated: frozenset[str] = frozenset()
    software: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
