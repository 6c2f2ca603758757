from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array

__all__ = ["OperatingCurve", "SamplingMethod", "SamplingPlan", "Severity", "VariablesDecision"]

SamplingMethod = Literal["attributes", "variables", "zero-acceptance"]
"""Count nonconforming units; judge mean and deviation of one margin; accept on none nonconforming."""


class Severity(StrEnum):
    """How severely lots are inspected (ISO 2859-1, MIL-STD-105E)."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """How many units of a lot are tested, and with how many nonconforming ones it is accepted.

    Parameters
    ----------
    method
        See `SamplingMethod`.
    lot_size
        Units in the lot.
    sample_size
        Units to test; the whole lot where the table asks for as many or more.
    accept, reject
        Acceptance number Ac and rejection number Re: accepted with Ac nonconforming units or fewer, not
        accepted with Re or more. Between the two (reduced inspection of MIL-STD-105E) a lot is accepted and
        reduced inspection ends. For variables 0 and 1: the number of characteristics that may be refused.
    aql_percent
        Acceptance quality limit in percent nonconforming; None for zero acceptance.
    level
        Inspection level (``I`` … ``S-4``); empty for zero acceptance.
    severity
        None for zero acceptance.
    code_letter, plan_letter
        Sample size code letter of the lot size and level, and the letter of the plan where an arrow led to;
        empty for zero acceptance.
    table_sample_size
        n of the table; above `sample_size` only where the whole lot is tested.
    characteristics
        For variables: the parameters of which the worst margin of a unit is judged, each by itself.
    constant_k
        For variables: accepted with Q = mean / s of k or more (form 1).
    largest_percent
        M (form 2): accepted with an estimated percentage nonconforming of M or less; None where k decides.
    limiting_percent, consumer_risk
        Zero acceptance: a lot with so much nonconforming is accepted with this probability at most.
    source, standing
        Document and table; how far it was checked.
    """

    method: SamplingMethod
    lot_size: int
    sample_size: int
    accept: int
    reject: int
    aql_percent: float | None = None
    level: str = ""
    severity: Severity | None = None
    code_letter: str = ""
    plan_letter: str = ""
    table_sample_size: int = 0
    characteristics: tuple[str, ...] = ()
    constant_k: float | None = None
    largest_percent: float | None = None
    limiting_percent: float | None = None
    consumer_risk: float | None = None
    source: str = ""
    standing: str = ""

    @property
    def limiting_count(self) -> int | None:
        """So many nonconforming units the lot has at its limiting quality, one or more; None without one."""
        if self.limiting_percent is None:
            return None
        return max(1, math.ceil(self.lot_size * self.limiting_percent / 100.0 * (1.0 - 1e-9)))

    @property
    def rounded_up(self) -> str:
        """That the limiting quality is less than one unit of the lot, in words; empty when it is not."""
        if self.limiting_percent is None or self.limiting_percent * self.lot_size >= 100.0 * (1.0 - 1e-9):
            return ""
        one = 100.0 / self.lot_size
        return (
            f"{self.limiting_percent:.3g} % of {self.lot_size} is less than one: the plan is for a lot with "
            f"one nonconforming, which is {one:.3g} %"
        )

    @property
    def whole_lot(self) -> bool:
        """Whether every unit is tested."""
        return self.sample_size >= self.lot_size


@dataclass(frozen=True, slots=True, eq=False)
class OperatingCurve:
    """What a plan accepts, from which risks and outgoing quality follow.

    Parameters
    ----------
    plan
        The plan.
    percent
        ``(n,)`` rising, percent nonconforming of the process.
    accepted
        ``(n,)`` probability of acceptance of lots from such a process (type B).
    lot_percent, lot_accepted
        ``(m,)`` percent nonconforming that a lot of this size can have, and the probability that such a lot
        is accepted (type A, exact); empty for variables.
    outgoing_percent
        ``(n,)`` average outgoing quality where lots that are not accepted are tested whole and put right.
    inspected
        ``(n,)`` average number of units tested then, by lot.
    producer_risk
        Probability that a process at the AQL has its lot refused; None without an AQL.
    producer_percent, indifferent_percent, consumer_percent
        Percent nonconforming of which 95, 50 and 10 % are accepted.
    outgoing_limit_percent, outgoing_limit_at
        Average outgoing quality limit, and the percent nonconforming at which it is reached.
    scheme_accepted
        ``(n,)`` probability of acceptance in the long run under normal and tightened inspection with the
        switching rules; None where there is none.
    """

    plan: SamplingPlan
    percent: NDArray[np.float64]
    accepted: NDArray[np.float64]
    lot_percent: NDArray[np.float64]
    lot_accepted: NDArray[np.float64]
    outgoing_percent: NDArray[np.float64]
    inspected: NDArray[np.float64]
    producer_risk: float | None
    producer_percent: float
    indifferent_percent: float
    consumer_percent: float
    outgoing_limit_percent: float
    outgoing_limit_at: float
    scheme_accepted: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        percent = frozen_array(self.percent, np.float64, (None,), "percent")
        object.__setattr__(self, "percent", percent)
        for name in ("accepted", "outgoing_percent", "inspected"):
            column = frozen_array(getattr(self, name), np.float64, (percent.size,), name)
            object.__setattr__(self, name, column)
        lot = frozen_array(self.lot_percent, np.float64, (None,), "lot_percent")
        object.__setattr__(self, "lot_percent", lot)
        lot_accepted = frozen_array(self.lot_accepted, np.float64, (lot.size,), "lot_accepted")
        object.__setattr__(self, "lot_accepted", lot_accepted)
        if self.scheme_accepted is not None:
            scheme = frozen_array(self.scheme_accepted, np.float64, (percent.size,), "scheme_accepted")
            object.__setattr__(self, "scheme_accepted", scheme)


@dataclass(frozen=True, slots=True)
class VariablesDecision:
    """What a plan by variables says of one characteristic.

    Parameters
    ----------
    characteristic
        The parameter whose worst margin of each unit was judged.
    count
        Units.
    mean, deviation
        Of the margins, in their unit.
    quality
        Q = mean / deviation; ``+inf`` or ``-inf`` without any deviation.
    estimated_percent
        Estimated percentage nonconforming.
    accepted
        True or False; None: the margins are not normal, so that the plan decides nothing.
    words
        The characteristic and a colon, then why.
    normality_p
        p-value of the test of normality; None where there are too few margins.
    """

    characteristic: str
    count: int
    mean: float
    deviation: float
    quality: float
    estimated_percent: float
    accepted: bool | None
    words: str
    normality_p: float | None = None

    @property
    def reason(self) -> str:
        """Why, without the characteristic."""
        return self.words.removeprefix(f"{self.characteristic}: ")
