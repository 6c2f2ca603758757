"""Values of check standards over many verifications."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from benchsweep.calibration.verification import (
    HistoryLimits,
    ewma_signals,
    expected_outside,
    history_limits,
)

__all__ = ["Followed", "follow", "series_of"]


@dataclass(frozen=True, slots=True)
class Followed:
    """One value of a check standard.

    Parameters
    ----------
    name
        Artefact, places, S-parameter and third of the grid, in words.
    value
        Deviation in phase with what is expected, linear; see `calibration.verification.follow_values`.
    uncertainty
        Expanded uncertainty of the definition and of the bench.
    limits
        Between what it should lie; None before that was looked up.
    ewma_signal
        Its moving average has left its limits.
    """

    name: str
    value: float
    uncertainty: float
    limits: HistoryLimits | None = None
    ewma_signal: bool = False


def series_of(entries: Sequence[Mapping[str, Any]]) -> dict[str, list[float]]:
    """Return name -> values, oldest first, of the verifications that were not refused."""
    found: dict[str, list[float]] = {}
    for entry in entries:
        if entry.get("decision") != "refuse":
            for name, (value, _) in entry.get("values", {}).items():
                found.setdefault(name, []).append(float(value))
    return found


def follow(
    values: Sequence[Followed], entries: Sequence[Mapping[str, Any]], *, artefacts: bool
) -> tuple[tuple[Followed, ...], tuple[str, ...]]:
    """Look up the limits of each value among earlier `entries`; return them, and what is worth a warning.

    Limits from the history are information: single values lie outside now and then. More than chance allows,
    or moving averages that have left theirs, are told.
    """
    if not artefacts:
        return tuple(values), ()
    earlier = series_of(entries)
    found = []
    for one in values:
        before = earlier.get(one.name, [])
        limits = history_limits(before, definition=0.0, uncertainty=one.uncertainty)
        chain = [*before, one.value]
        signal = limits.basis == "history" and len(chain) - 1 in ewma_signals(chain)
        found.append(replace(one, limits=limits, ewma_signal=signal))
    judged = [one for one in found if one.limits is not None and one.limits.basis == "history"]
    outside = [one for one in judged if one.limits is not None and not one.limits.holds(one.value)]
    told = []
    if judged and len(outside) > expected_outside(len(judged)):
        told.append(
            f"history: {len(outside)} of {len(judged)} values lie outside the limits of earlier "
            f"verifications, for example {outside[0].name}"
        )
    signals = [one for one in judged if one.ewma_signal]
    if judged and len(signals) > expected_outside(len(judged)):
        told.append(
            f"history: the moving averages of {len(signals)} of {len(judged)} values have left their limits, "
            f"for example {signals[0].name}: something changes slowly"
        )
    return tuple(found), tuple(told)
