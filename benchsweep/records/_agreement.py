from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array
from benchsweep.records._ports import End
from benchsweep.records._trace import Parameter

__all__ = [
    "Agreement",
    "BlandAltman",
    "CheckLimits",
    "ComparedPoint",
    "ComparedTrace",
    "Comparison",
    "LevelCheck",
    "Suspicion",
    "TraceDifference",
]


class Agreement(StrEnum):
    """Whether a field tester and the bench say the same of a channel within both uncertainties."""

    AGREES = "agrees"
    DISAGREES = "disagrees"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, eq=False)
class TraceDifference:
    """A tester's trace less the bench's, on a common grid.

    Parameters
    ----------
    parameter, end, pairs
        Which trace.
    frequency_hz, bench, tester, limit
        ``(n_freq,)`` float64 on the grid of the tester within the band of both; `limit` is NaN where the
        requirement has none.
    counts
        ``(n_freq,)`` bool: compared here. Elsewhere the difference means nothing (see `why_not`).
    why_not
        For those left out: how many points for which reason, in words.
    bench_frequency_hz
        ``(n_freq,)`` where the bench value was taken: the grid, or the minimum matched to one of the tester.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    frequency_hz: NDArray[np.float64]
    bench: NDArray[np.float64]
    tester: NDArray[np.float64]
    limit: NDArray[np.float64]
    counts: NDArray[np.bool_]
    bench_frequency_hz: NDArray[np.float64]
    why_not: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        shape = (len(self.frequency_hz),)
        for name in ("frequency_hz", "bench", "tester", "limit", "bench_frequency_hz"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), np.float64, shape, name))
        object.__setattr__(self, "counts", frozen_array(self.counts, np.bool_, shape, "counts"))

    @property
    def difference(self) -> NDArray[np.float64]:
        """Tester less bench, in dB (ns for delay and skew), at every point."""
        return self.tester - self.bench


@dataclass(frozen=True, slots=True)
class ComparedPoint:
    """Tester and bench at one frequency.

    Parameters
    ----------
    frequency_hz
        Where; None for a number without a frequency.
    bench, tester, difference
        Values; `difference` is tester less bench. For margins compared as such both are margins.
    bench_uncertainty, tester_uncertainty, mating_uncertainty, temperature_uncertainty
        Expanded (k = 2), in the unit of the value; None: not known. Zero: known to be nothing.
    uncertainty
        All of them combined: root of the sum of squares; None while one that is needed is not known.
    e_n
        `difference` / `uncertainty` (ISO/IEC 17043, ISO 13528).
    zeta
        `difference` over the combined standard uncertainty (ISO 13528).
    limit
        Of the requirement there; None where it has none.
    """

    frequency_hz: float | None
    bench: float
    tester: float
    difference: float
    bench_uncertainty: float | None = None
    tester_uncertainty: float | None = None
    mating_uncertainty: float | None = None
    temperature_uncertainty: float | None = None
    uncertainty: float | None = None
    e_n: float | None = None
    zeta: float | None = None
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class ComparedTrace:
    """What is said of one parameter of one pair or combination at one end.

    Parameters
    ----------
    parameter, end, pairs
        Which.
    outcome, words
        The decision and its reason in a sentence.
    decisive
        The point that decides: at the bench's worst margin; None where nothing could be compared.
    largest
        The counting point with the largest |E_n| (or difference without an uncertainty): for information.
    bench_margin, tester_margin
        Worst margins of both, each by its own trace; None without limit or trace.
    compared, left_out
        Numbers of points.
    mean_difference, deviation
        Of the counting points; None for fewer than one, two.
    share_beyond
        Share of the counting points with |E_n| > 1; None without uncertainties.
    basis
        ``trace``: over frequency; ``point``: the tester told one number only.
    """

    parameter: Parameter
    end: End | None
    pairs: tuple[str, ...]
    outcome: Agreement
    words: str
    decisive: ComparedPoint | None = None
    largest: ComparedPoint | None = None
    bench_margin: float | None = None
    tester_margin: float | None = None
    compared: int = 0
    left_out: int = 0
    mean_difference: float | None = None
    deviation: float | None = None
    share_beyond: float | None = None
    basis: Literal["trace", "point"] = "trace"


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Something in a tester's result that cannot be of this channel as it is named.

    Parameters
    ----------
    kind
        What it is.
    words
        One or two sentences for the person: what was seen, what it most likely is, what to do.
    pairs, end
        Concerned; empty and None where all are.
    hinders
        True: nothing may be said of the tester before it is settled.
    """

    kind: Literal[
        "pairs-swapped",
        "ends-swapped",
        "unit",
        "sign",
        "quantity",
        "frequency",
        "channel",
        "length",
        "limit",
        "tester",
    ]
    words: str
    pairs: tuple[str, ...] = ()
    end: End | None = None
    hinders: bool = True


@dataclass(frozen=True, slots=True)
class BlandAltman:
    """Bias and limits of agreement of paired results (Bland and Altman 1986).

    Parameters
    ----------
    count
        Pairs of results.
    bias, deviation
        Mean and standard deviation of the differences, tester less bench.
    lower, upper
        Limits of agreement bias -+ 1.96 s.
    bias_error, limit_error
        Standard errors of the bias and of each limit.
    independent
        Number of channels the results come from: repeats on one channel are not independent.
    words
        What limits the meaning (too few, repeats), empty otherwise.
    """

    count: int
    bias: float
    deviation: float
    lower: float
    upper: float
    bias_error: float
    limit_error: float
    independent: int
    words: str = ""


@dataclass(frozen=True, slots=True)
class CheckLimits:
    """Limits of a check standard from its history (NIST/SEMATECH e-Handbook 2.3.5.2).

    Parameters
    ----------
    count, mean, deviation
        Of the baseline.
    lower, upper, confidence
        mean -+ t s; t for `count` - 1 degrees of freedom, shared among `together` values judged at once.
    together
        So many values are judged at once (Sidak).
    """

    count: int
    mean: float
    deviation: float
    lower: float
    upper: float
    confidence: float
    together: int = 1


@dataclass(frozen=True, slots=True)
class LevelCheck:
    """Low, middle and high check of a linear relation (NIST/SEMATECH e-Handbook 2.3.7).

    Parameters
    ----------
    levels
        ``low``, ``middle``, ``high``.
    reference, told, deviation
        Known value, what was told, and the one less the other in units of the reference, each per level.
    limit
        A deviation beyond it is out of control.
    out
        Levels that are.
    words
        In a sentence.
    """

    levels: tuple[str, ...]
    reference: tuple[float, ...]
    told: tuple[float, ...]
    deviation: tuple[float, ...]
    limit: float
    out: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """A field tester's result against a bench record of the same channel.

    Parameters
    ----------
    at, by
        When it was compared (ISO 8601, UTC), by whom.
    tester, channel
        Their registered names.
    record, record_digest
        File and content hash of the bench record.
    requirement, requirement_digest
        What margins are counted against.
    source, source_digest, mapping
        The tester's file, SHA-256 of its bytes, name of the mapping.
    outcome, words
        The whole, with its reason.
    rows
        One for each trace or number that both told.
    suspicions
        What does not fit.
    missing
        What the bench measured and the tester did not tell, or the other way round, in words.
    budget
        Lines that say where every part of the uncertainty comes from, with its standing.
    bland_altman
        Over the decisive points of all rows and of the comparisons of this tester since it was last changed,
        by parameter; needs several.
    notes, doubts
        In words; `doubts` are what a reader must know before the outcome.
    measured_at
        When the tester measured, as its file or the person told it (ISO 8601, UTC where it tells no offset);
        empty: not told, or by earlier versions not kept.
    limited
        Of the bench so many traces have a limit: as many could have been compared; 0: not kept.
    whole_band
        False: the tester told traces of a part of the limited band only.
    """

    at: str
    by: str
    tester: str
    channel: str
    record: str
    record_digest: str
    requirement: str
    requirement_digest: str
    source: str
    source_digest: str
    mapping: str
    outcome: Agreement
    words: str
    rows: tuple[ComparedTrace, ...]
    suspicions: tuple[Suspicion, ...] = ()
    missing: tuple[str, ...] = ()
    budget: tuple[str, ...] = ()
    bland_altman: tuple[tuple[Parameter, BlandAltman], ...] = ()
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    measured_at: str = field(default="", metadata={"later": True})
    limited: int = field(default=0, metadata={"later": True})
    whole_band: bool = field(default=True, metadata={"later": True})

    @property
    def when(self) -> str:
        """When the tester measured; when it was compared, where that is not told (ISO 8601)."""
        return self.measured_at or self.at
