from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array
from benchsweep.records._ports import End
from benchsweep.records._series import SeriesEvent
from benchsweep.records._trace import Parameter

_FEWEST_TO_TELL = 8
_NUMERICAL = 1e-6  # dB and ps: far below what any analyzer resolves

__all__ = ["Extreme", "LineFit", "SeriesChange", "SeriesCourse", "SeriesSummary"]


@dataclass(frozen=True, slots=True)
class LineFit:
    """A straight line through points, by least squares.

    Parameters
    ----------
    slope
        In the unit of the ordinate over that of the abscissa.
    standard_error
        Standard error of the slope; None with fewer than three points.
    count
        How many points took part.
    scatter
        Standard deviation of the points about the line, ``sqrt(sum of squared residuals / (n - 2))``; None
        with fewer than three points.
    step_scatter
        The same as far as successive points show it, ``sqrt(mean (r[k + 1] - r[k])^2 / 2)`` of the
        residuals r: what is noise from point to point, without anything slow.
    """

    slope: float
    standard_error: float | None
    count: int
    scatter: float | None = None
    step_scatter: float | None = None

    @property
    def wanders(self) -> bool:
        """True when the points wander about the line instead of scattering: it is no trend, nor is its error.

        That is when they scatter about it more than twice as much as from one to the next: a ratio of von
        Neumann below 1/2, which pure noise reaches in fewer than one of a hundred series of eight points (J.
        von Neumann, "Distribution of the ratio of the mean square successive difference to the variance",
        Annals of Mathematical Statistics 12, 1941). Shorter series do not tell.
        """
        if self.scatter is None or self.step_scatter is None or self.count < _FEWEST_TO_TELL:
            return False
        return self.scatter > max(2.0 * self.step_scatter, _NUMERICAL)


@dataclass(frozen=True, slots=True)
class Extreme:
    """The largest of something: its value with its sign, and where and when it was."""

    value: float
    frequency_hz: float
    sweep: int


@dataclass(frozen=True, slots=True, eq=False)
class SeriesChange:
    """How one parameter changed from the first sweep of a series on.

    Parameters
    ----------
    parameter, end, pairs
        Which, as in `Trace`.
    largest_loss_db
        Largest change of the loss in dB; positive is more loss, so less signal, as everywhere. None where
        every frequency lies too close to the noise.
    largest_deg
        Largest change of the phase of the S-parameter in degrees; negative is more delay. None as before.
    largest_difference_db
        Largest magnitude of the difference of the two complex values, in dB over 1; always there.
    loss_db, delay_ps
        ``(n_sweep,)`` as kept for a drawing: the change of loss averaged over the frequencies clear of the
        noise in dB, and the change of delay that fits the phases there best, positive is more delay; NaN
        where there is none. See `SeriesCourse` for the times.
    loss_per_hour, delay_per_hour
        Straight lines through them over time in hours: dB per hour, ps per hour; None with one sweep, or
        where all is too close to the noise.
    worst_per_hour
        The line through the change of loss in dB at the frequency of `largest_loss_db`.
    loss_per_unit, delay_per_unit
        Straight lines through them over the ambient reading that was asked for; None without one that moved.
    clear_points
        At how many frequencies the first sweep is at least 20 dB above the noise that the series shows.
    noise_db
        That noise, rms, in dB over 1: its median over the frequencies; None when one sweep shows none.
    """

    parameter: Parameter
    end: End
    pairs: tuple[str, ...]
    largest_loss_db: Extreme | None
    largest_deg: Extreme | None
    largest_difference_db: Extreme
    loss_db: NDArray[np.float64]
    delay_ps: NDArray[np.float64]
    loss_per_hour: LineFit | None
    delay_per_hour: LineFit | None
    worst_per_hour: LineFit | None
    loss_per_unit: LineFit | None = None
    delay_per_unit: LineFit | None = None
    clear_points: int = 0
    noise_db: float | None = None

    def __post_init__(self) -> None:
        for name in ("loss_db", "delay_ps"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64, (None,), name))


@dataclass(frozen=True, slots=True, eq=False)
class SeriesCourse:
    """The abscissae of the changes that are kept for a drawing; every `every`-th sweep is kept.

    Parameters
    ----------
    number, hours, reading
        ``(n,)``: number of the sweep, hours since the first one, ambient reading (NaN where there is none).
    reading_name
        Name of the ambient quantity; empty when there is none.
    every
        Of so many sweeps one is kept.
    """

    number: NDArray[np.int64]
    hours: NDArray[np.float64]
    reading: NDArray[np.float64]
    reading_name: str
    every: int

    def __post_init__(self) -> None:
        size = np.size(self.number)
        object.__setattr__(self, "number", frozen_array(self.number, np.int64, (None,), "number"))
        for name in ("hours", "reading"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64, (size,), name))


@dataclass(frozen=True, slots=True, eq=False)
class SeriesSummary:
    """What a series tells as a whole.

    Parameters
    ----------
    sweeps, first_number, last_number
        How many there are, and their numbers.
    missing
        Numbers between them that are not there.
    first_at, last_at
        ISO 8601 times of the first and the last sweep.
    ended
        How it ended, in words; empty while it is not finished.
    events
        What happened, in order; of very many the first ones.
    event_counts
        Kind -> how many events of that kind there were in all.
    ambient
        Name -> least, greatest and mean reading.
    changes
        Of each parameter that was asked for.
    course
        When the sweeps behind them were taken.
    corrected
        Whether the changes are those of corrected values.
    notes
        In words: what could not be given, and why.
    """

    sweeps: int
    first_number: int
    last_number: int
    missing: tuple[int, ...]
    first_at: str
    last_at: str
    ended: str
    events: tuple[SeriesEvent, ...]
    event_counts: Mapping[str, int]
    ambient: Mapping[str, tuple[float, float, float]]
    changes: tuple[SeriesChange, ...]
    course: SeriesCourse
    corrected: bool
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "event_counts", MappingProxyType(dict(self.event_counts)))
        object.__setattr__(self, "ambient", MappingProxyType(dict(self.ambient)))
