"""From the margins of a trace and their uncertainty to a row of the verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable

from benchsweep.limits._decision import Decision
from benchsweep.limits._margins import Margins
from benchsweep.records import Interval, Outcome, VerdictRow

__all__ = ["judged", "worst_outcome"]

_WORST_FIRST = (
    Outcome.FAIL,
    Outcome.CONDITIONAL_FAIL,
    Outcome.UNDECIDED,
    Outcome.CONDITIONAL_PASS,
    Outcome.PASS,
)


def worst_outcome(outcomes: Iterable[Outcome]) -> Outcome:
    """Return the outcome of a whole: a pass when there is nothing that speaks against it."""
    found = set(outcomes)
    return next((outcome for outcome in _WORST_FIRST if outcome in found), Outcome.PASS)


def judged(
    margins: Margins, decision: Decision, interval: Interval | None, *, contains_uncertainty: bool
) -> VerdictRow:
    """Return the row of a trace.

    Of the points that may decide, the one with the worst outcome does: a point that is beyond its limit by
    more than its own guard band fails, however much wider the guard band of another is. Of several with that
    outcome it is the worst-margin point if it is among them, else the one with the smallest margin less guard
    band. So the guard band of a row is that of the point that it tells, unless its note names another.

    Parameters
    ----------
    margins
        The points that may decide, the worst-margin point first.
    interval
        Their expanded uncertainty; None without a budget.
    contains_uncertainty
        True when the limit allows for the uncertainty already: the guard band is zero.
    """
    bands = _guard_bands(margins, decision, interval, contains_uncertainty=contains_uncertainty)
    margin = margins.margin.tolist()
    outcomes = [decision.outcome(m, band) for m, band in zip(margin, bands, strict=True)]
    deciding = min(
        range(len(bands)),
        key=lambda at: (_WORST_FIRST.index(outcomes[at]), at > 0, _distance(margin[at], bands[at])),
    )
    outcome = outcomes[deciding]
    notes = [margins.note]
    if outcome is not outcomes[0]:
        notes.append(_elsewhere(margins, deciding, bands[deciding]))
    if outcome is Outcome.UNDECIDED:
        notes.append(_why_undecided(interval))
    doubt = margins.adjusted.doubt
    if doubt and outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
        outcome = Outcome.UNDECIDED
        notes.append(doubt)
    if margins.uncovered:
        notes.append(f"not measured from {margins.uncovered}")
        if outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
            outcome = Outcome.UNDECIDED  # the numbers are those of the part that was measured
    worst = margins.points[0]
    low = None if interval is None else float(interval.low[0])
    high = None if interval is None else float(interval.high[0])
    return VerdictRow(
        *margins.key,
        worst_margin_db=margin[0],
        frequency_hz=float(margins.frequency_hz[worst]),
        value=float(margins.adjusted.value[worst]),
        limit=float(margins.limit[0]),
        expanded_uncertainty=None if low is None or high is None else max(low, high),
        outcome=outcome,
        standing=margins.standing,
        note="; ".join(note for note in notes if note),
        uncertainty_low=low,
        uncertainty_high=high,
        guard_band=bands[deciding] if decision.has_guard_band else None,
    )


def _guard_bands(
    margins: Margins, decision: Decision, interval: Interval | None, *, contains_uncertainty: bool
) -> list[float | None]:
    """Return w at every point: factor times the uncertainty towards the limit; None where it is not known."""
    count = margins.points.size
    if contains_uncertainty:
        return [0.0] * count
    if interval is None:
        return [None] * count
    side = interval.low if margins.line.sense == "min" else interval.high
    if side.size != count:
        raise ValueError(f"{count} points were asked about, {side.size} uncertainties came")
    return list((decision.factor * side).tolist())


def _distance(margin: float, guard_band: float | None) -> float:
    """Return how far a point lies inside its acceptance limit; minus infinity where nobody knows."""
    if guard_band is None:
        return margin
    return margin - guard_band if math.isfinite(guard_band) else -math.inf


def _elsewhere(margins: Margins, at: int, guard_band: float | None) -> str:
    unit = margins.key[0].unit
    where = f"{margins.frequency_hz[margins.points[at]] / 1e6:.6g} MHz"
    band = "not known" if guard_band is None else f"{guard_band:.2f} {unit}"
    return f"decided at {where}: margin {margins.margin[at]:+.2f} {unit}, guard band {band}"


def _why_undecided(interval: Interval | None) -> str:
    if interval is None:
        return "there is no uncertainty budget, so the guard band is not known"
    return "the residual errors may be as large as the signal, so no guard band can be stated"
