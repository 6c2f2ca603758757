from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = [
    "Capability",
    "ChartKind",
    "ChartSignal",
    "ControlChart",
    "Normality",
    "ProcessView",
    "ToleranceLimits",
]

ChartKind = Literal["individuals", "moving-range", "mean", "range", "deviation", "ewma"]


@dataclass(frozen=True, slots=True)
class ChartSignal:
    """A rule that points of a control chart break.

    Parameters
    ----------
    rule
        Its id in the file of rules (``beyond-limits``, ``run-of-8`` …).
    words
        The rule in a sentence.
    points
        The points that break it, counted from 0; all of a run that goes on.
    decisive
        False: a run rule, for information (false alarms are four times as frequent with all of them).
    noticed
        The point with which the rule was first broken, so that the signal could be seen.
    """

    rule: str
    words: str
    points: tuple[int, ...]
    decisive: bool
    noticed: int


@dataclass(frozen=True, slots=True, eq=False)
class ControlChart:
    """A control chart.

    Parameters
    ----------
    kind
        What is plotted.
    labels
        What each of the ``n`` points is of (a lot or a reel).
    value, centre, lower, upper
        ``(n,)`` float64; limits may change from point to point and are NaN where there are none; a value is
        NaN where there is none (the first moving range).
    deviation
        ``(n,)`` standard deviation of what is plotted, for the run rules.
    baseline
        So many of the first points set centre and limits.
    signals
        Rules that are broken, in the order of their last point.
    constants
        How the limits were made, in words.
    """

    kind: ChartKind
    labels: tuple[str, ...]
    value: NDArray[np.float64]
    centre: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    deviation: NDArray[np.float64]
    baseline: int
    signals: tuple[ChartSignal, ...] = ()
    constants: str = ""

    def __post_init__(self) -> None:
        for name in ("value", "centre", "lower", "upper", "deviation"):
            column = frozen_array(getattr(self, name), np.float64, (len(self.labels),), name)
            object.__setattr__(self, name, column)


@dataclass(frozen=True, slots=True)
class Normality:
    """Whether values may come from a normal distribution.

    Parameters
    ----------
    count
        Values.
    statistic, p_value
        Of the test; None where there are too few.
    doubtful
        The test refuses normality; None: too few to tell.
    words
        The test and what it says.
    """

    count: int
    statistic: float | None
    p_value: float | None
    doubtful: bool | None
    words: str


@dataclass(frozen=True, slots=True)
class Capability:
    """How well a process keeps margins above zero.

    Parameters
    ----------
    count, mean, deviation
        Of the margins.
    index
        One-sided index mean / (3 s).
    lower_bound, confidence
        The index of the process is above `lower_bound` with this confidence (exact, noncentral t).
    percent_below
        Estimated percentage of margins below zero.
    within
        True: deviation within lots, False: of all values (performance).
    """

    count: int
    mean: float
    deviation: float
    index: float
    lower_bound: float
    confidence: float
    percent_below: float
    within: bool = False


@dataclass(frozen=True, slots=True)
class ToleranceLimits:
    """Limits that contain at least `content` of a population with `confidence`.

    Parameters
    ----------
    lower, upper
        None: no limit on that side.
    factor
        k of mean - k s; NaN without a distribution.
    method
        ``normal`` or ``distribution-free``.
    """

    count: int
    content: float
    confidence: float
    lower: float | None
    upper: float | None
    factor: float
    method: Literal["normal", "distribution-free"]


@dataclass(frozen=True, slots=True, eq=False)
class ProcessView:
    """One parameter of one product over its lots.

    Parameters
    ----------
    product, supplier, requirement
        Of what; `supplier` is empty where several are taken together.
    parameter, end
        The worst margin of each reel: at one end, or (None) of both.
    unit
        dB or ns.
    lots, reels, measured_at
        Of each of the ``n`` values, in time order.
    margin
        ``(n,)`` float64.
    charts
        Reels one by one, and lots.
    capability, tolerance, normality
        Of all values; None where there are too few.
    notes
        What a reader must know, in words (fewer points than a limit should rest on …).
    records
        Of each value the file of its record, below the archive; empty: not known.
    """

    product: str
    supplier: str
    requirement: str
    parameter: Parameter
    end: End | None
    unit: str
    lots: tuple[str, ...]
    reels: tuple[str, ...]
    measured_at: tuple[str, ...]
    margin: NDArray[np.float64]
    charts: tuple[ControlChart, ...] = ()
    capability: Capability | None = None
    tolerance: tuple[ToleranceLimits, ...] = ()
    normality: Normality | None = None
    notes: tuple[str, ...] = ()
    records: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "margin", frozen_array(self.margin, np.float64, (len(self.reels),), "margin")
        )
