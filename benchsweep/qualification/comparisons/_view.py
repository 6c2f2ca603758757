"""Reference channels and field testers as they stand, and all of an archive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Literal

from benchsweep import archive
from benchsweep.archive.references import (
    ReferenceFile,
    ReferenceHistory,
    ReferenceKind,
    read_history,
)
from benchsweep.archive.references import (
    list_references as reference_files,
)
from benchsweep.qualification.comparisons._drift import drift_of_channel, drift_of_tester, level_checks
from benchsweep.qualification.comparisons._due import day_of, due_of_channel, due_of_tester
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    FieldTesterState,
    Root,
    Unread,
    state_of_channel,
    state_of_tester,
    telling,
    withdrawn_words,
)
from benchsweep.qualification.comparisons._stability import Stability, stability
from benchsweep.records import (
    Agreement,
    BenchMeasured,
    ChannelRegistered,
    CheckLimits,
    Drift,
    Due,
    FieldTesterCompared,
    FieldTesterRegistered,
    LevelCheck,
    ReferenceEvent,
    StudyMeasured,
    StudyPlanned,
)

__all__ = [
    "ChannelView",
    "FieldTesterView",
    "ReferenceRow",
    "due",
    "exit_code_of_channel",
    "list_references",
    "read_channel",
    "read_tester",
    "view_of_channel",
    "view_of_tester",
]


@dataclass(frozen=True, eq=False)
class ChannelView:
    """A reference channel as it stands.

    Parameters
    ----------
    folder, path
        Its archive, and the file of its history.
    registered
        Its first entry.
    measured
        Bench records, oldest first.
    baseline
        Those that count: accepted, since it was returned to use last.
    limits
        Check value -> its limits, from the baseline before the newest record; empty when it is too short.
    moved
        Check values of the newest record beyond them, each in a sentence.
    stable
        What was found of the newest record, in words; empty without records.
    withdrawn
        By whom, when and why; empty: it may be used.
    every_days
        Interval in force.
    events, digest
        Its whole history, and what names it.
    """

    folder: Root
    path: archive.Source
    registered: ChannelRegistered
    measured: tuple[BenchMeasured, ...]
    baseline: tuple[BenchMeasured, ...]
    limits: Mapping[str, CheckLimits]
    moved: tuple[str, ...]
    stable: str
    withdrawn: str
    every_days: float
    events: tuple[ReferenceEvent, ...]
    digest: str
    _unfinished: int = 0

    @property
    def name(self) -> str:
        """What it is called."""
        return self.registered.channel

    @cached_property
    def _every(self) -> _All:
        return _all_of(self.folder)

    @cached_property
    def drift(self) -> Drift:
        """Whether something drifts, and what; the other channels of the archive are looked at."""
        others = {name: each for name, each in self._every.channels.items() if name != self.name}
        return drift_of_channel(self.name, state_of_channel(self.events), others)

    @cached_property
    def due(self) -> Due:
        """When it is to be measured again, as of now; the testers of the archive are looked at."""
        return due_of_channel(self.name, state_of_channel(self.events), self._every.matings(self.name))

    @property
    def doubts(self) -> tuple[str, ...]:
        """What a reader must know first, in words."""
        return (*_unfinished_words(self._unfinished), *_unread_words(self._every.unread, self.path))


@dataclass(frozen=True, eq=False)
class FieldTesterView:
    """A field tester as it stands.

    Parameters
    ----------
    folder, path, withdrawn, every_days, events, digest
        As `ChannelView`.
    registered
        Its first entry.
    compared
        Comparisons, oldest first.
    levels
        Parameter -> whether it is still linear at a low, middle and high value; see `level_checks`.
    """

    folder: Root
    path: archive.Source
    registered: FieldTesterRegistered
    compared: tuple[FieldTesterCompared, ...]
    levels: Mapping[str, LevelCheck]
    withdrawn: str
    every_days: float
    events: tuple[ReferenceEvent, ...]
    digest: str
    _unfinished: int = 0

    @property
    def name(self) -> str:
        """What it is called."""
        return self.registered.tester

    @cached_property
    def _every(self) -> _All:
        return _all_of(self.folder)

    @cached_property
    def drift(self) -> Drift:
        """Whether something drifts, and what; channels and other testers of the archive are looked at."""
        others = {name: each for name, each in self._every.testers.items() if name != self.name}
        return drift_of_tester(self.name, state_of_tester(self.events), others, self._every.channels)

    @cached_property
    def due(self) -> Due:
        """When it is to be compared again, as of now."""
        return due_of_tester(self.name, state_of_tester(self.events), at="")

    @property
    def doubts(self) -> tuple[str, ...]:
        """What a reader must know first, in words."""
        return (*_unfinished_words(self._unfinished), *_unread_words(self._every.unread, self.path))


@dataclass(frozen=True, slots=True)
class ReferenceRow:
    """A channel, tester or study in short.

    Parameters
    ----------
    kind, name
        Which.
    words
        ``what``, ``name``, ``stands``, ``results``, ``last``, ``due``: for people.
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


@dataclass(frozen=True, slots=True)
class _All:
    """States of all channels and testers of an archive, by name."""

    channels: dict[str, ChannelState] = field(default_factory=dict)
    testers: dict[str, FieldTesterState] = field(default_factory=dict)
    unread: Unread = field(default_factory=list)

    def matings(self, channel: str) -> list[str]:
        """Return when testers were compared on a channel."""
        events = (event for state in self.testers.values() for event in state.compared)
        return [event.at for event in events if event.comparison.channel == channel]


def read_channel(folder: Root, name: str) -> ChannelView:
    """Return a reference channel as it stands.

    Raises
    ------
    UnknownName
        There is none of that name.
    ArchiveError
        Its history cannot be read.
    """
    file = ReferenceFile(folder, "channel", name)
    return view_of_channel(folder, file, file.history())


def read_tester(folder: Root, name: str) -> FieldTesterView:
    """Return a field tester as it stands; raises as `read_channel`."""
    file = ReferenceFile(folder, "tester", name)
    return view_of_tester(folder, file, file.history())


def view_of_channel(folder: Root, file: ReferenceFile, history: ReferenceHistory) -> ChannelView:
    """Return what the history of a channel tells."""
    state = state_of_channel(history.events)
    newest = _newest(state)
    return ChannelView(
        folder=folder,
        path=file.path,
        registered=state.registered,
        measured=state.measured,
        baseline=state.baseline,
        limits=newest.limits if newest is not None else MappingProxyType({}),
        moved=newest.beyond if newest is not None else (),
        stable=newest.words if newest is not None else "",
        withdrawn=withdrawn_words(state.withdrawn),
        every_days=state.every_days,
        events=history.events,
        digest=history.digest,
        _unfinished=history.unfinished,
    )


def view_of_tester(folder: Root, file: ReferenceFile, history: ReferenceHistory) -> FieldTesterView:
    """Return what the history of a tester tells."""
    state = state_of_tester(history.events)
    return FieldTesterView(
        folder=folder,
        path=file.path,
        registered=state.registered,
        compared=state.compared,
        levels=level_checks(state.alike),
        withdrawn=withdrawn_words(state.withdrawn),
        every_days=state.every_days,
        events=history.events,
        digest=history.digest,
        _unfinished=history.unfinished,
    )


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
    every = _all_of(folder)
    _tell(every, unread)
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
    every = _all_of(folder)
    _tell(every, unread)
    rows = [_channel_row(name, state, every) for name, state in sorted(every.channels.items())]
    rows += [_tester_row(name, state) for name, state in sorted(every.testers.items())]
    for file in reference_files(folder, "study"):
        with telling(file.path, unread):
            rows.append(_study_row(file.name, read_history(file.path, must_exist=True).events))
    return tuple(rows)


def exit_code_of_channel(view: ChannelView) -> int:
    """Return 1 when the newest record says that the channel has moved, else 0."""
    return 1 if view.moved else 0


def _newest(state: ChannelState) -> Stability | None:
    if not state.followed:
        return None
    newest = state.followed[-1]
    before = [each for each in state.baseline if each is not newest]
    return stability(before, newest.checks, newest.measured_at)


def _all_of(folder: Root) -> _All:
    """Return the channels and testers of an archive; those that cannot be read are named."""
    found = _All()
    kinds: tuple[Literal["channel", "tester"], ...] = ("channel", "tester")
    for kind in kinds:
        for file in reference_files(folder, kind):
            with telling(file.path, found.unread):
                events = read_history(file.path, must_exist=True).events
                if kind == "channel":
                    found.channels[file.name] = state_of_channel(events)
                else:
                    found.testers[file.name] = state_of_tester(events)
    return found


def _tell(every: _All, unread: Unread | None) -> None:
    """Hand over what cannot be read, or raise the first of it."""
    if unread is not None:
        unread += every.unread
    elif every.unread:
        raise every.unread[0][1]


def _unfinished_words(count: int) -> Iterator[str]:
    if count:
        yield (
            f"the last {count} bytes of the history are an entry that was never finished: "
            "whoever added it was interrupted, or the end of the file was cut off"
        )


def _unread_words(unread: Unread, path: archive.Source) -> Iterator[str]:
    for source, error in unread:
        if str(source) != str(path):
            yield f"another history could not be looked at: {error.message}"


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


def _channel_row(name: str, state: ChannelState, every: _All) -> ReferenceRow:
    found = due_of_channel(name, state, every.matings(name))
    newest = _newest(state)
    stands = "in use" if state.measured else "not measured yet"
    if newest is not None and newest.beyond:
        stands = "has moved"
    if state.withdrawn is not None:
        stands = "withdrawn"
    count = len(state.measured)
    words = _words("channel", name, stands, count, found)
    return ReferenceRow("channel", name, words, count, withdrawn_words(state.withdrawn), found)


def _tester_row(name: str, state: FieldTesterState) -> ReferenceRow:
    found = due_of_tester(name, state, at="")
    outcome = state.compared[-1].comparison.outcome if state.compared else None
    stands = "withdrawn" if state.withdrawn is not None else (outcome or "not compared yet")
    count = len(state.compared)
    words = _words("tester", name, str(stands), count, found)
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
