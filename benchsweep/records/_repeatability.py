from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from benchsweep.records._trace import Parameter

__all__ = [
    "GaugeStudy",
    "InterlaboratoryStudy",
    "MatingScatter",
    "NestedStudy",
    "StudyDesign",
    "StudyRun",
    "StudySummary",
    "VarianceRow",
]

StudyKind = Literal["crossed", "nested", "interlaboratory"]


@dataclass(frozen=True, slots=True)
class StudyRun:
    """One measurement of a study: who measures what, in which order.

    Parameters
    ----------
    number
        From 1, the order of the work.
    part
        Channel, link or cord.
    operator
        Who (or which tester, laboratory, day: what the study calls its second factor).
    mating
        Number of the mating by this operator of this part, from 1.
    trial
        Reading within the mating, from 1: the plug stays in.
    """

    number: int
    part: str
    operator: str
    mating: int
    trial: int


@dataclass(frozen=True, slots=True)
class StudyDesign:
    """A study drawn up before anybody measures.

    Parameters
    ----------
    kind
        ``crossed``: every operator measures every part (Gauge R&R); ``nested``: operator, mating, trial each
        within the one before; ``interlaboratory``: ISO 5725, operators are laboratories or testers.
    parts, operators
        Names.
    matings, trials
        Numbers; at least one.
    seed
        Text that the random order was made from; anybody can make it again.
    runs
        All of them in the order of the work.
    freedom
        Degrees of freedom for repeatability that it gives.
    words
        What it can and cannot tell, in sentences.
    """

    kind: StudyKind
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    matings: int
    trials: int
    seed: str
    runs: tuple[StudyRun, ...]
    freedom: int
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class VarianceRow:
    """A line of an analysis of variance.

    Parameters
    ----------
    term
        ``part``, ``operator``, ``interaction``, ``repeatability``, ``total`` …
    sum_of_squares, freedom, mean_square
        As named.
    f, p_value
        Of the test; None where there is none.
    """

    term: str
    sum_of_squares: float
    freedom: int
    mean_square: float | None = None
    f: float | None = None
    p_value: float | None = None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Gauge repeatability and reproducibility.

    Parameters
    ----------
    method
        ``anova`` or ``average-range``.
    table
        Analysis of variance; empty for ``average-range``.
    pooled, pooling_level
        The interaction was put to the repeatability because its p value was above this level.
    repeatability, reproducibility, interaction, gauge, part, total
        Standard deviations in the unit of the values: EV, AV (operators and, where kept, interaction),
        the interaction alone (0 when pooled), GRR, PV, TV.
    contribution_percent, study_percent
        Of repeatability, reproducibility, gauge, part: percent of the total variance; of the total deviation.
    categories
        Number of distinct categories 1.41 PV / GRR, cut to a whole number.
    words
        What it means.
    """

    method: Literal["anova", "average-range"]
    table: tuple[VarianceRow, ...]
    pooled: bool
    pooling_level: float | None
    repeatability: float
    reproducibility: float
    interaction: float
    gauge: float
    part: float
    total: float
    contribution_percent: tuple[tuple[str, float], ...]
    study_percent: tuple[tuple[str, float], ...]
    categories: int
    words: str = ""


@dataclass(frozen=True, slots=True)
class NestedStudy:
    """Standard deviations of nested levels, from the innermost (repetitions) to the outermost.

    Parameters
    ----------
    levels
        Names: ``trial``, ``mating``, ``operator`` …
    deviation
        Pooled standard deviation that is seen at each level (NIST e-Handbook 2.4.4: s1, s2, s3).
    component
        Standard deviation that each level adds by itself (from mean squares, not below zero).
    freedom
        Degrees of freedom of each.
    mating_uncertainty
        2 x the deviation of one freshly mated measurement; what `compare` takes for mating.
    words
        What it means.
    """

    levels: tuple[str, ...]
    deviation: tuple[float, ...]
    component: tuple[float, ...]
    freedom: tuple[int, ...]
    mating_uncertainty: float | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class InterlaboratoryStudy:
    """Repeatability and reproducibility of ISO 5725-2 for one level (material, channel).

    Parameters
    ----------
    laboratories, replicates
        Numbers; replicates may differ, then their mean number n of ISO 5725-2.
    mean, repeatability, between, reproducibility
        General mean, s_r, s_L, s_R.
    repeatability_limit, reproducibility_limit
        r = 2.8 s_r, R = 2.8 s_R.
    h, k
        Mandel's statistics for each laboratory, in order.
    h_critical, k_critical
        At 0.5 % (ASTM E691).
    outliers
        In words: laboratories that Cochran's or Grubbs' test names; nothing is taken out.
    """

    laboratories: int
    replicates: float
    mean: float
    repeatability: float
    between: float
    reproducibility: float
    repeatability_limit: float
    reproducibility_limit: float
    h: tuple[float, ...]
    k: tuple[float, ...]
    h_critical: float
    k_critical: float
    outliers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MatingScatter:
    """What one fresh mating adds to a result of a parameter, from a study; what a statement takes from it.

    Parameters
    ----------
    expanded
        U (k = 2) in dB or ns: twice the standard deviation of single matings.
    freedom
        Degrees of freedom: of the trace that is taken; of pooled ones those of the least known, because pairs
        that are mated together are not independent of each other.
    quantities
        So many traces of the parameter were studied.
    taken
        ``pooled`` over the traces, ``largest`` of them, or ``step``: the resolution of the results, below
        which nothing is seen.
    largest, trace
        U (k = 2) of the trace that scatters most by itself, and its quantity.
    step
        Steps in which the results come, dB or ns; None: none is seen.
    """

    expanded: float
    freedom: int
    quantities: int
    taken: Literal["pooled", "largest", "step"]
    largest: float
    trace: str
    step: float | None = None


@dataclass(frozen=True, slots=True)
class StudySummary:
    """What a study tells of a parameter: its worst trace, and what a fresh mating adds.

    Parameters
    ----------
    parameter
        None: the quantity is one of the laboratory's own.
    quantity
        The trace with the largest share of the gauge in the total deviation; without a Gauge R&R study the
        one that scatters most.
    traces
        So many were evaluated.
    repeatability, reproducibility
        Its standard deviations in dB or ns; None where the design tells none.
    gauge_percent, categories
        Of its Gauge R&R study: percent of the total deviation, distinct categories; None without one.
    words
        What it means, in a sentence.
    mating
        Of the parameter; None where the design tells nothing of matings.
    """

    parameter: Parameter | None
    quantity: str
    traces: int
    repeatability: float | None = None
    reproducibility: float | None = None
    gauge_percent: float | None = None
    categories: int | None = None
    words: str = ""
    mating: MatingScatter | None = None
