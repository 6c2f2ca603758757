from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from benchsweep.errors import LotRefused
from benchsweep.records import LotEvent

__all__ = ["CLOCKS_APART_S", "check_clock", "clock_doubts", "seconds_before"]

CLOCKS_APART_S = 120.0
"""So far the clocks of two stations may be apart, in seconds: an entry that is older by less is no sign of
anything. Clocks set by the network are within a second, those set by hand within a minute or two (from
memory)."""


def seconds_before(first: str, second: str) -> float:
    """Return by how many seconds a time (ISO 8601 with its offset) is before another one.

    Examples
    --------
    >>> seconds_before("2026-11-02T08:15:00+00:00", "2026-11-02T09:16:00+01:00")
    60.0
    """
    return (datetime.fromisoformat(second) - datetime.fromisoformat(first)).total_seconds()


def check_clock(events: Sequence[LotEvent], event: LotEvent) -> None:
    """Refuse an entry that is older than one before it, by more than `CLOCKS_APART_S`.

    Lots follow each other under the switching rules by the times of their entries, so these must not go back.
    It is asked when an entry is added and not when a history is read: `clock_doubts` tells then.

    Raises
    ------
    LotRefused
    """
    last = max(events, key=lambda each: datetime.fromisoformat(each.at), default=event)
    if seconds_before(event.at, last.at) > CLOCKS_APART_S:
        raise LotRefused(
            f"the clock here says {_shown(event.at)}, but an entry of this lot is of {_shown(last.at)}, by "
            f"{last.by}: the clock was set back",
            hint="Set the clock right and do it again. If that entry has the wrong time, open the lot anew "
            "under another name with the same --seed, and add its records there with --reuse.",
        )


def clock_doubts(events: Sequence[LotEvent]) -> tuple[str, ...]:
    """Return which entries of a history are older than one before them, in words."""
    back: list[tuple[int, str, str]] = []
    latest = events[0].at if events else ""
    for number, event in enumerate(events, start=1):
        apart = seconds_before(event.at, latest)
        if apart > CLOCKS_APART_S:
            back.append((number, event.at, latest))
        if apart < 0.0:
            latest = event.at
    if not back:
        return ()
    number, at, before = back[0]
    more = f"; {len(back) - 1} more entries are older than one before them" if len(back) > 1 else ""
    words = f"a clock was set back: entry {number} is of {_shown(at)}, one before it of {_shown(before)}"
    return (words + more,)


def _shown(at: str) -> str:
    """Return a time with its seconds, as entries have it: in UTC."""
    return at.partition(".")[0].replace("T", " ").removesuffix("+00:00") + " UTC"
