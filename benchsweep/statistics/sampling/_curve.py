from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import OperatingCurve, SamplingPlan, Severity
from benchsweep.statistics.sampling._attributes import counts_nonconformities
from benchsweep.statistics.sampling._distributions import (
    at_most_in_lot,
    at_most_nonconforming,
    at_most_nonconformities,
    quality_reached,
    share_accepted_at,
    share_reaching,
)
from benchsweep.statistics.sampling._scheme import scheme_accepted

__all__ = ["acceptance_probability", "operating_curve"]

_PRODUCER, _INDIFFERENT, _CONSUMER = 0.95, 0.50, 0.10
_END = 0.002
"""The curve ends where so little is accepted."""
_LOT_POINTS = 201
_FEWEST = 2


def operating_curve(
    plan: SamplingPlan, *, tightened: SamplingPlan | None = None, points: int = 121
) -> OperatingCurve:
    """Return what a plan accepts: operating characteristic, outgoing quality, units tested, risks.

    Parameters
    ----------
    plan
        Any plan.
    tightened
        The tightened plan beside a normal one; given, `OperatingCurve.scheme_accepted` is computed.
    points
        Number of points of the curve over the process, 2 or more; it runs from 0 to where 0.2 % are accepted.

    Returns
    -------
    OperatingCurve
        All percentages are of nonconforming units, or nonconformities per hundred units where the plan counts
        them (`counts_nonconformities`); there is no curve over the lot then. The curve over the lot has every
        number of nonconforming units that is accepted at times, thinned out beyond some 200.

    Raises
    ------
    UsageError
        `plan` and `tightened` do not belong together, or fewer than 2 points.

    Notes
    -----
    Acceptance: binomial; Poisson for nonconformities per hundred units; hypergeometric over the lot (type A);
    by variables noncentral t, deviation unknown. A lot is accepted below Re: so reduced plans accept between
    Ac and Re too. AOQ = P p (N - n) / N and ATI = n + (1 - P) (N - n) as in the NIST/SEMATECH e-Handbook of
    Statistical Methods, 6.2.3.2: lots that are not accepted are tested whole and put right.
    """
    if points < _FEWEST:
        raise UsageError(f"a curve of {points} points makes no sense", hint="Give 2 points or more.")
    if tightened is not None:
        _check_scheme(plan, tightened)
    end = _percent_at(plan, _END)
    if tightened is not None:
        end = max(end, _percent_at(tightened, _END))
    percent = np.linspace(0.0, end, points)
    accepted = acceptance_probability(plan, percent)
    left = (plan.lot_size - plan.sample_size) / plan.lot_size
    outgoing_limit, outgoing_at = _outgoing_limit(plan, end)
    lot_percent, lot_accepted = _over_lot(plan)
    scheme = None
    if tightened is not None:
        scheme = scheme_accepted(accepted, acceptance_probability(tightened, percent))
    return OperatingCurve(
        plan=plan,
        percent=percent,
        accepted=accepted,
        lot_percent=lot_percent,
        lot_accepted=lot_accepted,
        outgoing_percent=accepted * percent * left,
        inspected=plan.sample_size + (1.0 - accepted) * (plan.lot_size - plan.sample_size),
        producer_risk=None if plan.aql_percent is None else _refused(plan, plan.aql_percent),
        producer_percent=_percent_at(plan, _PRODUCER),
        indifferent_percent=_percent_at(plan, _INDIFFERENT),
        consumer_percent=_percent_at(plan, _CONSUMER),
        outgoing_limit_percent=outgoing_limit,
        outgoing_limit_at=outgoing_at,
        scheme_accepted=scheme,
    )


def acceptance_probability(plan: SamplingPlan, percent: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the probability that a plan accepts a lot of a process, of the shape of `percent` (type B).

    `percent` as in `operating_curve`.
    """
    count = plan.sample_size
    if plan.method == "variables":
        return quality_reached(_constant(plan), count, percent / 100.0)
    most = plan.reject - 1
    if counts_nonconformities(plan):
        return at_most_nonconformities(most, count * percent / 100.0)
    return at_most_nonconforming(most, count, percent / 100.0)


def _check_scheme(plan: SamplingPlan, tightened: SamplingPlan) -> None:
    same = ("method", "lot_size", "level", "aql_percent")
    fits = plan.severity is Severity.NORMAL and tightened.severity is Severity.TIGHTENED
    if not fits or any(getattr(plan, name) != getattr(tightened, name) for name in same):
        raise UsageError(
            "a scheme needs the normal and the tightened plan of one lot size, level and AQL",
            hint="Give the plan of normal inspection first.",
        )


def _constant(plan: SamplingPlan) -> float:
    if plan.constant_k is None:
        raise UsageError("the plan by variables has no constant k", hint="Make it with variables_plan.")
    return plan.constant_k


def _refused(plan: SamplingPlan, percent: float) -> float:
    return float(1.0 - acceptance_probability(plan, np.array([percent]))[0])


def _percent_at(plan: SamplingPlan, probability: float) -> float:
    """Return the percentage of a process of which so much is accepted."""
    count, most = plan.sample_size, plan.reject - 1
    if plan.method == "variables":
        return 100.0 * share_reaching(_constant(plan), count, probability)
    if counts_nonconformities(plan):
        return 100.0 * float(special.gammainccinv(most + 1, probability)) / count
    return 100.0 * share_accepted_at(most, count, probability)


def _outgoing_limit(plan: SamplingPlan, end: float) -> tuple[float, float]:
    """Return the largest average outgoing quality in percent and where it is, by narrowing a grid."""
    left = (plan.lot_size - plan.sample_size) / plan.lot_size
    if left <= 0.0:
        return 0.0, 0.0  # every unit is tested: nothing nonconforming goes out
    low, high = 0.0, end
    for _ in range(6):
        grid = np.linspace(low, high, 41)
        out = acceptance_probability(plan, grid) * grid * left
        best = int(np.argmax(out))
        low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, grid.size - 1)])
    return float(out[best]), float(grid[best])


def _over_lot(plan: SamplingPlan) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the operating characteristic over what a lot of this size can have."""
    if plan.method == "variables" or counts_nonconformities(plan):
        return np.empty(0), np.empty(0)
    size, count, most = plan.lot_size, plan.sample_size, plan.reject - 1
    last = min(size, max(int(np.ceil(size * share_accepted_at(most, count, _END))), most + 1))
    bad = np.unique(np.linspace(0, last, min(last + 1, _LOT_POINTS)).round().astype(np.int64))
    return 100.0 * bad / size, at_most_in_lot(most, count, size, bad)
