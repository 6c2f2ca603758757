"""Histories of channels, testers and studies: read, added to, and what their entries mean together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from typing import cast

from benchsweep.archive.references import ReferenceFile, ReferenceHistory, ReferenceKind
from benchsweep.errors import ReferenceRefused, UsageError
from benchsweep.qualification._histories import Root, Unread, local_archive, telling
from benchsweep.qualification._now import utc_now
from benchsweep.records import (
    AccuracyDeclared,
    BenchMeasured,
    ChannelRegistered,
    Comparison,
    FieldTesterCompared,
    FieldTesterRegistered,
    IntervalChanged,
    ReferenceEvent,
    Returned,
    Withdrawn,
)

__all__ = [
    "LEFT_OUT",
    "ChannelState",
    "FieldTesterState",
    "Root",
    "Unread",
    "append_to",
    "checked_days",
    "days_between",
    "declared_accuracy",
    "earlier_than",
    "happened_words",
    "local_archive",
    "moment",
    "refuse_behind",
    "refuse_in_use",
    "refuse_withdrawn",
    "same_told",
    "state_of_channel",
    "state_of_tester",
    "telling",
    "told_moment",
    "told_once",
    "withdrawal",
    "withdrawn_words",
]

LEFT_OUT = "left out: "
"""What is said of a bench record begins so when a person did not let it count; the reason follows."""
_MOST_DAYS = 36_525.0


@dataclass(frozen=True, slots=True)
class ChannelState:
    """What the history of a channel says.

    Parameters
    ----------
    registered
        Its first entry.
    measured
        Bench records, as they were added.
    baseline
        Those that count: accepted, and added after it was returned to use last; as they were measured.
    followed
        Those since then, also those with which it had moved, but not those that a person left out.
    withdrawn
        By whom, when and why it was withdrawn; None: it may be used.
    every_days
        Interval in force.
    """

    registered: ChannelRegistered
    measured: tuple[BenchMeasured, ...]
    baseline: tuple[BenchMeasured, ...]
    followed: tuple[BenchMeasured, ...]
    withdrawn: Withdrawn | None
    every_days: float


@dataclass(frozen=True, slots=True)
class FieldTesterState:
    """What the history of a tester says.

    Parameters
    ----------
    registered
        Its first entry.
    compared
        Comparisons, as they were made.
    alike
        Those since the tester was last changed: returned to use, or compared after repairs; as it measured.
        What it told once counts once, as compared last; not at all where it was compared before the change
        already.
    withdrawn, every_days
        As `ChannelState`.
    accuracy
        Name of the declared accuracy in force; empty: none.
    returned_at
        When it was returned to use last; empty: it never was withdrawn.
    """

    registered: FieldTesterRegistered
    compared: tuple[FieldTesterCompared, ...]
    alike: tuple[FieldTesterCompared, ...]
    withdrawn: Withdrawn | None
    every_days: float
    accuracy: str
    returned_at: str = ""


def state_of_channel(events: Sequence[ReferenceEvent]) -> ChannelState:
    """Return what the entries of a channel, as `ReferenceFile.history` returns them, say together."""
    registered = cast("ChannelRegistered", events[0])
    measured = tuple(event for event in events if isinstance(event, BenchMeasured))
    since = _since(events, lambda event: isinstance(event, Returned))
    new = [event for event in since if isinstance(event, BenchMeasured)]
    new.sort(key=lambda event: moment(event.measured_at))
    return ChannelState(
        registered,
        measured,
        tuple(event for event in new if event.accepted),
        tuple(event for event in new if event.accepted or not event.words.startswith(LEFT_OUT)),
        withdrawal(events),
        _every_days(events, registered.every_days),
    )


def state_of_tester(events: Sequence[ReferenceEvent]) -> FieldTesterState:
    """Return what the entries of a tester, as `ReferenceFile.history` returns them, say together."""
    registered = cast("FieldTesterRegistered", events[0])
    compared = tuple(event for event in events if isinstance(event, FieldTesterCompared))

    def changed(event: ReferenceEvent) -> bool:
        return isinstance(event, Returned) or (isinstance(event, FieldTesterCompared) and bool(event.repairs))

    alike = [event for event in _since(events, changed) if isinstance(event, FieldTesterCompared)]
    before = {_what_it_told(event) for event in compared[: len(compared) - len(alike)]}
    counting = [event for event in told_once(alike) if _what_it_told(event) not in before]
    return FieldTesterState(
        registered,
        compared,
        tuple(sorted(counting, key=lambda event: moment(event.comparison.when))),
        withdrawal(events),
        _every_days(events, registered.every_days),
        declared_accuracy(events),
        max((event.at for event in events if isinstance(event, Returned)), default=""),
    )


def declared_accuracy(events: Sequence[ReferenceEvent]) -> str:
    """Return the name of the accuracy that was declared last for a tester; empty: none."""
    for event in reversed(events):
        if isinstance(event, AccuracyDeclared | FieldTesterRegistered):
            return event.accuracy
    return ""


def told_once(compared: Sequence[FieldTesterCompared]) -> tuple[FieldTesterCompared, ...]:
    """Return comparisons without those whose file or numbers were compared again later, on that channel.

    What tells no day was measured no later than it was compared first.
    """
    last = {_what_it_told(event): place for place, event in enumerate(compared)}
    first = {_what_it_told(event): event.at for event in reversed(compared)}
    return tuple(
        _measured_by(event, first[_what_it_told(event)])
        for place, event in enumerate(compared)
        if last[_what_it_told(event)] == place
    )


def _measured_by(event: FieldTesterCompared, first: str) -> FieldTesterCompared:
    told = event.comparison
    if told.measured_at or first == event.at:
        return event
    return replace(event, comparison=replace(told, measured_at=first))


def same_told(
    compared: Sequence[FieldTesterCompared], channel: str, digest: str, typed: Sequence[str]
) -> int | None:
    """Return the number, from 1, of the comparison of the same file or numbers; None where there is none."""
    wanted = (channel, digest, () if digest else tuple(typed))
    numbers = (number for number, event in enumerate(compared, start=1) if _what_it_told(event) == wanted)
    return next(numbers, None)


def earlier_than(
    state: FieldTesterState, channel: str, digest: str, typed: Sequence[str]
) -> tuple[Comparison, ...]:
    """Return the comparisons that count besides the one of this file or these numbers."""
    this = (channel, digest, () if digest else tuple(typed))
    return tuple(event.comparison for event in state.alike if _what_it_told(event) != this)


def _what_it_told(event: FieldTesterCompared) -> tuple[str, str, tuple[str, ...]]:
    told = event.comparison
    return told.channel, told.source_digest, () if told.source_digest else event.typed


def _since(
    events: Sequence[ReferenceEvent], new_start: Callable[[ReferenceEvent], bool]
) -> Sequence[ReferenceEvent]:
    """Return the entries from the last one on with which everything starts anew."""
    for place in range(len(events) - 1, -1, -1):
        if new_start(events[place]):
            return events[place:]
    return events


def withdrawal(events: Sequence[ReferenceEvent]) -> Withdrawn | None:
    """Return how a channel or tester was withdrawn; None while it may be used."""
    last: Withdrawn | None = None
    for event in events:
        if isinstance(event, Withdrawn):
            last = event
        elif isinstance(event, Returned):
            last = None
    return last


def withdrawn_words(withdrawn: Withdrawn | None) -> str:
    """Return by whom, when and why; empty while it may be used."""
    return "" if withdrawn is None else f"{withdrawn.reason} ({withdrawn.by}, {withdrawn.at[:10]})"


def _every_days(events: Sequence[ReferenceEvent], first: float) -> float:
    changed = [event.every_days for event in events if isinstance(event, IntervalChanged)]
    return changed[-1] if changed else first


def happened_words(events: Sequence[ReferenceEvent]) -> tuple[str, ...]:
    """Return what happened besides measuring, oldest first: a day, what, by whom and why."""
    told: list[str] = []
    for event in events:
        if isinstance(event, Withdrawn | Returned):
            what = "withdrawn" if isinstance(event, Withdrawn) else "returned to use"
        elif isinstance(event, IntervalChanged):
            what = f"every {event.every_days:g} days"
        elif isinstance(event, AccuracyDeclared):
            what = f"accuracy {event.accuracy or 'none'}"
        else:
            continue
        told.append(f"{event.at[:10]} {what}, by {event.by}: {event.reason}")
    return tuple(told)


def refuse_withdrawn(kind: ReferenceKind, name: str, events: Sequence[ReferenceEvent]) -> None:
    """Refuse to use what was withdrawn.

    Raises
    ------
    ReferenceRefused
    """
    withdrawn = withdrawal(events)
    if withdrawn is not None:
        raise ReferenceRefused(
            f"the {kind} {name} is withdrawn: {withdrawn_words(withdrawn)}",
            hint=f"Return it first: `benchsweep compare return {kind} …`, with the reason.",
        )


def refuse_in_use(kind: ReferenceKind, name: str, events: Sequence[ReferenceEvent]) -> None:
    """Refuse to return to use what was not withdrawn.

    Raises
    ------
    ReferenceRefused
    """
    if withdrawal(events) is None:
        raise ReferenceRefused(
            f"the {kind} {name} is not withdrawn", hint="It is in use; nothing is to be done."
        )


def append_to(
    file: ReferenceFile,
    event: ReferenceEvent,
    check: Callable[[tuple[ReferenceEvent, ...]], None] | None = None,
) -> ReferenceHistory:
    """Add an entry that is not older than those before it; see `ReferenceFile.append`.

    One that another station overtook while it was made is dated anew: it was added later.

    Raises
    ------
    ReferenceRefused
        It is older all the same: a clock was set back. And as `ReferenceFile.append`.
    """
    while True:
        try:
            return file.append(event, partial(_check_next, file, event.at, check))
        except _Overtaken as error:
            now = utc_now("microseconds")
            if moment(now) < moment(error.last):
                raise
            event = _dated(event, now)


class _Overtaken(ReferenceRefused):
    """The last entry is younger than the one to be added."""

    def __init__(self, file: ReferenceFile, last: str, at: str) -> None:
        super().__init__(
            f"the {file.kind} {file.name}: its last entry is of {last}, now it is {at}",
            hint="The clock of this station or of the other one is wrong: put it right first.",
        )
        self.last = last


def _check_next(
    file: ReferenceFile,
    at: str,
    check: Callable[[tuple[ReferenceEvent, ...]], None] | None,
    events: tuple[ReferenceEvent, ...],
) -> None:
    refuse_behind(file, at, events)
    if check is not None:
        check(events)


def refuse_behind(file: ReferenceFile, at: str, events: Sequence[ReferenceEvent]) -> None:
    """Refuse an entry that would be older than the last one.

    Raises
    ------
    ReferenceRefused
    """
    if moment(at) < moment(events[-1].at):
        raise _Overtaken(file, events[-1].at, at)


def _dated(event: ReferenceEvent, at: str) -> ReferenceEvent:
    """Return an entry as added at another moment."""
    if isinstance(event, FieldTesterCompared):
        return replace(event, at=at, comparison=replace(event.comparison, at=at))
    return replace(event, at=at)


def moment(at: str) -> datetime:
    """Return an ISO 8601 time that has an offset; entries of histories have one."""
    return datetime.fromisoformat(at)


def told_moment(at: str) -> str:
    """Return a time that a file or a person told, in UTC where it tells no offset; empty: it is none."""
    try:
        found = datetime.fromisoformat(at)
    except ValueError:
        return ""
    return (found if found.tzinfo is not None else found.replace(tzinfo=UTC)).isoformat()


def days_between(first: str, second: str) -> float:
    """Return the days from one time to another, negative when the second is the earlier one."""
    return (moment(second) - moment(first)).total_seconds() / 86400.0


def checked_days(every_days: float) -> float:
    """Return an interval in days, refusing one that makes no sense.

    Raises
    ------
    UsageError
    """
    if not 1.0 <= every_days <= _MOST_DAYS:
        raise UsageError(
            f"an interval of {every_days:g} days makes no sense", hint="Give days, such as 90 or 365."
        )
    return float(every_days)
