"""How records are reported, from the options of a person."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.cli._report_work import ReportJob
from benchsweep.errors import UsageError

__all__ = ["report_job"]


def report_job(
    against: Sequence[str],
    *,
    decision: str,
    length_m: float | None,
    temperature_degc: float | None,
    construction: str | None,
    cold_slope: bool,
    budget: str | None,
    sweep: int | None,
    language: str,
    detail: str,
) -> ReportJob | None:
    """Return the job, in full where no `detail` is asked for; None where nothing is to be graded.

    Raises
    ------
    UsageError
        An option makes no sense, or none without a requirement.
    UnknownName, DefinitionError
        A requirement or a budget is not there, or wrong.
    """
    from benchsweep.qualification import (
        RegradeJob,
        check_decision_rule,
        choose_requirements,
        told_conditions,
    )

    chosen = choose_requirements(against)
    rule = check_decision_rule(decision)
    conditions = told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope)
    if not chosen.requirements:
        _refuse_idle(
            length_m=length_m,
            sweep=sweep,
            budget=budget,
            decision=None if rule == "simple" else rule,
            temperature_degc=temperature_degc,
            construction=construction,
            cold_slope=cold_slope or None,
            detail=detail or None,
        )
        return None
    return ReportJob(
        RegradeJob.asked(
            chosen.requirements,
            budget=budget,
            decision_rule=rule,
            length_m=length_m,
            conditions=conditions,
        ),
        budget=budget,
        by_pattern=tuple(chosen.by_pattern),
        sweep=sweep,
        language=language,
        detail="brief" if detail == "brief" else "full",
    )


def _refuse_idle(**given: object) -> None:
    for name, value in given.items():
        if value is not None:
            option = f"--{name.replace('_', '-')}"
            raise UsageError(
                f"{option} does nothing without --against", hint="Give --against, or leave it out."
            )
