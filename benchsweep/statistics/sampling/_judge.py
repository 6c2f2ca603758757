from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.records import Normality, SamplingPlan, VariablesDecision
from benchsweep.statistics.sampling._distributions import estimated_share

__all__ = ["judge_variables"]

_NO_SPREAD = 1e-12
"""A deviation of less than this part of the largest margin is one of rounding."""


def judge_variables(
    plan: SamplingPlan, characteristic: str, margins: Sequence[float], normality: Normality | None = None
) -> VariablesDecision:
    """Return what a plan by variables says of one characteristic.

    Parameters
    ----------
    plan
        Of method ``variables``.
    characteristic
        One of those of the plan.
    margins
        The worst margin of each unit of the sample, positive is good; `plan.sample_size` of them.
    normality
        What a test of normality said of the same margins; None: none was made. Where it doubts, nothing is
        decided: the plan holds for normal margins alone.

    Returns
    -------
    VariablesDecision
        `deviation` is the sample standard deviation (n - 1). Margins that are all the same have an infinite
        Q, positive from a margin of 0 on.

    Raises
    ------
    UsageError
        Not such a plan or characteristic; another number of margins; one that is no finite number.

    Notes
    -----
    MIL-STD-414 (1957), section B: form 1 compares Q = mean / s with k, form 2 the estimated percentage
    nonconforming, a function of Q and n alone, with M.
    """
    _check(plan, characteristic, margins, normality)
    values = np.asarray(margins, dtype=np.float64)
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    if deviation <= _NO_SPREAD * float(np.abs(values).max()):
        deviation, quality = 0.0, math.inf if mean >= 0.0 else -math.inf
    else:
        quality = mean / deviation
    percent = 100.0 * estimated_share(quality, values.size)
    accepted: bool | None
    if plan.largest_percent is not None:
        limit = plan.largest_percent
        accepted = percent <= limit
        said = f"estimated {percent:.3g} % nonconforming, M is {limit:.3g} %"
    else:
        assert plan.constant_k is not None  # noqa: S101 - checked
        accepted = quality >= plan.constant_k
        said = f"Q = {_words(quality)}, k is {plan.constant_k:g}, estimated {percent:.3g} % nonconforming"
    words = f"{characteristic}: {said}"
    p_value = None if normality is None else normality.p_value
    if normality is not None and normality.doubtful:
        accepted = None
        words = f"{characteristic}: the margins are not normal ({normality.words}); {said}"
    elif normality is None or normality.doubtful is None:
        words += "; whether the margins are normal is not known"
    return VariablesDecision(
        characteristic=characteristic,
        count=values.size,
        mean=mean,
        deviation=deviation,
        quality=quality,
        estimated_percent=percent,
        accepted=accepted,
        words=words,
        normality_p=p_value,
    )


def _check(
    plan: SamplingPlan, characteristic: str, margins: Sequence[float], normality: Normality | None
) -> None:
    if plan.method != "variables" or (plan.constant_k is None and plan.largest_percent is None):
        raise UsageError(
            f"a plan by {plan.method} judges no margins", hint="Make a plan by variables with variables_plan."
        )
    if characteristic not in plan.characteristics:
        raise UsageError(
            f"the plan does not judge {characteristic}", hint=f"It judges: {', '.join(plan.characteristics)}."
        )
    if len(margins) != plan.sample_size:
        raise UsageError(
            f"{len(margins)} margins of {characteristic}, but the plan asks for {plan.sample_size}",
            hint="Give one margin of every unit of the sample.",
        )
    for number, margin in enumerate(margins, 1):
        if not math.isfinite(margin):
            raise UsageError(
                f"margin {number} of {characteristic} is {margin}",
                hint="A unit without a finite margin cannot be judged by variables; plan by attributes.",
            )
    if normality is not None and normality.count != len(margins):
        raise UsageError(
            f"normality was tested with {normality.count} margins, {len(margins)} are judged",
            hint="Test the same margins.",
        )


def _words(quality: float) -> str:
    return f"{quality:.3g}" if math.isfinite(quality) else ("+inf" if quality > 0 else "-inf")
