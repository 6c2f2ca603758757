from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = ["BudgetRow", "Contribution", "Interval"]


@dataclass(frozen=True, slots=True, eq=False)
class Interval:
    """The expanded uncertainty of some points of one trace: coverage factor 2, about 95 %.

    Parameters
    ----------
    low, high
        ``(n_point,)`` float64 in the unit of the trace, not negative: the true value lies between
        value - `low` and value + `high`. `high` of a loss is infinite where the residual errors may be as
        large as the signal.
    """

    low: NDArray[np.float64]
    high: NDArray[np.float64]

    def __post_init__(self) -> None:
        shape = (np.size(self.low),)
        for name in ("low", "high"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64, shape, name))


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one term of the budget contributes to the uncertainty of one value.

    Parameters
    ----------
    term
        Name of the term.
    standard_uncertainty
        In the unit of the value (dB or ns).
    share
        Its part of the variance, 0 to 1.
    standing, source
        How the figure is known, and where it comes from.
    """

    term: str
    standard_uncertainty: float
    share: float
    standing: str
    source: str


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """The uncertainty budget of one trace at one frequency.

    Parameters
    ----------
    parameter, end, pairs
        Which trace; see `Trace`.
    frequency_hz, value
        Where, and the measured value there.
    uncertainty_low, uncertainty_high
        As in `Interval`.
    terms
        What contributes, the largest first.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    frequency_hz: float
    value: float
    uncertainty_low: float
    uncertainty_high: float
    terms: tuple[Contribution, ...]

    @property
    def expanded_uncertainty(self) -> float:
        """The larger of both sides, k = 2."""
        return max(self.uncertainty_low, self.uncertainty_high)
