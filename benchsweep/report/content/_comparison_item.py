"""A field tester's comparison as a report tells it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import (
    ChannelRegistered,
    Comparison,
    ControlChart,
    Drift,
    Due,
    FieldTesterRegistered,
    TraceDifference,
)
from benchsweep.report.content._item import TraceKey

__all__ = ["ComparisonItem"]


@dataclass(frozen=True, eq=False)
class ComparisonItem:
    """A comparison with what it stands on.

    Parameters
    ----------
    comparison
        What was decided.
    number
        Its place in the history of the tester, from 1.
    tester, channel
        As they are registered.
    repairs
        What was changed on the tester before it, in words.
    differences
        Tester less bench over frequency; empty where only single numbers were told.
    uncertainties
        Of a difference the expanded uncertainty (k = 2) at each of its points, NaN where it is not known.
    earlier
        Comparisons of the same tester before this one, oldest first.
    drift
        Whether something drifts, over all of them; None: not looked at.
    charts
        Further charts by name, such as check values of the channel.
    due
        When tester and channel must be compared and measured again.
    digest
        Names the whole history of the tester; empty: not known.
    temperature_degc
        Of the channel on the bench; None: not recorded.
    measured_at
        When the bench record was measured (ISO 8601).
    simulated
        The bench record is of the simulated bench.
    software
        Packages that took part, with their versions.
    standing
        What a reader must know of the histories and records behind it as they are now, in words.
    """

    comparison: Comparison
    number: int
    tester: FieldTesterRegistered
    channel: ChannelRegistered
    repairs: str = ""
    differences: tuple[TraceDifference, ...] = ()
    uncertainties: Mapping[TraceKey, NDArray[np.float64]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    earlier: tuple[Comparison, ...] = ()
    drift: Drift | None = None
    charts: Mapping[str, ControlChart] = field(default_factory=lambda: MappingProxyType({}))
    due: tuple[Due, ...] = ()
    digest: str = ""
    temperature_degc: float | None = None
    measured_at: str = ""
    simulated: bool = False
    software: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    standing: tuple[str, ...] = ()
