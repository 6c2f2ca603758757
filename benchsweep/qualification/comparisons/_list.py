"""What is due, and all channels, testers and studies of an archive in short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from benchsweep.archive.references import ReferenceKind, read_history
from benchsweep.archive.references import list_references as reference_files
from benchsweep.qualification.comparisons._due import day_of, due_of_channel, due_of_tester
from benchsweep.qualification.comparisons._everyone import Everyone, everyone, tell
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    FieldTesterState,
    Root,
    Unread,
    moment,
    telling,
    withdrawn_words,
)
from benchsweep.qualification.comparisons._stability import newest_stability
from benchsweep.records import Agreement, Due, ReferenceEvent, StudyMeasured, StudyPlanned

__all__ = ["ReferenceRow", "due", "list_references"]


@dataclass(frozen=True, slots=True)
class ReferenceRow:
    """A channel, tester or study in short.

    Parameters
    ----------
    kind, name
        Which.
    words
        ``what``, ``name``, ``stands``, ``results``, ``last``, ``due``, of testers ``accuracy``: for people.
    results
        So many bench records, comparisons or runs.
    withdrawn
        Why it must not be used; empty: it may be.
    due
        When it is due; None for a study.
    outcome
        Of the last comparison of a tester; None for others.
    """

    kind: ReferenceKind
    name: str
    words: Mapping[str, str]
    results: int
    withdrawn: str = ""
    due: Due | None = None
    outcome: Agreement | None = None


def due(folder: Root, *, at: str = "", unread: Unread | None = None) -> tuple[Due, ...]:
    """Return when every channel and tester of an archive is due, the most urgent first.

    Parameters
    ----------
    at
        As on this day (ISO 8601); empty: now.
    unread
        Gets the histories that cannot be read; they stop nothing then.

    Raises
    ------
    UsageError
        `at` is no day.
    ArchiveError
        A history cannot be read, and `unread` is not given.
    """
    day = day_of(at)
    every = everyone(folder)
    tell(folder, every, unread)
    found = [
        *(due_of_channel(name, state, every.matings(name), at=day) for name, state in every.channels.items()),
        *(due_of_tester(name, state, at=day) for name, state in every.testers.items()),
    ]
    return tuple(
        sorted(
            found,
            key=lambda each: (
                each.withdrawn,
                each.days_left is not None,
                each.days_left or 0.0,
                each.kind,
                each.name,
            ),
        )
    )


def list_references(folder: Root, *, unread: Unread | None = None) -> tuple[ReferenceRow, ...]:
    """Return the channels, testers and studies of an archive, by kind and name; `unread` as in `due`.

    Raises
    ------
    ArchiveError
        A history cannot be read, and `unread` is not given, or the folder cannot be listed.
    """
    every = everyone(folder)
    tell(folder, every, unread)
    rows = [_channel_row(name, state, every) for name, state in sorted(every.channels.items())]
    rows += [_tester_row(name, state) for name, state in sorted(every.testers.items())]
    for file in reference_files(folder, "study"):
        with telling(file.path, unread):
            rows.append(_study_row(file.name, read_history(file.path, must_exist=True).events))
    return tuple(rows)


def _words(what: str, name: str, stands: str, results: int, found: Due | None) -> Mapping[str, str]:
    when = "" if found is None or found.withdrawn else found.due[:10] or "at once"
    last = "" if found is None else found.last[:10]
    return MappingProxyType(
        {
            "what": what,
            "name": name,
            "stands": stands,
            "results": str(results),
            "last": last,
            "due": when,
        }
    )


def _channel_row(name: str, state: ChannelState, every: Everyone) -> ReferenceRow:
    found = due_of_channel(name, state, every.matings(name))
    newest = newest_stability(state)
    stands = "in use" if state.baseline else "none counts yet" if state.measured else "not measured yet"
    if newest is not None and newest.beyond:
        stands = "has moved"
    if state.withdrawn is not None:
        stands = "withdrawn"
    count = len(state.measured)
    words = _words("channel", name, stands, count, found)
    return ReferenceRow("channel", name, words, count, withdrawn_words(state.withdrawn), found)


def _tester_row(name: str, state: FieldTesterState) -> ReferenceRow:
    found = due_of_tester(name, state, at="")
    newest = max(state.compared, key=lambda event: moment(event.comparison.when), default=None)
    outcome = None if newest is None else newest.comparison.outcome
    stands = "withdrawn" if state.withdrawn is not None else (outcome or "not compared yet")
    count = len(state.compared)
    words = MappingProxyType(
        {**_words("tester", name, str(stands), count, found), "accuracy": state.accuracy or "none"}
    )
    return ReferenceRow("tester", name, words, count, withdrawn_words(state.withdrawn), found, outcome)


def _study_row(name: str, events: Sequence[ReferenceEvent]) -> ReferenceRow:
    planned = events[0]
    runs = planned.design.runs if isinstance(planned, StudyPlanned) else ()
    measured = {event.number for event in events if isinstance(event, StudyMeasured)}
    left = len(runs) - len(measured)
    stands = "complete" if left == 0 else f"{left} of {len(runs)} runs to do"
    words = _words("study", name, stands, len(measured), None)
    last = max((event.at for event in events if isinstance(event, StudyMeasured)), default="")
    return ReferenceRow("study", name, MappingProxyType({**words, "last": last[:10]}), len(measured))
