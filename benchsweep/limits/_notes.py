"""What a reader of a verdict must know, in words."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.limits._decision import Decision
from benchsweep.limits._requirement import Requirement
from benchsweep.records import VerdictRow, WiringReport

__all__ = ["dc_notes", "decision_notes", "length_note", "standing_notes", "wiring_notes"]

# Electrical lengths are known to about a per cent, as the velocity is.
_EXCESS = 1.01


def length_note(requirement: Requirement, length_m: float | None) -> str:
    """Return in words that a specimen is longer than usual for its configuration; empty when it is not.

    It never decides anything. One per cent is allowed for what a velocity is not known to.

    Parameters
    ----------
    length_m
        As told, or electrical: delay times velocity. None when unknown.
    """
    usual = requirement.length
    if usual is None or length_m is None or length_m <= usual.maximum_m * _EXCESS:
        return ""
    return (
        f"a length of {length_m:.1f} m exceeds the usual {usual.maximum_m:g} m of a "
        f"{requirement.configuration.replace('-', ' ')} ({usual.standing}: {usual.source}); "
        "this decides nothing"
    )


def dc_notes(requirement: Requirement) -> list[str]:
    """Return that limits at direct current were not graded, and what they are."""
    if not requirement.dc:
        return []
    listed = "; ".join(f"{item.quantity} at most {item.maximum:g} {item.unit}" for item in requirement.dc)
    return [f"not graded, because a network analyzer does not measure direct current: {listed}"]


def wiring_notes(wiring: WiringReport | None) -> list[str]:
    """Return what the wiring check means."""
    if wiring is None:
        return []
    kinds = list(dict.fromkeys(finding.kind for finding in wiring.findings))
    notes = [
        "the wiring could not be told for certain" if kind == "unclear" else f"fails for its wiring: {kind}"
        for kind in kinds
    ]
    return notes if wiring.checked or notes else ["the wiring was not checked"]


def decision_notes(requirement: Requirement, decision: Decision, *, assessed: bool) -> list[str]:
    """Return what the decision rule means, and where it takes no guard band."""
    if not (assessed or decision.has_guard_band):
        return []
    holding = [line.parameter for line in requirement.lines if requirement.allows_for_uncertainty(line)]
    if not (decision.has_guard_band and holding):
        return [decision.statement]
    named = ", ".join(parameter.term for parameter in holding)
    return [
        decision.statement,
        f"no guard band is taken where the limit contains the uncertainty of measurement already: {named}",
    ]


def standing_notes(rows: Sequence[VerdictRow]) -> list[str]:
    """Return which limits want checking against the standard."""
    notes = []
    for standing in ("common-practice", "from-memory"):
        parameters = list(dict.fromkeys(row.parameter for row in rows if row.standing == standing))
        if parameters:
            notes.append(
                f"limits of standing {standing}: "
                + ", ".join(parameter.term for parameter in parameters)
                + "; verify them against your own copy of the standard"
            )
    return notes
