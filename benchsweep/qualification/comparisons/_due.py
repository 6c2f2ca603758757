"""When channels and testers are due, and the interval that the history of each suggests."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Literal

from benchsweep.errors import UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    FieldTesterState,
    days_between,
    moment,
    told_once,
)
from benchsweep.qualification.comparisons._rules import comparison_rules
from benchsweep.qualification.comparisons._stability import stability
from benchsweep.records import Agreement, Comparison, Due
from benchsweep.statistics import agreement

__all__ = ["day_of", "due_of_channel", "due_of_tester", "why_not_due", "worst_e_number"]


def day_of(at: str) -> str:
    """Return a moment that a person gave as ISO 8601 in UTC; empty: now.

    Raises
    ------
    UsageError
        It is no day and no time.
    """
    if not at:
        return utc_now()
    try:
        found = datetime.fromisoformat(at)
    except ValueError:
        raise UsageError(f"{at!r} is no day", hint="Write it as 2026-11-28.") from None
    return (found if found.tzinfo is not None else found.replace(tzinfo=UTC)).isoformat()


def due_of_channel(name: str, state: ChannelState, matings: Sequence[str] = (), *, at: str = "") -> Due:
    """Return when a channel is due on the bench.

    The staircase goes by the largest part of what is allowed of any check value. Where it is told when
    testers were compared on it, the method of in-use time goes by the matings; the shorter one is suggested.

    Parameters
    ----------
    matings
        When testers were compared on it (ISO 8601).
    at
        As on this moment; empty: now.
    """
    followed = sorted(state.followed, key=lambda each: moment(each.measured_at))
    found: list[tuple[str, str, float]] = []
    for place, each in enumerate(followed[1:], start=1):
        before = [one for one in followed[:place] if one.accepted]
        share = stability(before, each.checks).share
        if share is not None:
            found.append((followed[place - 1].measured_at, each.measured_at, share))
    days = [(days_between(first, last), share) for first, last, share in found]
    suggested, method, words = agreement.staircase(
        state.every_days, [(passed, share) for passed, share in days if passed >= 1.0]
    )
    counting = [each for each in followed if each.accepted]
    last = counting[-1].measured_at if counting else ""
    note = ""
    if state.measured and not followed:
        note = "no record counts since it was returned to use, or none was let count"
    elif followed and not followed[-1].accepted:
        day = followed[-1].measured_at[:10]
        note = f"the record of {day}, with which its check values moved, puts nothing off"
    by_use = _by_use(state, found, matings)
    if by_use is not None and by_use.days is not None:
        words = f"{words}; by use: {by_use.words}"
        if suggested is None or by_use.days < suggested:
            suggested, method = by_use.days, by_use.method
    return _due("channel", name, last, state, (suggested, method, words), note, at)


def _by_use(
    state: ChannelState, found: Sequence[tuple[str, str, float]], matings: Sequence[str]
) -> agreement.IntervalSuggestion | None:
    """Return what the number of matings suggests; None where there are none."""
    moments = [moment(each) for each in matings] + [moment(each.measured_at) for each in state.measured]
    if not matings or not found:
        return None
    begin, end = min(moments), max(moments)
    days = (end - begin).total_seconds() / 86400.0
    if days <= 0.0:
        return None
    per_day = len(moments) / days
    used = [
        (float(sum(moment(first) < each <= moment(last) for each in moments)), share)
        for first, last, share in found
    ]
    return agreement.in_use(state.every_days * per_day, used, uses_per_day=per_day)


def due_of_tester(name: str, state: FieldTesterState, *, at: str = "") -> Due:
    """Return when a tester is due to be compared; the staircase goes by its largest |E_n| each time.

    It is due from the day on which it agreed last, in enough traces: what disagrees, was undecided or told of
    few traces puts nothing off. What was found before a repair counts as well for the staircase:
    the interval is about how testers are found.
    """
    compared = sorted(told_once(state.compared), key=lambda event: moment(event.comparison.when))
    found = [
        (event.comparison.when, abs(share))
        for event in compared
        if (share := worst_e_number(event.comparison)) is not None
    ]
    counting = [
        event
        for event in compared
        if not why_not_due(event.comparison)
        and (not state.returned_at or moment(event.comparison.when) > moment(state.returned_at))
    ]
    last = counting[-1].comparison.when if counting else ""
    days, method, words = agreement.staircase(state.every_days, _by_day(found))
    note = ""
    if compared and (not counting or compared[-1] is not counting[-1]):
        newest = compared[-1].comparison
        why = why_not_due(newest) or "it is from before the tester was returned to use"
        note = f"the comparison of {newest.when[:10]} puts nothing off: {why}"
    return _due("tester", name, last, state, (days, method, words), note, at)


def why_not_due(comparison: Comparison) -> str:
    """Return why a comparison does not count as the one that was due, in words; empty: it counts."""
    if comparison.outcome is Agreement.UNDECIDED:
        return "it is undecided"
    if comparison.outcome is Agreement.DISAGREES:
        return "it disagrees: adjust or repair the tester, or withdraw it"
    if not comparison.whole_band:
        return "the tester told a part of the band only"
    decided = sum(row.outcome is not Agreement.UNDECIDED for row in comparison.rows)
    share = comparison_rules().compare.due_share
    if decided < share * comparison.limited:
        return f"it decided {decided} of {comparison.limited} traces with a limit, {share:.0%} are needed"
    return ""


def _by_day(found: Sequence[tuple[str, float]]) -> list[tuple[float, float]]:
    """Return the days since the time before and the largest share, results of one day taken together.

    The first day has none before it.
    """
    days: list[tuple[str, float]] = []
    for at, share in found:
        if days and days_between(days[-1][0], at) < 1.0:
            days[-1] = (days[-1][0], max(days[-1][1], share))
        else:
            days.append((at, share))
    return [(days_between(first, at), share) for (first, _), (at, share) in pairwise(days)]


def worst_e_number(comparison: Comparison) -> float | None:
    """Return the E_n of the largest magnitude of the rows that were decided; None where none was.

    Of an undecided row a part of the uncertainty is missing: its E_n is larger than it should be.
    """
    if any(suspicion.hinders for suspicion in comparison.suspicions):
        return None
    rows = (row for row in comparison.rows if row.outcome is not Agreement.UNDECIDED)
    found = [row.decisive.e_n for row in rows if row.decisive is not None]
    return max((each for each in found if each is not None), key=abs, default=None)


def _due(
    kind: Literal["channel", "tester"],
    name: str,
    last: str,
    state: ChannelState | FieldTesterState,
    suggestion: tuple[float | None, str, str],
    note: str,
    at: str,
) -> Due:
    days, method, words = suggestion
    when, left = "", None
    if last:
        end = moment(last) + timedelta(days=state.every_days)
        when = end.isoformat(timespec="seconds")
        left = days_between(day_of(at), end.isoformat())
    return Due(
        kind=kind,
        name=name,
        last=last,
        due=when,
        days_left=left,
        interval_days=state.every_days,
        suggested_days=days,
        method=method,
        words=words,
        withdrawn=state.withdrawn is not None,
        note=note,
    )
