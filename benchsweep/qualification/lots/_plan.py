"""Sampling plans and what they accept."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.errors import LotRefused, UsageError
from benchsweep.records import OperatingCurve, SamplingMethod, SamplingPlan, Severity
from benchsweep.statistics.sampling import (
    attributes_plan,
    counts_nonconformities,
    operating_curve,
    variables_plan,
    zero_acceptance_plan,
)

__all__ = ["curve_of", "make_plan", "plan_sampling", "refuse_nonconformities"]

_METHODS: tuple[SamplingMethod, ...] = ("attributes", "variables", "zero-acceptance")
_USUAL_LEVEL = {"attributes": "II", "variables": "IV"}


def plan_sampling(
    lot_size: int,
    *,
    method: SamplingMethod = "attributes",
    level: str | None = None,
    aql_percent: float | None = None,
    severity: Severity | None = None,
    limiting_percent: float | None = None,
    consumer_risk: float = 0.10,
    characteristics: Sequence[str] = (),
) -> tuple[SamplingPlan, OperatingCurve]:
    """Return a sampling plan and what it accepts, before it is used.

    Parameters
    ----------
    lot_size
        Reels in the lot.
    method
        See `SamplingMethod`.
    level
        Inspection level; None: the usual one, II by attributes and IV by variables.
    aql_percent
        Acceptance quality limit in percent nonconforming; needed but for zero acceptance.
    severity
        None: normal.
    limiting_percent, consumer_risk
        Zero acceptance: a lot with so much nonconforming is accepted with this probability at most.
    characteristics
        By variables: the parameters whose worst margins are judged.

    Raises
    ------
    UsageError
        There is no such plan, or something that it needs is missing.
    """
    plan = make_plan(
        lot_size,
        method=method,
        level=level,
        aql_percent=aql_percent,
        severity=severity,
        limiting_percent=limiting_percent,
        consumer_risk=consumer_risk,
        characteristics=characteristics,
    )
    return plan, curve_of(plan)


def make_plan(
    lot_size: int,
    *,
    method: SamplingMethod = "attributes",
    level: str | None = None,
    aql_percent: float | None = None,
    severity: Severity | None = None,
    limiting_percent: float | None = None,
    consumer_risk: float = 0.10,
    characteristics: Sequence[str] = (),
) -> SamplingPlan:
    """Return the plan of `plan_sampling`."""
    if method not in _METHODS:
        raise UsageError(f"no method named {method!r}", hint=f"There are: {', '.join(_METHODS)}.")
    if method == "zero-acceptance":
        if limiting_percent is None:
            raise UsageError(
                "a plan with zero acceptance needs a limiting quality",
                hint="Give the percentage nonconforming that is to be refused nearly always.",
            )
        return zero_acceptance_plan(lot_size, limiting_percent=limiting_percent, consumer_risk=consumer_risk)
    if aql_percent is None:
        raise UsageError("the plan needs an AQL", hint="Give it in percent nonconforming, for example 0.65.")
    used = _USUAL_LEVEL[method] if level is None else level
    hard = severity or Severity.NORMAL
    if method == "attributes":
        return attributes_plan(lot_size, level=used, aql_percent=aql_percent, severity=hard)
    from benchsweep.limits import parse_parameter  # which takes longer to read than a plan to make

    names = tuple(str(parse_parameter(name)) for name in characteristics)
    if not names:
        raise UsageError(
            "a plan by variables judges at least one parameter", hint="Name it, for example next."
        )
    if len(set(names)) < len(names):
        raise UsageError("a parameter is named twice", hint="Name each once.")
    return variables_plan(lot_size, level=used, aql_percent=aql_percent, severity=hard, characteristics=names)


def curve_of(plan: SamplingPlan) -> OperatingCurve:
    """Return what a plan accepts; of a normal plan also in the long run, with the switching rules."""
    if plan.method != "attributes" or plan.severity is not Severity.NORMAL or plan.aql_percent is None:
        return operating_curve(plan)
    tightened = attributes_plan(
        plan.lot_size, level=plan.level, aql_percent=plan.aql_percent, severity=Severity.TIGHTENED
    )
    return operating_curve(plan, tightened=tightened)


def refuse_nonconformities(plan: SamplingPlan) -> None:
    """Refuse a plan that counts nonconformities per hundred units: of a reel it is known whether it conforms.

    Raises
    ------
    LotRefused
    """
    if counts_nonconformities(plan):
        raise LotRefused(
            f"an AQL of {plan.aql_percent:g} is one of nonconformities per hundred units; reels are counted",
            hint="Take an AQL of 10 or less, which is a percentage nonconforming.",
        )
