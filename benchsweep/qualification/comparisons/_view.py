"""Reference channels and field testers as they stand, and all of an archive."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from benchsweep import archive
from benchsweep.archive.references import (
    ReferenceFile,
    ReferenceHistory,
)
from benchsweep.qualification.comparisons._check_values import NOT_TOLD
from benchsweep.qualification.comparisons._drift import drift_of_channel, drift_of_tester, level_checks
from benchsweep.qualification.comparisons._due import due_of_channel, due_of_tester
from benchsweep.qualification.comparisons._everyone import Everyone, everyone
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    Root,
    Unread,
    declared_accuracy,
    happened_words,
    state_of_channel,
    state_of_tester,
    withdrawn_words,
)
from benchsweep.qualification.comparisons._since import since_words_of_channel, since_words_of_tester
from benchsweep.qualification.comparisons._stability import length_words, newest_stability
from benchsweep.qualification.comparisons._witness import lost_words
from benchsweep.records import (
    BenchMeasured,
    ChannelRegistered,
    CheckLimits,
    Drift,
    Due,
    FieldTesterCompared,
    FieldTesterRegistered,
    LevelCheck,
    ReferenceEvent,
)

__all__ = [
    "ChannelView",
    "FieldTesterView",
    "exit_code_of_channel",
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
    def _every(self) -> Everyone:
        return everyone(self.folder)

    @cached_property
    def drift(self) -> Drift:
        """Whether something drifts, and what; the other channels of the archive are looked at."""
        others = {name: each for name, each in self._every.channels.items() if name != self.name}
        return drift_of_channel(self.name, state_of_channel(self.events), others, self._every.testers)

    @cached_property
    def due(self) -> Due:
        """When it is to be measured again, as of now; the testers of the archive are looked at."""
        return due_of_channel(self.name, state_of_channel(self.events), self._every.matings(self.name))

    @property
    def happened(self) -> tuple[str, ...]:
        """Withdrawals, returns and other intervals, oldest first, in words."""
        return happened_words(self.events)

    @property
    def stands(self) -> str:
        """How it stands while it is not withdrawn, in words."""
        if not self.measured:
            return "not measured yet"
        if self.moved:
            return (
                "its check values have moved: nothing is compared with its newest record; "
                "measure it again, or withdraw it"
            )
        if not self.baseline:
            return "no bench record counts, since it was returned or at all: measure it before it is used"
        return "in use"

    @property
    def doubts(self) -> tuple[str, ...]:
        """What a reader must know first, in words."""
        return (
            *_unfinished_words(self._unfinished),
            *_unread_words(self._every.unread, self.path),
            *self._lengths,
            *self._since,
            *self._lost,
        )

    @cached_property
    def _lost(self) -> tuple[str, ...]:
        return lost_words(self.folder, "channel", self.name)

    @cached_property
    def _since(self) -> tuple[str, ...]:
        return since_words_of_channel(self.folder, state_of_channel(self.events))

    @cached_property
    def _lengths(self) -> tuple[str, ...]:
        followed = state_of_channel(self.events).followed
        return tuple(words for each in followed if (words := length_words(self.registered, each)))


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

    @property
    def accuracy(self) -> str:
        """Name of the declared accuracy in force; empty: none."""
        return declared_accuracy(self.events)

    @property
    def happened(self) -> tuple[str, ...]:
        """Withdrawals, returns, other intervals and accuracies, oldest first, in words."""
        return happened_words(self.events)

    @cached_property
    def _every(self) -> Everyone:
        return everyone(self.folder)

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
        return (
            *_unfinished_words(self._unfinished),
            *_unread_words(self._every.unread, self.path),
            *self._since,
            *self._lost,
        )

    @cached_property
    def _lost(self) -> tuple[str, ...]:
        return lost_words(self.folder, "tester", self.name)

    @cached_property
    def _since(self) -> tuple[str, ...]:
        return since_words_of_tester(self.folder, state_of_tester(self.events))


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
    newest = newest_stability(state)
    return ChannelView(
        folder=folder,
        path=file.path,
        registered=state.registered,
        measured=state.measured,
        baseline=state.baseline,
        limits=newest.limits if newest is not None else MappingProxyType({}),
        moved=newest.beyond if newest is not None else (),
        stable=f"{newest.words}{_untold(state)}" if newest is not None else "",
        withdrawn=withdrawn_words(state.withdrawn),
        every_days=state.every_days,
        events=history.events,
        digest=history.digest,
        _unfinished=history.unfinished,
    )


def _untold(state: ChannelState) -> str:
    """Return what the newest record does not tell, as it was said when it was added; may be empty."""
    _, sign, rest = state.followed[-1].words.partition(NOT_TOLD)
    return f"{sign}{rest}"


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


def exit_code_of_channel(view: ChannelView) -> int:
    """Return 1 when the newest record says that the channel has moved, else 0."""
    return 1 if view.moved else 0


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
