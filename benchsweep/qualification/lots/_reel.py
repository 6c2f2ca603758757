"""A graded record as the result of a reel: the worst of its pairs and ends, constants of its cable."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import groupby

import numpy as np

from benchsweep import limits
from benchsweep.qualification._locate import locate
from benchsweep.qualification._reduction import Evaluation
from benchsweep.records import (
    CableConstants,
    Measurement,
    Outcome,
    Parameter,
    ReelConstants,
    ReelMargin,
    ReelResult,
    Verdict,
    VerdictRow,
)

__all__ = ["evaluate_reel"]

_FITTED_AT_HZ = 100e6
_WORST_FIRST = (
    Outcome.FAIL,
    Outcome.CONDITIONAL_FAIL,
    Outcome.UNDECIDED,
    Outcome.CONDITIONAL_PASS,
    Outcome.PASS,
)
_BAD = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)


def evaluate_reel(
    evaluation: Evaluation,
    requirement: limits.Requirement,
    verdict: Verdict,
    *,
    conditions: limits.Conditions,
) -> ReelResult:
    """Return what a graded record says of a reel; the reel is the unit, whatever pair or end is the worst.

    Grading has brought the traces to the length and the temperature that the requirement has its limits for
    (``[normalise]``, ``[temperature]`` of the requirement): insertion loss, delay and skew in proportion to
    the length, ACR-F by 10 lg of its ratio, NEXT by what near-end coupling saturates to, insertion loss to
    20 degC. So the margins are those of 100 m at 20 degC. Insertion loss and ACR-F are looked at from both
    ends like all others; the worse end counts.

    Constants are those of the length that was measured, at its temperature: velocity and impedance change
    by far less with it than from reel to reel. Structural return loss is looked for up to the
    highest frequency of the requirement. Skew is the largest between two pairs at any frequency, brought to
    100 m.

    Parameters
    ----------
    evaluation, verdict
        A record, and what `requirement` says of it.
    conditions
        What was told of the lot; the temperature comes from the record where none is told.

    Raises
    ------
    ValueError
        The record has no length: see `missing_conditions` of this folder, which refuses it before.
    """
    measurement = evaluation.measurement
    length_m = measurement.specimen.length_m
    if length_m is None:
        raise ValueError("a reel without a length cannot be brought to 100 m")
    degc = conditions.temperature_degc
    temperature = measurement.ambient.get("temperature_degc") if degc is None else degc
    return ReelResult(
        length_m=length_m,
        temperature_degc=temperature,
        outcome=verdict.outcome,
        margins=tuple(_margins(verdict.rows)),
        failing=tuple(_failing(verdict)),
        doubts=verdict.doubts,
        notes=verdict.notes,
        constants=tuple(_constants(each, _highest_hz(requirement)) for each in locate(evaluation).constants),
        skew_ns_per_100m=_skew(evaluation, length_m),
        measured_at=_measured_at(measurement),
    )


def _margins(rows: Iterable[VerdictRow]) -> Iterator[ReelMargin]:
    """Yield the worst row of each parameter and end, with the worst outcome among all of them."""

    def place(row: VerdictRow) -> tuple[int, str]:
        return list(Parameter).index(row.parameter), row.end or ""

    for _, group in groupby(sorted(rows, key=place), key=place):
        found = list(group)
        outcome = min((row.outcome for row in found), key=_WORST_FIRST.index)
        # A trace without a margin might be worse than all others: then the worst is not known.
        unknown = next((row for row in found if row.worst_margin_db is None and not _idle(row)), None)
        known = [row for row in found if row.worst_margin_db is not None]
        worst = unknown or min(known, key=lambda row: row.worst_margin_db or 0.0, default=found[0])
        yield ReelMargin(
            worst.parameter,
            worst.end,
            worst.pairs,
            worst.worst_margin_db,
            worst.frequency_hz,
            worst.value,
            worst.limit,
            worst.expanded_uncertainty,
            outcome,
        )


def _idle(row: VerdictRow) -> bool:
    """Tell whether no point of a row counts, so that it passes without a margin."""
    return row.worst_margin_db is None and row.outcome is Outcome.PASS


def _failing(verdict: Verdict) -> Iterator[str]:
    """Yield what does not conform: faults of the wiring, then each row beyond its limit."""
    if verdict.wiring is not None:
        yield from (finding.words for finding in verdict.wiring.findings)
    for row in verdict.rows:
        if row.outcome not in _BAD:
            continue
        what = f"{row.parameter.term}, {f'end {row.end}, ' if row.end else ''}"
        what += (
            f"{'pairs' if len(row.pairs) > 1 else 'pair'} {'-'.join(row.pairs)}" if row.pairs else "all pairs"
        )
        margin = row.worst_margin_db
        if margin is None:
            yield f"{what}: {row.note}" if row.note else what
            continue
        far = "infinitely" if math.isinf(margin) else f"{abs(margin):.2f} {row.parameter.unit}"
        at = "" if row.frequency_hz is None else f" at {row.frequency_hz / 1e6:.2f} MHz"
        side = "outside" if margin < 0.0 else "inside"
        yield f"{what}: {far} {side} the limit{at}"


def _highest_hz(requirement: limits.Requirement) -> float:
    """Return the highest frequency with a limit; beyond it structure is of no concern."""
    return max(band.to_mhz for line in requirement.lines for band in line.bands) * 1e6


def _constants(each: CableConstants, highest_hz: float) -> ReelConstants:
    inside = each.frequency_hz <= highest_hz
    structural = np.where(inside, each.structural_return_loss_db, np.inf) if inside.any() else None
    place = int(np.argmin(each.structural_return_loss_db if structural is None else structural))
    worst, at_hz = float(each.structural_return_loss_db[place]), float(each.frequency_hz[place])
    at = int(np.searchsorted(each.frequency_hz, _FITTED_AT_HZ, side="right")) - 1
    return ReelConstants(
        each.end,
        each.pair,
        each.velocity_fraction,
        each.mean_impedance_ohm,
        float(each.fitted_impedance_ohm[max(at, 0)]),
        worst,
        at_hz,
        each.capacitance_nf_per_100m,
    )


def _skew(evaluation: Evaluation, length_m: float) -> float | None:
    traces = [trace for trace in evaluation.traces if trace.parameter is Parameter.SKEW]
    largest = max((float(np.max(trace.value)) for trace in traces if trace.value.size), default=math.nan)
    return largest * 100.0 / length_m if math.isfinite(largest) else None


def _measured_at(measurement: Measurement) -> str:
    """Return when a reel was measured: when its last hookup was swept, or when it was archived."""
    return max((raw.sweep.taken_at for raw in measurement.hookups), default="") or measurement.created_at
